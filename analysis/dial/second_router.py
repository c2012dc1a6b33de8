"""Whether a second machine turns from speed to speed in the same take, on lines of its own."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np

from analysis.dial.aligning import aligned
from analysis.dial.log_axis import LogAxis
from analysis.dial.moving_lines import Alignment, Cells, FloatArray, cells_of, worth
from analysis.dial.running_on import SHORTEST_CHUNKS, held
from analysis.hearing.orders import LOG_STEP
from analysis.hearing.ratio import RATIOS

SEEDS = 5
WORTH = 0.27  # of the first one's
FEWEST_SPEEDS, APART_CELLS = 4, 16
SAME_CELLS = 6
MOSTLY = 0.6
OWN_TURNS = 0.2  # share of all turns: lines of one machine turn together
EDGE_CHUNKS = 2  # a turn begins and ends so much earlier or later on one set of lines


def another_turns(axis: LogAxis, orders: Cells, first: Alignment) -> bool:
    """Whether what is left without the first machine is another that is set as it was.

    Its speed must take several values, and at times of its own: a bearing, or orders too high to
    be counted, move when the router does, wherever they are laid on one another. `orders` are
    the cells of all orders of the first machine, in the seed's place.
    """
    mine = cells_of(axis, orders, first.path, np.arange(len(first.path)))
    rest = replace(
        axis,
        mean=np.where(mine, np.minimum(axis.mean, 0), axis.mean),
        gains=axis.gains * ~mine,
        bonus=axis.bonus * ~mine,
    )
    second = aligned(rest, seeds=SEEDS)
    if second is None or worth(rest, second) < WORTH * worth(axis, first):
        return False
    stretches = held(second.path, SHORTEST_CHUNKS)
    speeds = np.array([np.median(second.path[a:b]) for a, b in stretches])
    if 1 + np.count_nonzero(np.diff(np.sort(speeds)) > APART_CELLS) < FEWEST_SPEEDS:
        return False
    if _at_one_speed(speeds, np.array([b - a for a, b in stretches])) > MOSTLY:
        return False
    return own_turns(first.path, second.path) > OWN_TURNS


def own_turns(path: Cells, other: Cells) -> float:
    """Share of two machines' turns from speed to speed in which the other holds its speed."""
    turns = [_turns(path, other), _turns(other, path)]
    alone, every = np.sum(turns, axis=0)
    return float(alone / max(every, 1))


def _turns(path: Cells, other: Cells) -> tuple[int, int]:
    """How many of a path's turns lie within a hold of the other, and how many there are."""
    holds = held(other, SHORTEST_CHUNKS)
    alone = every = 0
    for (first, last), (then, end) in pairwise(held(path, SHORTEST_CHUNKS)):
        if abs(np.median(path[first:last]) - np.median(path[then:end])) > SAME_CELLS:
            every += 1
            alone += any(a + EDGE_CHUNKS < last and then < b - EDGE_CHUNKS for a, b in holds)
    return alone, every


def _at_one_speed(speeds: FloatArray, lengths: Cells) -> float:
    """Share of the time in which the speeds are one, however its lines were counted.

    A machine that runs on has few lines; where the first one covers some of them, the others
    pass for those of its half, its third and so on.
    """
    apart = speeds[:, None, None] - speeds[:, None] - np.log(RATIOS) / LOG_STEP
    same = np.any(np.abs(apart) <= SAME_CELLS, axis=2)
    return float((same @ lengths).max() / lengths.sum())
