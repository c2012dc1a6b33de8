"""Whether a second machine turns from speed to speed in the same take, on lines of its own."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analysis.dial.aligning import aligned
from analysis.dial.log_axis import LogAxis
from analysis.dial.moving_lines import Alignment, Cells, FloatArray, cells_of, worth
from analysis.dial.running_on import SHORTEST_CHUNKS, held
from analysis.hearing.orders import LOG_STEP
from analysis.hearing.path import OFF
from analysis.hearing.ratio import RATIOS

SEEDS = 5
WORTH = 0.27  # of the first one's
FEWEST_SPEEDS, APART_CELLS = 4, 16
SAME_CELLS = 6
MOSTLY = 0.6
TIED = 0.6  # share of the take in which it turns in one or two fixed ratios to the first


def another_turns(axis: LogAxis, orders: Cells, first: Alignment) -> bool:
    """Whether what is left without the first machine is another that is set as it was.

    Its speed must take several values, not in one fixed ratio to the first one's: a bearing,
    or orders too high to be counted, move with the router. `orders` are the cells of all
    orders of the first machine, in the seed's place.
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
    both = (second.path != OFF) & (first.path != OFF)
    apart = (second.path - first.path)[both]
    once, left = _most_common(apart)
    again, _ = _most_common(left)
    return once + again < TIED * len(apart)


def _at_one_speed(speeds: FloatArray, lengths: Cells) -> float:
    """Share of the time in which the speeds are one, however its lines were counted.

    A machine that runs on has few lines; where the first one covers some of them, the others
    pass for those of its half, its third and so on.
    """
    apart = speeds[:, None, None] - speeds[:, None] - np.log(RATIOS) / LOG_STEP
    same = np.any(np.abs(apart) <= SAME_CELLS, axis=2)
    return float((same @ lengths).max() / lengths.sum())


def _most_common(values: Cells) -> tuple[int, Cells]:
    """How many values lie about the most common one, and the others."""
    if not len(values):
        return 0, values
    near = np.abs(values[:, None] - values[None, :]) <= SAME_CELLS
    best: FloatArray = near.sum(axis=1)
    most = int(np.argmax(best))
    return int(best[most]), values[~near[most]]
