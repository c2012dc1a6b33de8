"""Which breaks part two passes, all of them taken together.

Those that sound and last like a way back, and above all those that leave passes alike: along one
edge the same wood comes off again and again.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.hearing.gaps import IMPOSSIBLE, Break

FloatArray = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]
Masks = npt.NDArray[np.bool_]  # shape (choices, breaks)
Places = npt.NDArray[np.int64]

USUAL_PASS_S = 6.0
JOBS_SPREAD = 0.8  # of ln seconds, from job to job
# From pass to pass of one job, and how often: now and then another edge is tried.
PASS_SPREADS, SPREADS_SHARES = np.array([0.08, 0.16, 0.3, 0.8]), np.array([0.32, 0.32, 0.32, 0.04])
SHORTEST_PASS_S, LEAST_REMOVED_S = 0.6, 0.3
TOUCH = -4.0  # nats for contact too short, or that takes too little off, for a pass
CUT_OFF = -1.0  # and for a pass of which the take holds a part only
PLAIN = 15.0  # nats: nothing that the passes' times say turns that over
MOST_AT_ONCE = 12  # breaks tried in every combination
MOST_TOGETHER = 60  # a long take is parted in two where it is surest: over hours edges change


@dataclass(frozen=True, slots=True)
class Named:
    """What a break is taken for.

    Attributes
    ----------
    kind : Break
    parts_otherwise : float
        Nats by which it is likelier than its opposite: no way back, or one.
    stands_otherwise : float
        Nats, of either sign, by which time stood still in it, one way or another, rather than
        the feed only faltered.
    """

    kind: Break
    parts_otherwise: float
    stands_otherwise: float


def alike(removed_s: FloatArray) -> float:
    """Log likelihood of passes over one edge taking so much off, as from `removed_s`.

    Log-normal about a mean and with a spread that are themselves known only roughly.

    >>> alike(np.array([5.0, 5.5, 4.8])) > alike(np.array([5.0, 5.5, 1.5, 3.3])) + 2
    True
    """
    off = np.log(removed_s / USUAL_PASS_S)
    return float(_alike(*(np.array([v]) for v in (len(off), np.sum(off), np.sum(off**2))))[0])


def _alike(count: FloatArray, total: FloatArray, squares: FloatArray) -> FloatArray:
    """The same for many sets of passes: how many, and sum and squares of ln(removed / usual)."""
    own, shared = PASS_SPREADS[:, None] ** 2, JOBS_SPREAD**2
    # A normal with covariance own * I + shared * 1 1', for each of the spreads.
    square = (squares - shared * total**2 / (own + count * shared)) / own
    log_det = (count - 1) * np.log(own) + np.log(own + count * shared)
    each = -0.5 * (square + log_det + count * np.log(2 * np.pi))
    shares = np.log(SPREADS_SHARES)[:, None]
    return np.asarray(np.logaddexp.reduce(each + shares, axis=0), np.float64)


def is_touch(contact_s: npt.ArrayLike, removed_s: npt.ArrayLike) -> Mask:
    """Whether contact is too short, or takes too little off, for a pass."""
    return np.less(contact_s, SHORTEST_PASS_S) | np.less(removed_s, LEAST_REMOVED_S)


def parted(
    chances: Sequence[dict[Break, float]],
    *,
    contact_s: FloatArray,
    removed_s: FloatArray,
    first_whole: bool,
    last_whole: bool,
) -> list[Named]:
    """What each break is, all taken together.

    Parameters
    ----------
    chances : one mapping for each break
        Log likelihood of each kind that it can be, by itself; one of them not a way back.
    contact_s : array, shape (breaks + 1,)
        Seconds of contact before, between and after the breaks.
    removed_s : array, shape (breaks + 1,)
        What it takes off, in seconds of usual cutting.
    first_whole, last_whole : bool
        Whether the take holds the beginning of the first pass and the end of the last.
    """
    inside = [max((k for k in c if k is not Break.WAY_BACK), key=lambda k: c[k]) for c in chances]
    stay = np.array([c[kind] for c, kind in zip(chances, inside, strict=True)])
    go = np.array([c.get(Break.WAY_BACK, IMPOSSIBLE) for c in chances])

    third = len(chances) // 3
    place = third + int(np.argmax((go - stay)[third : len(go) - third])) if third else 0
    if len(chances) > MOST_TOGETHER and go[place] > stay[place]:
        before, after = slice(None, place), slice(place + 1, None)
        surest = Named(Break.WAY_BACK, float((go - stay)[place]), _stands(chances[place]))
        return [
            *parted(chances[before], contact_s=contact_s[: place + 1],
                    removed_s=removed_s[: place + 1], first_whole=first_whole, last_whole=True),
            surest,
            *parted(chances[after], contact_s=contact_s[place + 1 :],
                    removed_s=removed_s[place + 1 :], first_whole=True, last_whole=last_whole),
        ]  # fmt: skip

    def merits(ways: Masks) -> FloatArray:
        passes = _passes_merit(
            ways,
            contact_s=contact_s,
            removed_s=removed_s,
            first_whole=first_whole,
            last_whole=last_whole,
        )
        return np.asarray(passes + np.where(ways, go, stay).sum(axis=1), np.float64)

    way = go > stay
    doubtful = np.flatnonzero(np.abs(go - stay) < PLAIN)
    found = _all_tried if len(doubtful) <= MOST_AT_ONCE else _a_few_at_once
    way = found(merits, way, doubtful)
    turned = merits(np.concatenate([way[None], way ^ np.eye(len(way), dtype=bool)]))
    return [
        Named(Break.WAY_BACK if w else kind, float(behind), _stands(c))
        for w, kind, behind, c in zip(way, inside, turned[0] - turned[1:], chances, strict=True)
    ]


def _stands(chances: dict[Break, float]) -> float:
    stands = max(chances.get(kind, -np.inf) for kind in (Break.DWELL, Break.LIFTOFF))
    return stands - chances.get(Break.NONE, -np.inf)


def _passes_merit(
    ways: Masks,
    *,
    contact_s: FloatArray,
    removed_s: FloatArray,
    first_whole: bool,
    last_whole: bool,
) -> FloatArray:
    """What the passes say to each choice of ways back, shape (choices,)."""
    choices, breaks = ways.shape
    merit, time_s, off_s = np.zeros((3, choices))
    count, total, squares = np.zeros((3, choices))
    first = np.ones(choices, bool)
    for i, (stretch_s, stretch_off_s) in enumerate(zip(contact_s, removed_s, strict=True)):
        time_s += stretch_s
        off_s += stretch_off_s
        ends = ways[:, i] if i < breaks else np.ones(choices, bool)
        whole = ~first | first_whole
        if i == breaks:
            whole &= last_whole
        touch = is_touch(time_s, off_s)
        merit += np.where(ends & whole & touch, TOUCH, 0.0) + np.where(ends & ~whole, CUT_OFF, 0.0)
        off = np.where(ends & whole & ~touch, np.log(off_s / USUAL_PASS_S), 0.0)
        count += ends & whole & ~touch
        total += off
        squares += off**2
        time_s[ends] = off_s[ends] = 0.0
        first &= ~ends
    return merit + _alike(count, total, squares)


def _all_tried(merits: Callable[[Masks], FloatArray], way: Mask, doubtful: Places) -> Mask:
    choices = np.arange(2 ** len(doubtful))[:, None] >> np.arange(len(doubtful)) & 1
    ways = np.tile(way, (len(choices), 1))
    ways[:, doubtful] = choices
    return np.asarray(ways[np.argmax(merits(ways))])


def _a_few_at_once(merits: Callable[[Masks], FloatArray], way: Mask, doubtful: Places) -> Mask:
    """Turn over the one break or two that gain most, for as long as any do."""
    one, other = (doubtful[side] for side in np.triu_indices(len(doubtful)))
    most = merits(way[None])[0]
    while True:
        ways = np.tile(way, (len(one), 1))
        ways[np.arange(len(one)), one] ^= True
        ways[np.arange(len(one))[one != other], other[one != other]] ^= True
        gained = merits(ways)
        if gained.max() <= most:
            return way
        most = gained.max()
        way = ways[np.argmax(gained)]
