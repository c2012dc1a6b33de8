"""Nothing is lost while other programs keep every core busy."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from scipy.io import wavfile
from scipy.signal import fftconvolve

from listen.decoding import open_take
from listen.live.keeping import EVENTS
from listen.live.shelf import Shelf
from tests.live.listening import CUT, Listening
from tests.live.sound_server import sound_server
from tests.live.test_both_ends import played

pytestmark = pytest.mark.live

RATE_HZ = 48_000
FIRST_S, EACH_S = 2.0, 1.0
ROUNDING = 3  # of 32,768: full scale is 32,767 in one place and 32,768 in another, rounded twice


@contextmanager
def all_cores_busy() -> Iterator[None]:
    """Run one program that never rests for each core."""
    count = os.cpu_count() or 1
    busy = [subprocess.Popen([sys.executable, "-c", "while True: pass"]) for _ in range(count)]
    try:
        yield
    finally:
        for process in busy:
            process.kill()
            process.wait()


def place_in(whole: npt.NDArray[np.float64], part: npt.NDArray[np.float64]) -> int:
    """Where a part of a recording lies in all of it."""
    return int(np.argmax(fftconvolve(whole, part[::-1], mode="valid")))


def test_every_sample_is_kept_while_all_cores_are_busy(tmp_path: Path) -> None:
    sound = played(tmp_path / "take.wav", rate_hz=RATE_HZ)
    home = tmp_path / "home"
    with (
        sound_server(tmp_path / "sound") as shop,
        Listening(*CUT, environment=shop.environment, home=home) as listening,
    ):
        listening.wait_for("Listening to", seconds=20)
        with all_cores_busy():
            shop.play(sound).wait(60)
        assert listening.interrupt(seconds=60) == 0
    shelf = Shelf(home / "takes")
    (take,) = shelf.takes()
    assert "were lost" not in (take.folder / EVENTS).read_text()
    file = shelf.sound(take)
    assert file is not None
    with open_take(file) as opened:
        kept = np.concatenate(list(opened.blocks())).astype(np.float64)
    source = wavfile.read(sound)[1].astype(np.float64) / 32768
    first = round(FIRST_S * RATE_HZ)
    part = source[first : first + round(EACH_S * RATE_HZ)]
    shift = place_in(kept, part) - first
    # A lost block would move all that comes after it.
    length = min(len(source), len(kept) - shift)
    assert length > 0.95 * len(source)
    away = np.abs(kept[shift + first : shift + length] - source[first:length])
    assert away.max() * 32768 <= ROUNDING
