"""Breaks in the cut: standing still, lifted off, or the way back to the start of the edge.

In a break the chips stop, and by that alone standing still and lifting off sound the same.
What is left is the rub: an edge that turns in the wood without feed keeps some tone and
hiss of its own that running free does not have.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np
import numpy.typing as npt
from scipy.ndimage import binary_dilation

FloatArray = npt.NDArray[np.float64]
Features = npt.NDArray[np.floating]
Mask = npt.NDArray[np.bool_]

WAY_BACK_S = 1.52  # hardly anybody is back at the start of an edge sooner
NEVER_BACK_S = 0.7  # nobody is, over the shortest of edges
SHORTEST_S = 0.12
BLOCK_S = 0.3
CLEAR_S = 0.3  # of a cut: reverberation and recovering speed
EDGE_S = 0.12
LEAST_SCALE = 0.12  # nepers: steadier than that is luck
FARTHEST = 12.0
RUB_HEARD_S = 1.2  # in a shorter break the cut's echo takes up too much
# A rub, in deviations from running free per root feature, while running free and while standing
# still, both over a second: middle, its fall with ln length, and spread of its logarithm.
RUB_FREE, RUB_STANDING = (0.85, 0.5, 0.45), (1.95, 0.3, 0.55)
LEAST_LEFT_SD = 0.03  # of a cut's sound
LEFT_STEADY_S = 0.4  # a share read over so long is as sure as its blocks say
# Of the cut's sound an edge keeps so much standing still: this bit in this wood, each as likely
# (eighths of an exponential with a mean of 0.28), and how it differs from one time to the next.
RUB_LEVELS = tuple(-0.28 * float(np.log(1 - (i + 0.5) / 8)) for i in range(8))
RUB_SPREAD = 0.5  # of its logarithm
SILENT = 0.15  # of the times that an edge stands still it cannot be heard
# Of the cut's hiss a feed that falters keeps so much, and an edge that stands: mean and spread.
HISS_FALTERING, HISS_STANDING = (0.5, 0.2), (0.15, 0.15)
# Of the sag a feed that falters wins back no more than this, and an edge that stands no less, once
# a sluggish motor has had its time for it; nats for what is beyond.
MOST_RELIEF, LEAST_RELIEF, RELIEF_WORTH = 0.65, 0.5, 40.0
SLUGGISH_S, RELIEVED_S = 0.3, 0.7
LEFT_WORTH, RUB_WORTH = 0.7, 0.3  # the two measures hear much the same
MOST_ODDS = 6.0
IMPOSSIBLE = -99.0  # nats


class Break(Enum):
    """What a break in the contact is."""

    WAY_BACK = "between passes"
    DWELL = "standing still"
    LIFTOFF = "contact lost"
    NONE = "no break"


def clear_of(contact: Mask, *, step_s: float) -> Mask:
    """Frames in which neither echo nor recovering speed is left of any contact."""
    near = binary_dilation(contact, iterations=max(1, round(CLEAR_S / step_s)))
    return np.asarray(~near)


def rub_measure(
    features: Features,
    *,
    contact: Mask,
    settled: Mask,
    breaks: list[tuple[int, int]],
    step_s: float,
) -> Callable[[int, int], float]:
    """A measure of how unlike running free a break sounds.

    Learned from blocks of the take's own free running, away from cuts and short breaks.
    About ``sqrt(BLOCK_S / length)`` for a break that is running free.

    Parameters
    ----------
    features : array, shape (frames, features)
    contact, settled : arrays, shape (frames,)
    breaks : list of (first, end)
        The breaks between stretches of contact, as frames.
    step_s : float
    """
    clear = clear_of(contact, step_s=step_s)
    doubtful = np.zeros(len(contact), bool)
    for first, end in breaks:
        if (end - first) * step_s < 2 * WAY_BACK_S:
            doubtful[first:end] = True
    free = settled & clear & ~doubtful
    block = max(1, round(BLOCK_S / step_s))
    if free.sum() < 4 * block:
        free = settled & clear
    if free.sum() < 4 * block:
        return _no_measure
    sound = features[free][: free.sum() // block * block]
    blocks = sound.reshape(-1, block, features.shape[1]).mean(axis=1)
    middle = np.median(blocks, axis=0)
    scale = np.maximum(1.4826 * np.median(np.abs(blocks - middle), axis=0), LEAST_SCALE)
    scaled = np.clip((blocks - middle) / scale, -4, 4)
    covariance = 0.7 * scaled.T @ scaled / len(scaled) + 0.3 * np.eye(len(middle))
    inverse = np.linalg.inv(covariance)
    edge = max(1, round(EDGE_S / step_s))

    def measure(first: int, end: int) -> float:
        if end - first > 2 * edge + 2:
            first, end = first + edge, end - edge
        heard = np.median(features[first:end], axis=0)  # a knock is no rub
        away = np.clip((heard - middle) / scale, -FARTHEST, FARTHEST)
        return float(np.sqrt(away @ inverse @ away / len(away)))

    return measure


@dataclass(frozen=True, slots=True)
class CutLeft:
    """How much of the cut's own sound a break keeps: 0 for running free, 1 for a cut.

    Attributes
    ----------
    measure : function of (first, end), frames
    sd : float
        What blocks of running free come to, give or take.
    """

    measure: Callable[[int, int], float]
    sd: float


def cut_left_measure(features: Features, *, contact: Mask, settled: Mask, step_s: float) -> CutLeft:
    """The break's sound laid along the way from running free to cutting.

    Parameters
    ----------
    features : array, shape (frames, features)
    contact, settled : arrays, shape (frames,)
    step_s : float
    """
    free = settled & clear_of(contact, step_s=step_s)
    if not free.any() or not contact.any():
        return CutLeft(_no_measure, LEAST_LEFT_SD)
    middle = np.median(features[free], axis=0)
    way = np.median(features[contact], axis=0) - middle
    share = (features - middle) @ way / (way @ way + 1e-9)
    edge = max(1, round(EDGE_S / step_s))
    block = max(1, round(BLOCK_S / step_s))
    blocks = share[free][: free.sum() // block * block].reshape(-1, block).mean(axis=1)
    sd = 1.4826 * float(np.median(np.abs(blocks - np.median(blocks)))) if len(blocks) else 0.0

    def measure(first: int, end: int) -> float:
        if end - first > 2 * edge + 2:
            first, end = first + edge, end - edge
        return float(np.median(share[first:end]))  # a knock is no rub

    return CutLeft(measure, sd)


def _no_measure(first: int, end: int) -> float:  # noqa: ARG001
    return 0.0


@dataclass(frozen=True, slots=True)
class Lengths:
    """How often a kind of break comes up in a pass, and how long it lasts (log-normal)."""

    share: float
    middle_s: float
    spread: float

    def chance(self, length_s: float) -> float:
        """Log likelihood of one that lasts so long."""
        off = float(np.log(length_s / self.middle_s)) / self.spread
        return float(np.log(self.share / self.spread)) - off**2 / 2


DWELLS = Lengths(share=0.2, middle_s=0.8, spread=0.7)
LIFT_OFFS = Lengths(share=0.15, middle_s=0.42, spread=0.68)
FALTERS = Lengths(share=0.2, middle_s=0.35, spread=0.6)
WAYS_BACK = Lengths(share=1.0, middle_s=2.8, spread=0.45)
RESTS = -2.7  # nats: three in ten, anywhere from there to a hundred times that


@dataclass(frozen=True, slots=True)
class HeardBreak:
    """A break in the contact as heard.

    Attributes
    ----------
    length_s : float
    at_one_setting : bool
        Whether the router ran all through it and its dial was left alone; nobody switches it
        off or turns it inside a pass.
    rub : float
        From `rub_measure`; 0 when there was nothing to measure against.
    left, left_sd : float
        From `cut_left_measure`.
    hiss, hiss_sd : float
        From `cut_left_measure` too, of the chips' hiss alone.
    relief : float or None
        How much of the speed that the cut costs is won back, median; None if that can't be told.
    """

    length_s: float
    at_one_setting: bool
    rub: float
    left: float
    left_sd: float
    hiss: float
    hiss_sd: float
    relief: float | None


def chances(breaks: Sequence[HeardBreak]) -> list[dict[Break, float]]:
    """Log likelihood of each kind that each break can be, from its length and how it sounds.

    An edge that stands still sounds much the same each time: how loudly, the take's other
    breaks tell. Where one rub was plain, a silent break is no dwell. What keeps most of the cut
    may be none: a feed that falters.
    """
    told = [_by_length(heard) for heard in breaks]
    asked = [i for i, kinds in enumerate(told) if Break.DWELL in kinds and breaks[i].rub > 0]
    if not asked:
        return told
    odds = np.array([[_odds_standing(breaks[i], level) for i in asked] for level in RUB_LEVELS])
    standing = odds + [told[i][Break.DWELL] for i in asked]
    otherwise = [
        np.logaddexp.reduce([c for kind, c in told[i].items() if kind is not Break.DWELL])
        for i in asked
    ]
    of_level = np.logaddexp(standing, otherwise)
    others = of_level.sum(axis=1, keepdims=True) - of_level
    weights = others - np.logaddexp.reduce(others, axis=0)
    over_levels = np.clip(np.logaddexp.reduce(weights + odds, axis=0), -MOST_ODDS, MOST_ODDS)
    for i, more in zip(asked, over_levels.tolist(), strict=True):
        told[i][Break.NONE] = more + FALTERS.chance(breaks[i].length_s) + _odds_faltering(breaks[i])
        told[i][Break.DWELL] += more
    return told


def _by_length(heard: HeardBreak) -> dict[Break, float]:
    length_s = heard.length_s
    if length_s < SHORTEST_S:
        return {Break.NONE: 0.0}
    if not heard.at_one_setting and length_s >= NEVER_BACK_S:
        return {Break.WAY_BACK: 0.0, Break.LIFTOFF: IMPOSSIBLE}
    told = {
        Break.DWELL: DWELLS.chance(length_s),
        Break.LIFTOFF: LIFT_OFFS.chance(length_s),
    }
    if length_s >= NEVER_BACK_S:
        told[Break.WAY_BACK] = WAYS_BACK.chance(length_s)
        if length_s > WAYS_BACK.middle_s:  # or else a rest, as long as one likes
            told[Break.WAY_BACK] = float(np.logaddexp(told[Break.WAY_BACK], RESTS))
    return told


def _odds_standing(heard: HeardBreak, level: float) -> float:
    """Log odds of a rubbing edge over running free where a rub keeps `level` of the cut."""
    sd = heard.left_sd * (LEFT_STEADY_S / heard.length_s) ** 0.5
    odds = LEFT_WORTH * _odds_by_left(heard.left, sd=max(LEAST_LEFT_SD, sd), level=level)
    if heard.length_s >= RUB_HEARD_S:
        odds += RUB_WORTH * _odds_by_rub(heard.rub, length_s=heard.length_s)
    return odds


def _odds_faltering(heard: HeardBreak) -> float:
    """Log odds of a feed that falters over an edge that stands, by the chips' hiss and the load."""

    def chance(middle: float, spread: float) -> float:
        spread = float(np.hypot(spread, heard.hiss_sd))
        return -(((heard.hiss - middle) / spread) ** 2) / 2 - float(np.log(spread))

    odds = chance(*HISS_FALTERING) - chance(*HISS_STANDING)
    if heard.relief is None:
        return odds
    since_s = max(0.0, heard.length_s - SLUGGISH_S)
    least = LEAST_RELIEF * (1 - float(np.exp(-since_s / RELIEVED_S)))
    loaded = max(0.0, least - heard.relief) - max(0.0, heard.relief - MOST_RELIEF)
    return odds + float(np.clip(RELIEF_WORTH * loaded, -MOST_ODDS, MOST_ODDS))


def _odds_by_left(left: float, *, sd: float, level: float) -> float:
    """Log odds of a rubbing edge over running free by the share of the cut that is left.

    What a rub keeps of the cut is taken as log-normal about the take's level, with normal
    errors of reading.
    """
    off = np.linspace(-3, 3, 31)
    kept = level * np.exp(RUB_SPREAD * off)
    chance = -(off**2) / 2
    over_free = (2 * left - kept) * kept / (2 * sd**2)
    heard = np.logaddexp.reduce(chance + over_free) - np.logaddexp.reduce(chance)
    return float(np.logaddexp(np.log(1 - SILENT) + heard, np.log(SILENT)))


def _odds_by_rub(rub: float, *, length_s: float) -> float:
    """Log odds of a rubbing edge over running free by its rub, log-normal for both."""

    def chance(middle: float, fall: float, spread: float) -> float:
        off = float(np.log(rub / middle) + fall * np.log(length_s)) / spread
        return -(off**2) / 2 - float(np.log(spread))

    return chance(*RUB_STANDING) - chance(*RUB_FREE)
