"""The spectra of a stretch of sound, set against the floor under their lines."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from analysis.hearing.search import Steps
from analysis.hearing.spectra import SpectrumGrid, against_floor, log_power


@dataclass(frozen=True, slots=True, eq=False)
class Frames:
    """Spectra of a stretch of sound.

    Attributes
    ----------
    spectra : array, shape (frames, bins), complex64
    log_floor : array, shape (frames, every FLOOR_EVERY-th bin)
    bands : array, shape (frames, bands)
        Broadband levels, ln power.
    steps : Steps
        The same in the longer steps in which a course is sought.
    """

    grid: SpectrumGrid
    spectra: npt.NDArray[np.complex64]
    log_floor: npt.NDArray[np.float32]
    bands: npt.NDArray[np.float32]
    steps: Steps

    def over_standing_floor(self) -> Steps:
        """The steps over a floor that leaves ripples of the noise standing, and faint lines too."""
        excess, _ = against_floor(log_power(self.spectra), grid=self.grid, standing=True)
        return replace(self.steps, excess=excess)


def as_frames(
    spectra: npt.NDArray[np.complex64],
    log_powers: npt.NDArray[np.float32],
    bands: npt.NDArray[np.float32],
    *,
    grid: SpectrumGrid,
) -> Frames:
    """Set spectra, shape (frames, bins), against their floor."""
    excess, log_floors = against_floor(log_powers, grid=grid)
    pairs = 2 * len(excess)
    steps = Steps(
        grid=grid,
        excess=excess,
        log_floor=np.float32(0.5) * (log_floors[0:pairs:2] + log_floors[1:pairs:2]),
        bands=np.float32(0.5) * (bands[0:pairs:2] + bands[1:pairs:2]),
    )
    return Frames(grid, spectra, log_floors, bands, steps)
