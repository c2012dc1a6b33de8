"""Spectra of a whole take against their floor, as the engine makes them, in memory."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.hearing.spectra import Framer, SpectrumGrid, against_floor, log_power, spectrum

AT_ONCE = 32  # frames: what is made of them stays in the processor's cache


@dataclass(frozen=True, slots=True, eq=False)
class TakeSpectra:
    """Spectra of one take.

    Attributes
    ----------
    grid : SpectrumGrid
    spectra : array, shape (frames, bins), complex64
    log_floor : array, shape (frames, every FLOOR_EVERY-th bin)
    excess : array, shape (frames // 2, bins)
        ln(power / floor), mean of two frames: the steps in which a course is sought.
    """

    grid: SpectrumGrid
    spectra: npt.NDArray[np.complex64]
    log_floor: npt.NDArray[np.float32]
    excess: npt.NDArray[np.float32]


def take_spectra(samples: npt.NDArray[np.float32], *, grid: SpectrumGrid) -> TakeSpectra:
    """Spectra of a take, `samples` of shape (n,) at the grid's rate."""
    framer = Framer(grid)
    parts = [framer.frames(samples, multiple=1), framer.rest()]
    blocks = [part[at : at + AT_ONCE] for part in parts for at in range(0, len(part), AT_ONCE)]
    spectra = np.concatenate(
        [spectrum(block, grid=grid)[:, : grid.bins].copy() for block in blocks]
    )
    levels = log_power(spectra)
    excess, log_floors = against_floor(levels, grid=grid, standing=True)
    return TakeSpectra(grid, spectra, log_floors, excess)
