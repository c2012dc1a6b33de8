"""A small spectrogram of a take of any length, for pictures."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.hearing.spectra import SpectrumGrid

MOST_COLUMNS = 1600
ROWS = 160
DB_PER_NEPER = 10 / np.log(10)  # of power


@dataclass(frozen=True, slots=True, eq=False)
class Overview:
    """A small spectrogram.

    `level_db` has shape (times, frequencies): dB against the loudest cell, float32.
    """

    time_s: npt.NDArray[np.float64]
    frequency_hz: npt.NDArray[np.float64]
    level_db: npt.NDArray[np.float32]


class OverviewMaker:
    """Collects log powers and thins them in time as the take grows."""

    def __init__(self, grid: SpectrumGrid) -> None:
        self._grid = grid
        self._group = max(1, grid.bins // ROWS)
        self._columns: list[npt.NDArray[np.float32]] = []
        self._every = 2  # frames to a column
        self._pending = np.empty((0, grid.bins // self._group), np.float32)

    def add(self, log_powers: npt.NDArray[np.float32]) -> None:
        """Take in frames, shape (frames, bins), ln power."""
        last = log_powers.shape[1] // self._group * self._group
        grouped = log_powers[:, : last : self._group]
        for first in range(1, self._group):
            grouped = np.maximum(grouped, log_powers[:, first : last : self._group])
        self._pending = np.concatenate([self._pending, grouped])
        whole = len(self._pending) // self._every * self._every
        columns = self._pending[:whole].reshape(-1, self._every, grouped.shape[1])
        self._columns.extend(columns.max(axis=1))
        self._pending = self._pending[whole:]
        if len(self._columns) > MOST_COLUMNS and len(self._columns) % 2 == 0:
            pairs = zip(self._columns[0::2], self._columns[1::2], strict=True)
            self._columns = [np.maximum(a, b) for a, b in pairs]
            self._every *= 2

    def made(self) -> Overview:
        """The spectrogram so far."""
        rows = self._grid.bins // self._group
        levels = np.array(self._columns, np.float32).reshape(-1, rows)
        if len(levels):
            levels = (levels - levels.max()) * np.float32(DB_PER_NEPER)
        times = (np.arange(len(levels)) + 0.5) * self._every * self._grid.step_s
        frequencies = (np.arange(rows) + 0.5) * self._group * self._grid.bin_hz
        return Overview(times.astype(np.float64), frequencies.astype(np.float64), levels)
