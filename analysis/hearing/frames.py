"""The spectra of a stretch of sound, set against the floor under their lines."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from analysis.hearing.search import Steps
from analysis.hearing.spectra import SpectrumGrid, against_floor, log_power

STANDS_S = 8.0  # what is there for most of so long stands still


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

    def until(self, end: int) -> Frames:
        """The frames before an even one."""
        steps = self.steps
        return Frames(
            self.grid,
            self.spectra[:end],
            self.log_floor[:end],
            self.bands[:end],
            Steps(
                self.grid,
                steps.excess[: end // 2],
                steps.log_floor[: end // 2],
                steps.bands[: end // 2],
            ),
        )

    def over_standing_floor(self) -> Steps:
        """The steps over a floor that leaves ripples of the noise standing, and faint lines too."""
        excess, _ = against_floor(log_power(self.spectra), grid=self.grid, standing=True)
        return replace(self.steps, excess=excess)

    def that_stir(self) -> Steps:
        """The steps without what stands still, such as another machine's lines and hum.

        What is there for most of a while goes with it, so a spindle that hardly moves does too.
        """
        excess, step_s = self.steps.excess, 2 * self.grid.step_s
        count, apart = len(excess), max(1, round(STANDS_S / 4 / step_s))
        around = min(count, round(STANDS_S / step_s))
        middles = np.arange(0, count + apart, apart)
        firsts = np.clip(middles - around // 2, 0, count - around)
        usual = np.array([_middle(excess[first : first + around]) for first in firsts])
        np.maximum(usual, 0, out=usual)
        place = np.arange(count) / apart
        before = place.astype(np.int64)
        share = (place - before)[:, None].astype(np.float32)
        standing = (1 - share) * usual[before] + share * usual[before + 1]
        return replace(self.steps, excess=excess - standing)


def _middle(values: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """The (upper) median of each column."""
    half = len(values) // 2
    middle: npt.NDArray[np.float32] = np.partition(values, half, axis=0)[half]
    return middle


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
