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
Features = npt.NDArray[np.floating]
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
    edges = np.rint(BAND_EDGES_HZ / grid.bin_hz).astype(np.int64)
    held = BAND_EDGES_HZ / grid.sample_rate_hz < 0.47
    low = edges[edges < grid.bins]
    below = np.add.reduceat(log_powers[:, : low[-1]], low[:-1], axis=1) / np.diff(low)
    columns = [*below.T]
    for first, last in pairwise(edges[held][len(low) - 1 :].tolist()):
        band = spectra[:, first:last].view(np.float32)
        columns.append(np.log(np.vecdot(band, band) / (last - first) + 1e-20))
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
    features: Features,
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
        one, two = _middle(features[first]), _middle(features[second & settled])
        within, weights, squared = _discriminant(
            _about(features, first, one, second & settled, two), two - one, least_spread
        )
        apart = max(squared, 0.0) ** 0.5
        evidence = _along(_scaled(features - (one + two) / 2, within, 12), weights)
        gain = worth * np.clip(np.where(running, evidence, -8.0), -12, 12)
        before, second = second, running & two_state_path(gain, cost=TOUCH_COST)
        if not np.any((before ^ second) & settled):
            break
    return TwoStates(second, evidence, apart)


def _middle(features: Features) -> Features:
    """The median of each feature. Puts `features` out of order: a long take has many."""
    # Far cheaper than numpy's median, which asks for NaN too and parts twice.
    half = len(features) // 2
    features.partition(half, axis=0)
    above: Features = features[half].copy()
    if len(features) % 2:
        return above
    return np.asarray((features[:half].max(axis=0) + above) / 2, features.dtype)


def _about(features: Features, first: Mask, one: Features, second: Mask, two: Features) -> Features:
    """The features of two states' steps, each less its own state's middle."""
    split = np.count_nonzero(first)
    spread = np.empty((split + np.count_nonzero(second), features.shape[1]), features.dtype)
    np.subtract(features[first], one, out=spread[:split])
    np.subtract(features[second], two, out=spread[split:])
    return spread


def _discriminant(
    spread: Features, way: Features, least_spread: float
) -> tuple[Features, Features, float]:
    """What tells two states apart whose middles are `way` apart.

    Returns the features' scale, the discriminant's weights for features so scaled, and the
    squared distance of the middles along it. Overwrites `spread`.
    """
    within = 1.4826 * _middle(np.abs(spread)) + least_spread
    spread = _scaled(spread, within, 4)
    covariance = spread.T @ spread / len(spread) + RIDGE * np.eye(len(within))
    weights = np.linalg.solve(covariance, way / within)
    return within, weights, float(way / within @ weights)


def _scaled(features: Features, within: Features, most: float) -> Features:
    """Features in units of their spread, cut down to `most`; in place, for a take may be long."""
    features /= within
    return np.clip(features, -most, most, out=features)


def _along(features: Features, weights: Features) -> FloatArray:
    """Features summed by their weights, in their own precision."""
    return np.asarray(features @ weights.astype(features.dtype), np.float64)


def share_of_way(
    features: Features, *, first: Mask, second: Mask, step_s: float
) -> tuple[FloatArray, float]:
    """How far each step is on the way from one known state (0) to another (1), and their distance.

    Along the discriminant of features smoothed over STATE_S, so that what wanders slowly
    counts for what it is; the distance is in deviations of the smoothed share.
    """
    smooth = uniform_filter1d(features, max(1, round(STATE_S / step_s)), axis=0)
    one, two = _middle(features[first]), _middle(features[second])
    spread = _about(smooth, first, one, second, two)
    within, weights, squared = _discriminant(spread, two - one, SMOOTH_SPREAD)
    share = _along(features - one, weights / within)
    return share / max(squared, 1e-9), max(squared, 0.0) ** 0.5


def slower_in_second(log_hz: FloatArray, *, one: Mask, two: Mask, near: int) -> float:
    """By how much, ln, the speed is less in the second of two states, where the two meet.

    Between meetings the dial may have been turned. Medians over `near` steps to either side of
    each meeting are compared, and the median of those is told; of all steps where none meet.
    """
    told = np.flatnonzero(one | two)
    state = two[told]
    edges = [0, *(1 + np.flatnonzero(state[1:] != state[:-1])).tolist(), len(told)]
    drops = []
    for begin, meet, end in zip(edges, edges[1:], edges[2:], strict=False):
        if told[meet] - told[meet - 1] <= near:
            before, after = told[max(begin, meet - near) : meet], told[meet : min(end, meet + near)]
            gain = float(np.median(log_hz[after]) - np.median(log_hz[before]))
            drops.append(-gain if state[meet] else gain)
    if drops:
        return float(np.median(drops))
    return float(np.median(log_hz[one]) - np.median(log_hz[two]))


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


def bimodal_guesses(features: Features, *, settled: Mask, step_s: float) -> list[Mask]:
    """Ways to part settled steps in two: along each leading principal component."""
    if settled.sum() < 3 * STATE_S / step_s:
        return []
    middle = _middle(features[settled])
    away = features[settled]
    away -= middle
    scale = 1.4826 * _middle(np.abs(away, out=away)) + 1e-2
    scaled = _scaled(features - middle, scale, 8)
    smooth = uniform_filter1d(scaled, max(1, round(STATE_S / step_s)), axis=0, output=scaled)
    centred = smooth[settled]
    centred -= centred.mean(axis=0, dtype=float).astype(centred.dtype)
    _, axes = np.linalg.eigh(centred.T @ centred)
    along = [smooth @ axis for axis in axes[:, -COMPONENTS:].T]
    return [settled & (values > two_class_threshold(values[settled])) for values in along]


def two_class_threshold(values: FloatArray) -> float:
    """The cut that leaves least variance within two classes (Otsu)."""
    ordered = np.sort(values)
    place = change_point(ordered)
    return float(ordered[place - 1] + ordered[place]) / 2


def two_state_path(evidence: npt.NDArray[np.floating], *, cost: float) -> Mask:
    """The likeliest sequence of two states, `cost` nats for each change.

    Only by how much the second state leads is carried along, and a lead counts for no more
    than a change costs. What leads by more decides the step; the others go with what follows.

    >>> two_state_path(np.array([-5.0, 3.0, -1.0, 3.0, 3.0, -9.0]), cost=3.0)
    array([False,  True,  True,  True,  True, False])
    """
    each, lead = [], 0.0
    for gain in evidence.tolist():
        lead = (cost if lead > cost else -cost if lead < -cost else lead) + gain
        each.append(lead)
    leads = np.array(each, float)
    decided = np.abs(leads) > cost
    decided[-1:] = True
    place = np.where(decided, np.arange(len(leads)), len(leads))
    return leads[np.minimum.accumulate(place[::-1])[::-1]] > 0
