"""Eight phones at once on one server, each paced in real time with a take of its own.

Run `python -m tests.benchmarks.live_phones [PHONES]`. Over TLS and WebSocket, with the real
engine, each ear in a process of its own, one phone a little after the other: how soon each verdict
is at the phone after the end of its pass as heard, how old the speed is, and what it costs.
"""

from __future__ import annotations

import asyncio
import os
import resource
import sys
import tempfile
import time
from pathlib import Path

import aiohttp
import numpy as np

import recordings_synthetic
from listen.decoding import open_take
from listen.live.ear import EarsAtHand
from listen.live.frames import Frame, pack_frame
from tests.listen.page.serving import served

BLOCK = 2048
TAKES = sorted((Path(recordings_synthetic.__file__).parent / "takes").glob("[1-4]*.m4a"))
APART_S = 1.3
FORM = {
    "edge": "600mm", "bit": "12.7mm", "flutes": "2", "trim": "1.6mm", "material": "hardwood",
    "range": "8000-24000",
}  # fmt: skip


async def phone(
    client: aiohttp.ClientSession, take: Path, after_s: float, late: dict[str, list[float]]
) -> float:
    """Send the take at its own pace; note how late the news are. Returns its length, seconds."""
    with open_take(take) as opened:
        rate_hz, sound = opened.sample_rate_hz, np.concatenate(list(opened.blocks()))
    await asyncio.sleep(after_s)
    async with client, client.ws_connect("/sound") as socket:
        await socket.send_json({"rate": rate_hz, "setup": FORM, "take": None})
        await socket.receive_json()
        begun_s = time.monotonic()

        async def hear() -> None:
            async for message in socket:
                news, now_s = message.json(), time.monotonic() - begun_s
                if news["kind"] == "pass" and not news["again"]:
                    late["verdict"].append(now_s - news["exit_s"])
                elif news["kind"] == "speed":
                    late["speed"].append(now_s - news["time_s"])

        hearing = asyncio.create_task(hear())
        for number, first in enumerate(range(0, len(sound) - BLOCK, BLOCK)):
            ready_s = (first + BLOCK) / rate_hz
            await asyncio.sleep(max(0.0, begun_s + ready_s - time.monotonic()))
            block = sound[first : first + BLOCK]
            await socket.send_bytes(pack_frame(Frame(number, first, ready_s, block)))
        await socket.send_str("end")
        await hearing
    return len(sound) / rate_hz


def spent_s() -> float:
    """CPU time of this process and of the ears that have ended, seconds."""
    used = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    return sum(one.ru_utime + one.ru_stime for one in used)


async def run(phones: int) -> None:
    """Serve, let the phones in, and print the figures."""
    late: dict[str, list[float]] = {"verdict": [], "speed": []}
    with tempfile.TemporaryDirectory() as home, EarsAtHand() as ears:
        async with served(Path(home), make_ear=ears) as page:
            clients = [await page.paired_client() for _ in range(phones)]
            cost_s = spent_s()
            lengths_s = await asyncio.gather(
                *(
                    phone(one, TAKES[number % len(TAKES)], APART_S * number, late)
                    for number, one in enumerate(clients)
                )
            )
            cost_s = spent_s() - cost_s
    share = 100 * cost_s / sum(lengths_s)
    print(
        f"{phones} phones: {share:.1f} % of a core each, the phones' own work included; the "
        f"machine's load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores"
    )
    for what, values in late.items():
        p50_s, p95_s = np.percentile(values, [50, 95])
        print(f"{what}: {len(values)} told, p50 {p50_s:.2f} s, p95 {p95_s:.2f} s")


if __name__ == "__main__":
    asyncio.run(run(int(sys.argv[1]) if len(sys.argv) > 1 else 8))
