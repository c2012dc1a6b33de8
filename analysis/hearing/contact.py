"""Is the bit in the wood? Against this router's own idle sound, whatever that is.

Cutting may be louder than idling or quieter, may add orders or drown them. What holds is
that there are two states, that each is much the same whenever it comes back, and that a
few signs tell which is the cut: the spindle is slower, the teeth's tones are stronger,
the hiss of chips is up, and a run neither begins nor ends in the wood.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from scipy.ndimage import uniform_filter1d

from analysis.hearing.search import spans
from analysis.hearing.spectra import SpectrumGrid

FloatArray = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

BAND_EDGES_HZ = np.array(
    [350, 500, 700, 1000, 1400, 2000, 2800, 4000, 5600, 7500, 9500, 12000, 15000, 18500], float
)
ROUNDS = 3
# Overlapping frames share sound, and hands make the load wander for tenths of a second:
# a tenth of a second's evidence is worth this much of its face value.
WORTH = 0.2
TOUCH_COST = 5.0  # nats for beginning or ending contact
STATE_S = 0.25  # a state lasts that long at least
APART = 1.2  # robust deviations between two states that deserve the name
COMPONENTS = 3
RIDGE = 0.05
SMOOTH_SPREAD = 0.05  # a smoothed feature's within a state: steadier than that is luck


def band_levels(
    spectra: npt.NDArray[np.complex64],
    log_powers: npt.NDArray[np.float32],
    *,
    grid: SpectrumGrid,
) -> npt.NDArray[np.float32]:
    """Broadband level in each band, ln power, shape (frames, bands that the take holds).

    Up to the top bin the mean of the log power is read, which lines hardly lift, above it
    the power itself. `spectra` has shape (frames, all bins), `log_powers` (frames, grid.bins).
    """
    columns = []
    for low, high in pairwise(BAND_EDGES_HZ.tolist()):
        first, last = round(low / grid.bin_hz), round(high / grid.bin_hz)
        if last < grid.bins:
            columns.append(log_powers[:, first:last].mean(axis=1))
        elif high < 0.47 * grid.sample_rate_hz:
            band = spectra[:, first:last].view(np.float32)
            columns.append(np.log(np.einsum("ij,ij->i", band, band) / (last - first) + 1e-20))
    return np.stack(columns, axis=1).astype(np.float32)


@dataclass(frozen=True, slots=True, eq=False)
class TwoStates:
    """Two states of a running machine; which is the cut is not said yet.

    Attributes
    ----------
    second : array, shape (steps,)
        Steps in the second state; the others that run are in the first.
    evidence : array, shape (steps,)
        Log likelihood of the second state over the first.
    apart : float
        Distance of the two along the discriminant, in deviations.
    """

    second: Mask
    evidence: FloatArray
    apart: float


def part_states(
    features: FloatArray,
    *,
    running: Mask,
    settled: Mask,
    step_s: float,
    guess: Mask,
    least_spread: float = 1e-2,
) -> TwoStates:
    """Part running steps into two states, starting from a guess.

    A linear discriminant and a two-state path refine the guess turn about.

    Parameters
    ----------
    features : array, shape (steps, features)
    running, settled : arrays, shape (steps,)
        Where the router runs; where it does so steadily enough to learn from.
    step_s : float
        Seconds from step to step.
    guess : array, shape (steps,)
        Steps thought to be in the second state.
    least_spread : float
        Added to each feature's spread within a state, in its own unit.
    """
    nothing = TwoStates(np.zeros(len(running), bool), np.full(len(running), -1.0), 0.0)
    if settled.sum() < 3 * STATE_S / step_s:
        return nothing
    second, evidence, apart = guess & settled, nothing.evidence, 0.0
    worth = WORTH * step_s / 0.0232
    for _ in range(ROUNDS):
        first = settled & ~second
        if min(first.sum(), (second & settled).sum()) < max(4, STATE_S / step_s):
            return nothing
        one, two = np.median(features[first], axis=0), np.median(features[second & settled], axis=0)
        spread = np.concatenate([features[first] - one, features[second & settled] - two])
        within = 1.4826 * np.median(np.abs(spread), axis=0) + least_spread
        spread = np.clip(spread / within, -4, 4)
        covariance = spread.T @ spread / len(spread) + RIDGE * np.eye(len(one))
        step = (two - one) / within
        weights = np.linalg.solve(covariance, step)
        apart = float(np.sqrt(max(step @ weights, 0.0)))
        evidence = np.clip((features - (one + two) / 2) / within, -12, 12) @ weights
        gain = worth * np.clip(np.where(running, evidence, -8.0), -12, 12)
        second = running & two_state_path(gain, cost=TOUCH_COST)
    return TwoStates(second, evidence, apart)


def share_of_way(
    features: FloatArray, *, first: Mask, second: Mask, step_s: float
) -> tuple[FloatArray, float]:
    """How far each step is on the way from one known state (0) to another (1), and their distance.

    Along the discriminant of features smoothed over STATE_S, so that what wanders slowly
    counts for what it is; the distance is in deviations of the smoothed share.
    """
    smooth = uniform_filter1d(features, max(1, round(STATE_S / step_s)), axis=0)
    one, two = np.median(features[first], axis=0), np.median(features[second], axis=0)
    spread = np.concatenate([smooth[first] - one, smooth[second] - two])
    within = 1.4826 * np.median(np.abs(spread), axis=0) + SMOOTH_SPREAD
    spread = np.clip(spread / within, -4, 4)
    covariance = spread.T @ spread / len(spread) + RIDGE * np.eye(len(one))
    step = (two - one) / within
    weights = np.linalg.solve(covariance, step)
    squared = float(step @ weights)
    return (features - one) / within @ weights / max(squared, 1e-9), max(squared, 0.0) ** 0.5


def share_at_ends(second: Mask, settled: Mask, *, count: int) -> float:
    """Share of the second state in so many steps where runs begin and end; a half without runs."""
    ends = np.zeros(len(second), bool)
    for first, last in spans(settled):
        if last - first > 4 * count:
            ends[first : first + count] = ends[last - count : last] = True
    return float(second[ends].mean()) if ends.any() else 0.5


def change_point(values: FloatArray) -> int:
    """Where to part a series in two so that each part is nearest to its own mean.

    >>> change_point(np.array([0.0, 0.1, 0.0, 0.9, 1.0, 1.1]))
    3
    """
    count = len(values)
    below = np.arange(1, count)
    total = np.cumsum(values)
    gap = (total[-1] - total[:-1]) / (count - below) - total[:-1] / below
    return 1 + int(np.argmax(below * (count - below) * gap**2))


def bimodal_guesses(features: FloatArray, *, settled: Mask, step_s: float) -> list[Mask]:
    """Ways to part settled steps in two: along each leading principal component."""
    if settled.sum() < 3 * STATE_S / step_s:
        return []
    middle = np.median(features[settled], axis=0)
    scale = 1.4826 * np.median(np.abs(features[settled] - middle), axis=0) + 1e-2
    scaled = np.clip((features - middle) / scale, -8, 8)
    smooth = uniform_filter1d(scaled, max(1, round(STATE_S / step_s)), axis=0)
    centred = smooth[settled] - smooth[settled].mean(axis=0)
    _, axes = np.linalg.eigh(centred.T @ centred)
    along = [smooth @ axis for axis in axes[:, -COMPONENTS:].T]
    return [settled & (values > two_class_threshold(values[settled])[0]) for values in along]


def two_class_threshold(values: FloatArray) -> tuple[float, float]:
    """The cut that leaves least variance within two classes, and the share it explains (Otsu)."""
    ordered = np.sort(values)
    count = len(ordered)
    below = np.arange(1, count)
    total = np.cumsum(ordered)
    gap = (total[-1] - total[:-1]) / (count - below) - total[:-1] / below
    between = below * (count - below) * gap**2 / count**2
    best = int(np.argmax(between))
    return float(ordered[best] + ordered[best + 1]) / 2, float(
        between[best] / (np.var(ordered) + 1e-12)
    )


def two_state_path(evidence: FloatArray, *, cost: float) -> Mask:
    """The likeliest sequence of two states, `cost` nats for each change."""
    count = len(evidence)
    came_from = np.empty((count, 2), bool)
    out, within = 0.0, 0.0
    for i, gain in enumerate(evidence.tolist()):
        enter, stay = out - cost, within
        leave, rest = within - cost, out
        came_from[i] = leave > rest, stay >= enter
        out, within = max(leave, rest), max(enter, stay) + gain
    state = within > out
    path = np.empty(count, bool)
    for i in range(count - 1, -1, -1):
        path[i] = state
        state = bool(came_from[i, int(state)])
    return path
