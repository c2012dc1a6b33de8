"""Breaks in the cut: standing still, lifted off, or the way back to the start of the edge.

In a break the chips stop, and by that alone standing still and lifting off sound the same.
What is left is the rub: an edge that turns in the wood without feed keeps some tone and
hiss of its own that running free does not have.
"""

from __future__ import annotations

from collections.abc import Callable
from enum import Enum

import numpy as np
import numpy.typing as npt
from scipy.ndimage import binary_dilation

FloatArray = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

WAY_BACK_S = 1.52  # nobody is back at the start of an edge sooner
LONGEST_DWELL_S = 4.0
SHORTEST_S = 0.12
SURELY_STANDING_S = 0.75  # hands lift off for less
SHORTEST_DWELL_S = 0.3
RUB = 2.3  # deviations from running free, per root feature: more is a rub
CUT_LEFT = 0.095  # share of the cut's own sound that a dwell keeps and a lift-off does not
BLOCK_S = 0.3
CLEAR_S = 0.3  # of a cut: reverberation and recovering speed
EDGE_S = 0.12
LEAST_SCALE = 0.12  # nepers: steadier than that is luck
FARTHEST = 12.0


class Break(Enum):
    """What a break in the contact is."""

    WAY_BACK = "between passes"
    DWELL = "standing still"
    LIFTOFF = "contact lost"
    NONE = "no break"


def rub_measure(
    features: FloatArray,
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
    near = binary_dilation(contact, iterations=max(1, round(CLEAR_S / step_s)))
    doubtful = np.zeros(len(contact), bool)
    for first, end in breaks:
        if (end - first) * step_s < 2 * WAY_BACK_S:
            doubtful[first:end] = True
    free = settled & ~near & ~doubtful
    block = max(1, round(BLOCK_S / step_s))
    if free.sum() < 4 * block:
        free = settled & ~near
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
        away = np.clip((features[first:end].mean(axis=0) - middle) / scale, -FARTHEST, FARTHEST)
        return float(np.sqrt(away @ inverse @ away / len(away)))

    return measure


def cut_left_measure(
    features: FloatArray, *, contact: Mask, settled: Mask, step_s: float
) -> Callable[[int, int], float]:
    """A measure of how much of the cut's own sound a break keeps: 0 for running free, 1 for a cut.

    The break's sound is laid along the way from running free to cutting.

    Parameters
    ----------
    features : array, shape (frames, features)
    contact, settled : arrays, shape (frames,)
    step_s : float
    """
    near = binary_dilation(contact, iterations=max(1, round(CLEAR_S / step_s)))
    free = settled & ~near
    if not free.any() or not contact.any():
        return _no_measure
    middle = np.median(features[free], axis=0)
    way = np.median(features[contact], axis=0) - middle
    edge = max(1, round(EDGE_S / step_s))

    def measure(first: int, end: int) -> float:
        if end - first > 2 * edge + 2:
            first, end = first + edge, end - edge
        return float((features[first:end].mean(axis=0) - middle) @ way / (way @ way + 1e-9))

    return measure


def _no_measure(first: int, end: int) -> float:  # noqa: ARG001
    return 0.0


def name_breaks(
    breaks: list[tuple[int, int]],
    *,
    rub: Callable[[int, int], float],
    cut_left: Callable[[int, int], float],
    step_s: float,
) -> list[Break]:
    """What each break is, from its length and how it sounds.

    Long ones are the way back unless they rub; short ones a lift-off unless something of
    the cut is left.
    """
    length_s = [(end - first) * step_s for first, end in breaks]
    rubs = [rub(first, end) for first, end in breaks]
    # A take in which running free itself drifts calls for a larger measure.
    surely_free = [r for r, s in zip(rubs, length_s, strict=True) if s > LONGEST_DWELL_S]
    usual = max(RUB, 1.5 * max(surely_free, default=0.0))
    names = []
    lefts = [cut_left(first, end) for first, end in breaks]
    for seconds, measured, left in zip(length_s, rubs, lefts, strict=True):
        if seconds < SHORTEST_S:
            names.append(Break.NONE)
        elif seconds >= WAY_BACK_S:
            rubbing = measured > usual and seconds < LONGEST_DWELL_S
            names.append(Break.DWELL if rubbing else Break.WAY_BACK)
        elif seconds >= SURELY_STANDING_S:
            names.append(Break.DWELL)
        else:
            standing = left > CUT_LEFT and seconds >= SHORTEST_DWELL_S
            names.append(Break.DWELL if standing else Break.LIFTOFF)
    return names
