"""Sound in and news out, over the socket and by post; losing the link, losing the server."""

import asyncio
from dataclasses import replace
from pathlib import Path
from typing import Any

import aiohttp
import numpy as np
import pytest

from listen.decoding import open_take
from listen.live.ear import EarError
from listen.live.frames import Frame, pack_frame
from listen.setup import Bench
from tests.listen.live.stub_engine import StubEngine, cuts, scene
from tests.listen.page.serving import (
    BLOCK,
    RATE_HZ,
    SETUP,
    Served,
    begin,
    frames_of,
    linked,
    served,
    until,
)


def test_a_take_is_coached_and_kept(tmp_path: Path) -> None:
    async def run() -> None:
        sound = cuts(2.0, 7.0)
        async with served(tmp_path) as page, page.client() as client:
            async with client.ws_connect("/sound") as socket:
                welcome = await begin(socket)
                assert welcome["kept"]
                for frame in frames_of(sound):
                    await socket.send_bytes(frame)
                first = await until(socket, "pass")
                second = await until(socket, "pass")
                assert (first["cue"], second["cue"]) == ("slower", "good")
                await socket.send_str("end")
                ended = await until(socket, "ended")
                assert ended["summary"]["passes"] == 2
            (take,) = page.page.house.shelf.takes()
            assert take.ended
            kept = page.page.house.shelf.sound(take)
            assert kept is not None
            with open_take(kept) as opened:
                samples = np.concatenate(list(opened.blocks()))
            np.testing.assert_allclose(samples, np.clip(sound, -1, 1), atol=3 / 32768)

    asyncio.run(run())


def test_a_link_that_breaks_loses_nothing(tmp_path: Path) -> None:
    """The page sends again what was on its way: the take is whole and the pass is judged."""

    async def run() -> None:
        frames = frames_of(cuts(6.0))
        async with served(tmp_path) as page, page.client() as client:
            async with client.ws_connect("/sound") as socket:
                name = (await begin(socket))["take"]
                for frame in frames[:40]:
                    await socket.send_bytes(frame)
            async with client.ws_connect("/sound") as socket:
                welcome = await begin(socket, take=name)
                assert welcome["take"] == name
                assert welcome["expect"] <= 40 * BLOCK
                for frame in frames[30:]:
                    await socket.send_bytes(frame)
                assert (await until(socket, "pass"))["cue"] != "not judged"

    asyncio.run(run())


async def kill(page: Served, name: str) -> None:
    """Stop a take as a kill does: nothing is ended, the files are as they are."""
    session = page.page.house.sessions.find(name, "here")
    assert session is not None
    await session.close(finish=False)
    page.page.house.sessions._open.clear()


def test_a_server_that_starts_again_takes_the_take_up(tmp_path: Path) -> None:
    async def run() -> None:
        frames = frames_of(cuts(2.0, 2.0, 2.0))
        async with served(tmp_path) as page, page.client() as client:
            async with client.ws_connect("/sound") as socket:
                name = (await begin(socket))["take"]
                for frame in frames[:45]:
                    await socket.send_bytes(frame)
                await until(socket, "pass")
            await kill(page, name)
        async with served(tmp_path) as page, page.client() as client:
            state = await (await client.get("/api/state")).json()
            assert [take["take"] for take in state["unfinished"]] == [name]
            async with client.ws_connect("/sound") as socket:
                welcome = await begin(socket, take=name)
                assert welcome["take"] == name
                assert 40 * BLOCK < welcome["expect"] <= 45 * BLOCK
                for frame in frames[welcome["expect"] // BLOCK :]:
                    await socket.send_bytes(frame)
                assert (await until(socket, "pass"))["number"] == 2
                await socket.send_str("end")
                await until(socket, "ended")
            (take,) = page.page.house.shelf.takes()
            kept = page.page.house.shelf.sound(take)
            assert kept is not None
            with open_take(kept) as opened:
                samples = sum(len(block) for block in opened.blocks())
            assert samples == len(cuts(2.0, 2.0, 2.0))

    asyncio.run(run())


@pytest.mark.parametrize("asleep_s", [0.0, 60.0])
def test_a_gap_is_told_once_though_the_server_starts_again(tmp_path: Path, asleep_s: float) -> None:
    """Ten seconds were lost, or a minute slept: two of silence are kept, and all is counted."""

    async def run() -> None:
        sound = scene((0.05, 24.0))
        lost = range(3 * RATE_HZ, 13 * RATE_HZ) if not asleep_s else range(0)
        frames = [
            pack_frame(Frame(0, first, (first + BLOCK) / RATE_HZ + (first > 3 * RATE_HZ) * asleep_s,
                             sound[first : first + BLOCK]))
            for first in range(0, len(sound) - BLOCK, BLOCK) if first not in lost
        ]  # fmt: skip
        half = len(frames) // 2
        async with served(tmp_path) as page, page.client() as client:
            async with client.ws_connect("/sound") as socket:
                name = (await begin(socket))["take"]
                for frame in frames[:half]:
                    await socket.send_bytes(frame)
                await until(socket, "notice")
            await kill(page, name)
        async with served(tmp_path) as page, page.client() as client:
            async with client.ws_connect("/sound") as socket:
                await begin(socket, take=name)
                # The page has held the last ones, and sends them again.
                for frame in frames[half - 5 :]:
                    await socket.send_bytes(frame)
                await socket.send_str("end")
                await until(socket, "ended")
            (take,) = page.page.house.shelf.takes()
            notices = [event for event in take.events if event["kind"] == "notice"]
            assert len(notices) == 1
            kept = page.page.house.shelf.sound(take)
            assert kept is not None
            with open_take(kept) as opened:
                samples = np.concatenate(list(opened.blocks()))
            # All that was sent, the two seconds of silence, and nothing twice.
            assert len(samples) == len(frames) * BLOCK + 2 * RATE_HZ
            longest_silence = np.diff(np.flatnonzero(samples)).max()
            assert 2 * RATE_HZ < longest_silence < 2.001 * RATE_HZ

    asyncio.run(run())


def test_posts_do_the_same_where_the_socket_is_refused(tmp_path: Path) -> None:
    async def run() -> None:
        frames = frames_of(cuts(2.0))
        async with served(tmp_path) as page, page.client() as client:
            answer = await client.post("/api/sound", json={"rate": RATE_HZ, "setup": SETUP})
            name = (await answer.json())["take"]
            heard, kinds = 0, []
            for start in range(0, len(frames), 10):
                body = b"".join(
                    len(data).to_bytes(4, "little") + data for data in frames[start : start + 10]
                )
                told = await (
                    await client.post(f"/api/sound/{name}?heard={heard}", data=body)
                ).json()
                heard = told["heard"]
                kinds += [news["kind"] for news in told["news"]]
                await asyncio.sleep(0.02)
            told = await (await client.post(f"/api/sound/{name}/end?heard={heard}")).json()
            assert told["news"][-1]["kind"] == "ended"
            assert told["news"][-1]["summary"]["passes"] == 1
            assert kinds.count("entered") == 1

    asyncio.run(run())


class Doubting(StubEngine):
    """Finds, in the review at the end, that the first pass began two seconds sooner."""

    def finish(self) -> Any:
        first, *others = self.passes
        self.passes = [replace(first, entry_s=first.entry_s - 2.0), *others]
        return super().finish()


def test_what_stands_at_the_end_is_what_the_review_says(tmp_path: Path) -> None:
    """Over the socket and by post: every pass that is told otherwise, and then the summary."""

    def make_ear(_bench: Bench, rate_hz: float) -> Doubting:
        return Doubting(rate_hz)

    frames = frames_of(cuts(6.0, 2.0))

    async def run() -> None:
        async with served(tmp_path, make_ear=make_ear) as page, page.client() as client:
            async with client.ws_connect("/sound") as socket:
                await begin(socket)
                for frame in frames:
                    await socket.send_bytes(frame)
                await socket.send_str("end")
                first, _, again = [await until(socket, "pass") for _ in range(3)]
                assert not first["again"]
                assert again["again"]
                assert again["number"] == 1
                assert again["time_s"] == pytest.approx(first["time_s"] + 2.0)
                assert (await until(socket, "ended"))["summary"]["passes"] == 2
                assert (await socket.receive(timeout=5)).type is aiohttp.WSMsgType.CLOSE
            answer = await client.post("/api/sound", json={"rate": RATE_HZ, "setup": SETUP})
            name = (await answer.json())["take"]
            for data in frames:
                body = len(data).to_bytes(4, "little") + data
                await (await client.post(f"/api/sound/{name}", data=body)).json()
                await asyncio.sleep(0.02)
            told = (await (await client.post(f"/api/sound/{name}/end")).json())["news"]
            passes = [news for news in told if news["kind"] == "pass"]
            assert [news["again"] for news in passes] == [False, False, True]
            assert told[-1]["kind"] == "ended"

    asyncio.run(run())


def test_eight_phones_each_have_their_own_take(tmp_path: Path) -> None:
    async def phone(client: aiohttp.ClientSession, number: int) -> tuple[str, int]:
        async with client, client.ws_connect("/sound") as socket:
            name = (await begin(socket))["take"]
            for frame in frames_of(cuts(*([1.0] * (number % 3 + 1)))):
                await socket.send_bytes(frame)
            await socket.send_str("end")
            return name, (await until(socket, "ended"))["summary"]["passes"]

    async def run() -> None:
        async with served(tmp_path) as page:
            clients = [await page.paired_client() for _ in range(8)]
            told = await asyncio.gather(*(phone(one, n) for n, one in enumerate(clients)))
            assert [passes for _, passes in told] == [number % 3 + 1 for number in range(8)]
            assert len({name for name, _ in told}) == 8
            owners = {take.about["owner"] for take in page.page.house.shelf.takes()}
            assert len(owners) == 8

    asyncio.run(run())


def test_a_sleeping_phone_is_told_what_was_missed(tmp_path: Path) -> None:
    async def run() -> None:
        sound = scene((0.05, 1.0), (0.3, 2.0), (0.05, 1.0))
        frames = [
            Frame(0, first, (first + BLOCK) / RATE_HZ + (60.0 if first > 1.5 * RATE_HZ else 0.0),
                  sound[first : first + BLOCK])
            for first in range(0, len(sound), BLOCK)
        ]  # fmt: skip
        async with linked(tmp_path) as (_, _, socket):
            await begin(socket)
            for frame in frames:
                await socket.send_bytes(pack_frame(frame))
            notice = await until(socket, "notice")
            assert "60.0 s of sound were lost" in notice["text"]
            start_s, end_s = notice["gap_s"]
            assert 1.0 < start_s < 2.0
            assert end_s - start_s == pytest.approx(2.0, abs=0.01)
            assert (await until(socket, "pass"))["cue"] == "not judged"

    asyncio.run(run())


def test_a_dial_is_led_through_its_settings(tmp_path: Path) -> None:
    async def run() -> None:
        async with linked(tmp_path) as (_, _, socket):
            await begin(socket, mode="dial", settings="1,2")
            for frame in frames_of(scene((0.05, 5.0))):
                await socket.send_bytes(frame)
            assert (await until(socket, "dial"))["prompt"] == "Set 1, and let it run free."
            told = await until(socket, "dial")
            assert told["settings"][0]["rpm"] == 18_000
            assert told["at"] == 1
            # The speed does not move, so nothing is measured for 2 until it is left out.
            await socket.send_str("skip")
            assert (await until(socket, "dial"))["at"] is None

    asyncio.run(run())


def test_a_dial_without_its_ear_is_given_up_in_words_and_kept(tmp_path: Path) -> None:
    class Deaf(StubEngine):
        def feed(self, samples: np.ndarray) -> list[Any]:
            raise EarError(f"No more than {len(samples)}.")

    def make_ear(_bench: Bench, rate_hz: float) -> Deaf:
        return Deaf(rate_hz)

    async def run() -> None:
        async with served(tmp_path, make_ear=make_ear) as page, page.client() as client:
            async with client.ws_connect("/sound") as socket:
                await begin(socket, mode="dial", settings="1,2")
                await socket.send_bytes(frames_of(scene((0.05, 1.0)))[0])
                assert (await until(socket, "failed"))["text"].startswith("Listening failed. What")
            assert [take.ended for take in page.page.house.shelf.takes()] == [False]

    asyncio.run(run())


@pytest.mark.parametrize(
    ("hello", "words"),
    [
        ({"rate": 1, "setup": {}}, "1 samples a second"),
        ({"rate": "x"}, "did not say"),
        ({"rate": RATE_HZ, "setup": {"edge": "12 parsecs"}}, "Edge"),
        ({"rate": RATE_HZ, "setup": {}, "mode": "dial", "settings": "?"}, "setting"),
        ([], "did not say"),
    ],
)
def test_a_hello_without_sense_is_refused_in_words(
    tmp_path: Path, hello: object, words: str
) -> None:
    async def run() -> None:
        async with served(tmp_path) as page, page.client() as client:
            async with client.ws_connect("/sound") as socket:
                await socket.send_json(hello)
                told = await until(socket, "refused")
                assert words in told["text"]
            assert page.page.house.shelf.takes() == []

    asyncio.run(run())
