"""Which breaks part two passes, all of them taken together.

Those that sound and last like a way back, and above all those that leave passes alike: one
edge takes much the same time again and again.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import product

import numpy as np
import numpy.typing as npt

from analysis.hearing.gaps import IMPOSSIBLE, Break

FloatArray = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]
Places = npt.NDArray[np.int64]

USUAL_PASS_S = 6.0
JOBS_SPREAD = 0.8  # of ln seconds, from job to job
PASS_SPREADS = np.array([0.1, 0.2, 0.35, 0.55])  # of ln seconds, from pass to pass of one job
SHORTEST_PASS_S = 0.6
TOUCH = -4.0  # nats for contact too short for a pass
CUT_OFF = -1.0  # and for a pass of which the take holds a part only
PLAIN = 15.0  # nats: nothing that the passes' times say turns that over
MOST_AT_ONCE = 8  # breaks tried in every combination


def alike(times_s: FloatArray) -> float:
    """Log likelihood of passes over one edge taking these times.

    Log-normal about a mean and with a spread that are themselves known only roughly.

    >>> alike(np.array([5.0, 5.5, 4.8])) > alike(np.array([5.0, 5.5, 1.5, 3.3])) + 2
    True
    """
    count = len(times_s)
    if not count:
        return 0.0
    off = np.log(times_s / USUAL_PASS_S)
    own, shared = PASS_SPREADS**2, JOBS_SPREAD**2
    # A normal with covariance own * I + shared * 1 1', for each of the spreads.
    square = (np.sum(off**2) - shared * np.sum(off) ** 2 / (own + count * shared)) / own
    log_det = (count - 1) * np.log(own) + np.log(own + count * shared)
    each = -0.5 * (square + log_det + count * np.log(2 * np.pi))
    return float(np.logaddexp.reduce(each) - np.log(len(own)))


def parted(
    chances: Sequence[dict[Break, float]],
    *,
    contact_s: FloatArray,
    first_whole: bool,
    last_whole: bool,
) -> list[Break]:
    """What each break is, all taken together.

    Parameters
    ----------
    chances : one mapping for each break
        Log likelihood of each kind that it can be, by itself; one of them not a way back.
    contact_s : array, shape (breaks + 1,)
        Seconds of contact before, between and after the breaks.
    first_whole, last_whole : bool
        Whether the take holds the beginning of the first pass and the end of the last.
    """
    inside = [max((k for k in c if k is not Break.WAY_BACK), key=lambda k: c[k]) for c in chances]
    stay = np.array([c[kind] for c, kind in zip(chances, inside, strict=True)])
    go = np.array([c.get(Break.WAY_BACK, IMPOSSIBLE) for c in chances])

    def merit(way: Mask) -> float:
        times_s = np.add.reduceat(contact_s, np.concatenate([[0], np.flatnonzero(way) + 1]))
        whole = np.ones(len(times_s), bool)
        whole[0] &= first_whole
        whole[-1] &= last_whole
        touch = whole & (times_s < SHORTEST_PASS_S)
        return (
            alike(times_s[whole & ~touch])
            + TOUCH * np.count_nonzero(touch)
            + CUT_OFF * np.count_nonzero(~whole)
            + float(np.sum(np.where(way, go, stay)))
        )

    way = go > stay
    doubtful = np.flatnonzero(np.abs(go - stay) < PLAIN)
    found = _all_tried if len(doubtful) <= MOST_AT_ONCE else _one_by_one
    way = found(merit, way, doubtful)
    return [Break.WAY_BACK if w else kind for w, kind in zip(way, inside, strict=True)]


def _all_tried(merit: Callable[[Mask], float], way: Mask, doubtful: Places) -> Mask:
    best, most = way, -np.inf
    for choice in product((False, True), repeat=len(doubtful)):
        tried = way.copy()
        tried[doubtful] = choice
        if (score := merit(tried)) > most:
            best, most = tried, score
    return best


def _one_by_one(merit: Callable[[Mask], float], way: Mask, doubtful: Places) -> Mask:
    """Turn over the one break that gains most, for as long as one does."""
    most = merit(way)
    while True:
        gains = np.array([merit(_turned(way, place)) for place in doubtful])
        if gains.max() <= most:
            return way
        most = float(gains.max())
        way = _turned(way, doubtful[int(np.argmax(gains))])


def _turned(way: Mask, place: np.int64) -> Mask:
    turned = way.copy()
    turned[place] ^= True
    return turned
