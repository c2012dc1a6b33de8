"""The runs of a take, joined into one file of sound."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from listen.decoding import TakeError, open_take
from listen.live.frames import Samples
from listen.live.keeping import TakeKeeper

MENDED = "sound.flac"
_RUN = re.compile(r"sound-([0-9]{12})\.flac")
_MOST_SILENCE_S = 60.0


def join_runs(folder: Path) -> Path | None:
    """Write `sound.flac` from the runs in a take's folder, then remove them.

    Silence, a minute at most, stands for sound that was lost between two runs. A take of one
    run is only renamed. None where nothing at all was recorded.
    """
    mended = folder / MENDED
    runs = _runs(folder)
    if not runs:
        return None
    rate_hz = next((rate for _, path in runs if (rate := _rate_hz(path))), None)
    if rate_hz is None:
        return None
    if len(runs) == 1:
        return runs[0][1].replace(mended)
    work = folder / "joining"
    work.mkdir(exist_ok=True)
    for left_over in work.iterdir():
        left_over.unlink()
    keeper = TakeKeeper(work, sample_rate_hz=rate_hz, first=0)
    try:
        for samples in _joined(runs, rate_hz):
            keeper.add_sound(samples)
        keeper.close()
    except BaseException:
        keeper.drop()
        raise
    (work / f"sound-{0:012}.flac").replace(mended)
    for path in [*work.iterdir(), *(path for _, path in runs if path != mended)]:
        path.unlink()
    work.rmdir()
    return mended


def kept_samples(folder: Path) -> int:
    """Where the last run in the folder ends, in samples of the take."""
    runs = _runs(folder)
    if not runs:
        return 0
    first, path = runs[-1]
    return first + sum(len(block) for block in _sound(path))


def _runs(folder: Path) -> list[tuple[int, Path]]:
    """First sample and file of each run that holds sound, in order; first what was joined."""
    found = [(match, path) for path in folder.iterdir() if (match := _RUN.fullmatch(path.name))]
    runs = [(int(match[1]), path) for match, path in found]
    if (folder / MENDED).is_file():
        runs.append((0, folder / MENDED))
    return sorted(run for run in runs if run[1].stat().st_size)


def _joined(runs: list[tuple[int, Path]], rate_hz: int) -> Iterator[Samples]:
    position = runs[0][0]
    for first, path in runs:
        if first > position:
            missing = min(first - position, round(_MOST_SILENCE_S * rate_hz))
            yield np.zeros(missing, np.float32)
        position = max(position, first)
        skip = position - first
        for block in _sound(path):
            if skip < len(block):
                yield block[skip:]
                position += len(block) - skip
            skip = max(0, skip - len(block))


def _rate_hz(path: Path) -> int | None:
    try:
        with open_take(path) as take:
            return take.sample_rate_hz
    except TakeError:
        return None


def _sound(path: Path) -> Iterator[Samples]:
    """Whatever can be decoded of a run; nothing where it was cut off before any sound."""
    try:
        with open_take(path) as take:
            yield from take.blocks()
    except TakeError:
        return
