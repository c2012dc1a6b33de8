"""The real command on a virtual microphone: PulseAudio, ALSA, PortAudio."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from scipy.io import wavfile

from listen.decoding import open_take
from listen.live.shelf import Shelf
from tests.listen.live.stub_engine import cuts, scene
from tests.live.listening import CUT, Listening
from tests.live.sound_server import SoundServer, sound_server

pytestmark = pytest.mark.live


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[SoundServer]:
    with sound_server(tmp_path / "sound") as server:
        yield server


def written(path: Path, sound: np.ndarray) -> Path:
    wavfile.write(path, 48_000, (np.clip(sound, -1, 1) * 32767).astype(np.int16))
    return path


def test_passes_are_told_and_ctrl_c_sums_up(shop: SoundServer, tmp_path: Path) -> None:
    sound = written(tmp_path / "take.wav", cuts(3.0, 6.0))
    home = tmp_path / "home"
    with Listening(*CUT, environment=shop.environment, home=home, stub=True) as listening:
        listening.wait_for("Listening to", seconds=15)
        playing = shop.play(sound)
        assert "3." in listening.wait_for("Pass 1:", seconds=20)
        listening.wait_for("Pass 2:", seconds=20)
        playing.wait(20)
        assert listening.interrupt() == 0
        listening.wait_for("2 passes: 1 in the band, 0 rubbing, 1 overloading", seconds=5)
        assert listening.process.stderr is not None
        assert listening.process.stderr.read() == ""
    shelf = Shelf(home / "takes")
    (take,) = shelf.takes()
    assert take.ended
    kept = shelf.sound(take)
    assert kept is not None
    with open_take(kept) as opened:
        heard = np.concatenate(list(opened.blocks()))
    # What was played is in it whole: as much loud sound as the passes had, to a few blocks.
    loud_s = np.count_nonzero(np.abs(heard) > 0.2) / 48_000
    played_s = np.count_nonzero(np.abs(cuts(3.0, 6.0)) > 0.2) / 48_000
    assert loud_s == pytest.approx(played_s, abs=0.05)


def test_killed_in_a_pass_the_take_is_safe_and_is_told_at_the_next_start(
    shop: SoundServer, tmp_path: Path
) -> None:
    sound = written(tmp_path / "take.wav", scene((0.05, 1.5), (0.3, 30.0)))
    home = tmp_path / "home"
    with Listening(*CUT, environment=shop.environment, home=home, stub=True) as listening:
        listening.wait_for("Listening to", seconds=15)
        playing = shop.play(sound)
        listening.wait_for("In the cut", seconds=15)
        os.kill(listening.process.pid, signal.SIGKILL)
        listening.process.wait()
        playing.kill()
        playing.wait()
    (take,) = Shelf(home / "takes").unfinished()
    assert take.events[-1]["kind"] == "entered"
    with Listening(*CUT, environment=shop.environment, home=home, stub=True) as again:
        again.wait_for("A take was broken off earlier", seconds=15)


def test_a_microphone_that_is_pulled_out_and_put_back(shop: SoundServer, tmp_path: Path) -> None:
    home = tmp_path / "home"
    with Listening(*CUT, environment=shop.environment, home=home, stub=True) as listening:
        listening.wait_for("Listening to", seconds=15)
        playing = shop.play(written(tmp_path / "one.wav", cuts(3.0)))
        listening.wait_for("Pass 1:", seconds=20)
        shop.kill()
        playing.wait()
        listening.wait_for("gives no sound any more. What was recorded is kept", seconds=10)
        shop.start()
        listening.wait_for("The microphone is back", seconds=30)
        playing = shop.play(written(tmp_path / "two.wav", cuts(3.0)))
        listening.wait_for("Pass 2:", seconds=20)
        assert listening.interrupt() == 0
        playing.wait(20)
    (take,) = Shelf(home / "takes").takes()
    assert [event["kind"] for event in take.events].count("pass") == 2
    assert any("of sound were lost" in event.get("text", "") for event in take.events)


def test_a_sound_server_that_freezes_is_told_and_the_take_goes_on(
    shop: SoundServer, tmp_path: Path
) -> None:
    """Even to close its stream would wait for it."""
    home = tmp_path / "home"
    with Listening(*CUT, environment=shop.environment, home=home, stub=True) as listening:
        listening.wait_for("Listening to", seconds=15)
        playing = shop.play(written(tmp_path / "one.wav", cuts(3.0)))
        listening.wait_for("Pass 1:", seconds=20)
        with shop.frozen():
            listening.wait_for("gives no sound any more. What was recorded is kept", seconds=10)
        listening.wait_for("The microphone is back", seconds=30)
        assert listening.interrupt() == 0
        playing.wait(20)
    (take,) = Shelf(home / "takes").takes()
    assert take.ended


@pytest.mark.parametrize("gone", ["frozen", "killed"])
def test_ctrl_c_ends_the_take_while_the_microphone_is_away(
    shop: SoundServer, tmp_path: Path, gone: str
) -> None:
    home, options = tmp_path / "home", [*CUT, "--sounds"]
    with Listening(*options, environment=shop.environment, home=home, stub=True) as listening:
        listening.wait_for("Listening to", seconds=15)
        playing = shop.play(written(tmp_path / "one.wav", cuts(3.0)))
        listening.wait_for("Pass 1:", seconds=20)
        with shop.frozen():
            if gone == "killed":
                shop.kill()
            listening.wait_for("gives no sound any more", seconds=10)
            assert listening.interrupt(seconds=10) == 0
            listening.wait_for("The take is kept", seconds=5)
        playing.kill()
        playing.wait()
    (take,) = Shelf(home / "takes").takes()
    assert take.ended


def test_without_a_sound_server_one_sentence_says_so(tmp_path: Path) -> None:
    environment = {**os.environ, "PULSE_SERVER": f"unix:{tmp_path}/nothing", "HOME": str(tmp_path)}
    with Listening(*CUT, environment=environment, home=tmp_path / "home") as listening:
        assert listening.process.wait(20) == 2
        assert listening.process.stderr is not None
        (line,) = listening.process.stderr.read().splitlines()
        assert line.startswith("toothbeat: ")
