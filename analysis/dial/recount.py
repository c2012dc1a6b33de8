"""Each plateau's count of orders, held against the voice that all the others teach.

Where a take's speeds span more than an octave, one plateau may lie at half or double its
speed on the others' lines, and then teaches them its own. So each is judged by a voice it had
no part in.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from analysis.hearing.orders import Excess, Voice, order_excess
from analysis.hearing.search import spans
from analysis.hearing.spectra import SpectrumGrid
from analysis.hearing.voice import Mask, learn_voice, order_fits, step_evidence

FloatArray = npt.NDArray[np.float64]

RATIOS = (1.0, 0.5, 2.0, 2 / 3, 1.5, 0.75, 4 / 3)
CLEARLY = 1.0  # nats a step by which another count must win
SHORTEST_STEPS = 24
FEWEST_STRETCHES = 3
ROUNDS = 2


def recounted(
    rotation_hz: FloatArray,
    *,
    settled: Mask,
    excess: Excess,
    grid: SpectrumGrid,
    range_hz: tuple[float, float],
) -> FloatArray:
    """The course with every running stretch at the count that the other stretches' voice favours.

    Parameters
    ----------
    rotation_hz : array, shape (steps,)
        NaN where off.
    settled : array, shape (steps,)
        Steps at a held speed.
    excess : array, shape (steps, bins)
    grid : SpectrumGrid
    range_hz : (float, float)
        Rotations to which a stretch may be moved.
    """
    course = rotation_hz.copy()
    for _ in range(ROUNDS):
        stretches = [(a, b) for a, b in spans(settled) if b - a >= SHORTEST_STEPS]
        if len(stretches) < FEWEST_STRETCHES:
            return course
        changed = False
        whole = np.nan_to_num(course, nan=range_hz[0])
        fits = order_fits(order_excess(excess, rotation_hz=whole, grid=grid))
        for first, last in stretches:
            others = settled.copy()
            others[first:last] = False
            voice = learn_voice(fits, others)
            scores = {
                ratio: _evidence(turned, excess[first:last], grid, voice)
                for ratio in RATIOS
                for turned in (course[first:last] * ratio,)
                if ratio == 1.0 or range_hz[0] <= float(np.median(turned)) <= range_hz[1]
            }
            best = max(scores, key=lambda ratio: scores[ratio])
            if scores[best] > scores[1.0] + CLEARLY:
                course[_reach(course, first, last)] *= best
                changed = True
        if not changed:
            break
    return course


def _evidence(rotation_hz: FloatArray, excess: Excess, grid: SpectrumGrid, voice: Voice) -> float:
    """Mean log likelihood of a voice at a rotation, nats a step."""
    at = order_excess(excess, rotation_hz=rotation_hz, grid=grid)
    return float(step_evidence(order_fits(at), voice).mean())


def _reach(course: FloatArray, first: int, last: int) -> slice:
    """The stretch and what belongs to it: up to the next leap, or to where the router is off."""
    steps = np.abs(np.diff(np.log(course)))
    breaks = np.flatnonzero(~(steps < 0.03)) + 1
    before, after = breaks[breaks <= first], breaks[breaks >= last]
    return slice(
        int(before[-1]) if len(before) else 0, int(after[0]) if len(after) else len(course)
    )
