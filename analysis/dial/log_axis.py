"""A take on a log frequency axis, where a machine's lines keep their distances at any speed."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from analysis.hearing.orders import LEARNABLE, levels, sounding_tables
from analysis.hearing.spectra import SpectrumGrid

Floats = npt.NDArray[np.float32]

LOWEST_HZ = 110.0  # below lies no router's first order, but mains and rumble
STAYS, STAYS_CLEAR = 60, 0.3  # percent of the take, nepers
LOUD = 3.0
AT_ONCE = 4  # chunks: what is made of them stays in the processor's cache
CHUNK_STEPS = 8  # some 0.4 s: short against a setting, long enough for faint lines
EVIDENCE = 0.5  # neighbouring steps share half their sound
PLAIN_SOUNDING = 7
CHANCE_GAIN = 0.03  # nats a step that a gain without losses wins in noise alone
FEWEST_CHUNKS = 4


@dataclass(frozen=True, slots=True, eq=False)
class LogAxis:
    """A take on a log frequency axis, step by step and chunk by chunk.

    Cell ``c`` is LOWEST_HZ * exp(c * LOG_STEP); a chunk is so many steps.

    Attributes
    ----------
    raw, mean : arrays, shape (chunks, cells)
        ln(power / floor), with what stays where it is and without.
    gains : array, shape (soundings, chunks, cells)
        Log likelihood of a line there, for each of LEARNABLE, against none.
    bonus : array, shape (chunks, cells)
        The same for a plain line that may be missing.
    reach : int
        Cells by which two speeds can differ.
    bin_hz : float
        Spacing of the spectra it was read from.
    steps : int
        Steps in a chunk.
    step_s : float
        Seconds in a step.
    """

    raw: Floats
    mean: Floats
    gains: Floats
    bonus: Floats
    reach: int
    bin_hz: float
    steps: int
    step_s: float

    @property
    def chunk_s(self) -> float:
        """Seconds in a chunk."""
        return self.steps * self.step_s

    @property
    def fewest_chunks(self) -> int:
        """Chunks in which a course must be heard."""
        return FEWEST_CHUNKS * CHUNK_STEPS // self.steps


def without_what_stays(on_axis: Floats) -> Floats:
    """Take off what stands out most of the time: no plateau lasts so long."""
    some = on_axis[:: max(1, len(on_axis) // 400)]
    stays = over_time(some, STAYS) + np.float32(STAYS_CLEAR)
    moving = on_axis - np.maximum(stays, 0).astype(np.float32)
    return np.asarray(np.clip(moving, -1, LOUD), np.float32)


def over_time(values: Floats, percent: float) -> Floats:
    """A percentile of each column, shape (cells,); sorting rows of a block is the fast way."""
    rows = np.sort(values, axis=0)
    place = percent / 100 * (len(rows) - 1)
    low = min(int(place), len(rows) - 2) if len(rows) > 1 else 0
    high = min(low + 1, len(rows) - 1)
    return np.asarray(rows[low] + (rows[high] - rows[low]) * np.float32(place - low), np.float32)


def log_axis(raw: Floats, moving: Floats, *, grid: SpectrumGrid, reach: int) -> LogAxis:
    """Sum up excess on the axis, shape (steps, cells), chunk by chunk.

    `moving` is `raw` without what is not to be taken for the router's.
    """
    chunks = _chunks(moving)
    tables = np.float32(EVIDENCE) * sounding_tables()
    plain = np.maximum(tables[PLAIN_SOUNDING], 0) - np.float32(EVIDENCE * CHANCE_GAIN)
    every = np.concatenate([tables[LEARNABLE], plain[None]])
    looked_up = np.empty((len(every), len(chunks), moving.shape[1]), np.float32)
    for first in range(0, len(chunks), AT_ONCE):
        part = slice(first, first + AT_ONCE)
        level = levels(chunks[part]).astype(np.intp)  # or each look-up casts it anew
        for table, out in zip(every, looked_up, strict=True):
            np.take(table, level, mode="clip").sum(axis=1, out=out[part])
    gains, bonus = looked_up[:-1], looked_up[-1]
    mean = _chunks(moving).mean(axis=1)
    raw_mean = _chunks(raw).mean(axis=1)
    step_s = 2 * grid.step_s
    return LogAxis(raw_mean, mean, gains, bonus, reach, grid.bin_hz, CHUNK_STEPS, step_s)


def in_pairs(axis: LogAxis) -> LogAxis:
    """The same take with two chunks as one; an odd one at its end is left out."""
    pairs = len(axis.mean) // 2

    def summed(values: Floats) -> Floats:
        early, late = values[..., : 2 * pairs : 2, :], values[..., 1 : 2 * pairs : 2, :]
        return np.asarray(early + late, np.float32)

    return replace(
        axis,
        raw=summed(axis.raw) * np.float32(0.5),
        mean=summed(axis.mean) * np.float32(0.5),
        gains=summed(axis.gains),
        bonus=summed(axis.bonus),
        steps=2 * axis.steps,
    )


def _chunks(on_axis: Floats) -> Floats:
    chunks = len(on_axis) // CHUNK_STEPS
    return on_axis[: chunks * CHUNK_STEPS].reshape(chunks, CHUNK_STEPS, on_axis.shape[1])
