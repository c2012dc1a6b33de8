"""What the search for the router works on: the sound in steps, and a course through it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.ndimage import uniform_filter1d

from analysis.hearing.orders import (
    AT_TIMES,
    TOP_ORDER,
    Candidates,
    Excess,
    FloatArray,
    Voice,
    on_log_axis,
    order_excess,
)
from analysis.hearing.path import OFF
from analysis.hearing.spectra import SpectrumGrid
from analysis.hearing.voice import Mask, Voices

HOP = 8  # candidates in one step, 2 %: to another comb
TAKEN_OUT = -0.7  # excess where a line was: about that of noise


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """What one machine did, step by step.

    Attributes
    ----------
    path : array, shape (steps,)
        Index of the candidate speed, or OFF.
    cutting : array, shape (steps,)
    voices : Voices
    cutness : float
        Nepers by which the teeth's tones are stronger in the cut, summed over teeth.
    evidence : float
        Nats a step of the take, mean, that its voices' orders bring where it runs.
    likeness : float
        Nats a step, mean, by which it sounds like the taught voice where it runs free.
    off_plate : float
        What the plate says against it, in nats.
    merit : float
        How much this looks like a router at work: its cut, the signs of it, few hops.
    """

    path: npt.NDArray[np.int64]
    cutting: Mask
    voices: Voices
    cutness: float
    evidence: float
    likeness: float
    off_plate: float
    merit: float

    @property
    def running(self) -> Mask:
        """Steps in which the machine runs."""
        return np.asarray(self.path != OFF)

    @property
    def machine(self) -> Machine:
        """The course as a machine of one state: all that sounds in either."""
        return Machine(self.path, np.maximum(self.voices.idle, self.voices.cutting))

    @property
    def moves_per_step(self) -> float:
        """Candidates by which the speed moves from step to step, mean, hops left out."""
        moves = np.abs(np.diff(self.path))[self.running[1:] & self.running[:-1]]
        glides = moves[moves <= HOP]
        return float(glides.mean()) if len(glides) else 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Steps:
    """Spectra in steps of two frames.

    Attributes
    ----------
    excess : array, shape (steps, bins)
        ln(power / floor).
    log_floor : array, shape (steps, every FLOOR_EVERY-th bin)
    bands : array, shape (steps, bands)
        Broadband levels, ln power.
    """

    grid: SpectrumGrid
    excess: Excess
    log_floor: npt.NDArray[np.float32]
    bands: npt.NDArray[np.float32]


class Machine(NamedTuple):
    """A machine of one state: its path, as in `Course`, and its voice."""

    path: npt.NDArray[np.int64]
    voice: Voice


@dataclass(frozen=True, slots=True, eq=False)
class Search:
    """Where to look.

    Attributes
    ----------
    steps : Steps
        The sound.
    candidates : Candidates
        The speeds to look among.
    axis : array, shape (steps, ...)
        The sound along the candidates' log axis, from `on_log_axis`.
    flutes : int or None
        Of the bit, if known.
    free_hz : (float, float)
        The slowest and the fastest that a router of this plate should run free; in the cut
        it may be slower.
    taught : Voice or None
        How the router sounds running free, from its calibration.
    """

    steps: Steps
    candidates: Candidates
    axis: npt.NDArray[np.uint8]
    flutes: int | None
    free_hz: tuple[float, float]
    taught: Voice | None = None

    @classmethod
    def over(
        cls,
        steps: Steps,
        candidates: Candidates,
        *,
        flutes: int | None,
        free_hz: tuple[float, float],
    ) -> Search:
        """A search of the sound, with its log axis made."""
        axis = on_log_axis(steps.excess, grid=steps.grid, candidates=candidates)
        return cls(steps, candidates, axis, flutes, free_hz)

    def among(self, lowest_hz: float, highest_hz: float) -> tuple[Search, int]:
        """The same search among fewer speeds, and the number of the first of them."""
        first, last = np.searchsorted(self.candidates.rotation_hz, [lowest_hz, highest_hz])
        first, last = int(max(first - 1, 0)), int(min(last + 1, self.candidates.count))
        candidates = Candidates(float(self.candidates.rotation_hz[first]), last - first)
        return replace(self, candidates=candidates, axis=self.axis[:, first:]), first

    @property
    def excess(self) -> Excess:
        return self.steps.excess

    @property
    def grid(self) -> SpectrumGrid:
        return self.steps.grid

    @property
    def teeth(self) -> npt.NDArray[np.int64]:
        """Rows of the teeth's first eight orders; of all low orders if flutes are unknown."""
        flutes = self.flutes or 1
        return np.arange(flutes, min(8 * flutes, TOP_ORDER) + 1, flutes) - 1

    def rotation_hz(self, path: npt.NDArray[np.int64]) -> FloatArray:
        """Rotation along a path, smoothed over three steps; where off, as last heard."""
        on = np.flatnonzero(path != OFF)
        if not len(on):
            return np.full(len(path), self.candidates.lowest_hz)
        last_on = np.maximum(np.searchsorted(on, np.arange(len(path)), side="right") - 1, 0)
        rotation = self.candidates.rotation_hz[path[on[last_on]]]
        return np.asarray(uniform_filter1d(rotation, 3, mode="nearest"))

    def orders(
        self,
        path: npt.NDArray[np.int64],
        *,
        ratio: float = 1.0,
        steps: slice | Mask | npt.NDArray[np.int64] = np.s_[:],
    ) -> npt.NDArray[np.float32]:
        """Excess at each order along a path, shape (chosen steps, orders)."""
        rotation = ratio * self.rotation_hz(path)[steps]
        return order_excess(self.excess[steps], rotation_hz=rotation, grid=self.grid)

    def without(self, *machines: Machine) -> Search:
        """The same search with machines' audible lines taken out of the spectra."""
        if not machines:
            return self
        excess = self.excess.copy()
        for path, voice in machines:
            on = np.flatnonzero(path != OFF)
            rotation = self.candidates.rotation_hz[path[on]]
            for order in np.flatnonzero(voice >= AT_TIMES) + 1:
                centre = np.rint(rotation * order / self.grid.bin_hz).astype(np.int64)
                inside = (centre > 2) & (centre < self.grid.bins - 3)
                for cell in range(-2, 3):
                    excess[on[inside], centre[inside] + cell] = TAKEN_OUT
        return self.of(replace(self.steps, excess=excess))

    def of(self, steps: Steps) -> Search:
        """The same search of other steps."""
        axis = on_log_axis(steps.excess, grid=self.grid, candidates=self.candidates)
        return replace(self, steps=steps, axis=axis)


def hop_share(path: npt.NDArray[np.int64]) -> float:
    """Hops from one speed to quite another, per running step."""
    running = path != OFF
    hops = running[1:] & running[:-1] & (np.abs(np.diff(path)) > HOP)
    return np.count_nonzero(hops) / max(1, int(np.count_nonzero(running)))


def spans(mask: Mask) -> list[tuple[int, int]]:
    """First index and end (exclusive) of each run of True."""
    edges = np.diff(np.concatenate([[0], mask.astype(np.int8), [0]]))
    starts, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    return list(zip(starts.tolist(), ends.tolist(), strict=True))


def mask_of(stretches: Iterable[tuple[int, int]], count: int) -> Mask:
    """True, of `count`, from each first index to its end: what `spans` takes apart."""
    mask = np.zeros(count, bool)
    for first, end in stretches:
        mask[first:end] = True
    return mask


def some_of(mask: Mask, most: int = 400) -> npt.NDArray[np.int64]:
    """Evenly spread steps of a mask, `most` at most."""
    steps = np.flatnonzero(mask)
    keep = np.linspace(0, len(steps) - 1, min(most, len(steps))).astype(np.int64)
    return steps[keep] if len(steps) else steps
