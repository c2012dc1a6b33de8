"""Whether a course lives on another's lines: of two that explain the same sound one is wrong.

A comb at four thirds of the router's speed, or at a turned dial's double, finds some of the
router's own lines on its orders. What gives it away is that little of it is left once the
router's lines are accounted for, while the router explains the same steps far better. A
true second machine has lines of its own.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from analysis.hearing.orders import AT_TIMES, ORDERS
from analysis.hearing.search import HOP, Course, Search
from analysis.hearing.voice import order_fits, voices_evidence

LINE_BINS = 2.5  # half-width of a line with its skirts
# Share of its evidence that is left to a course beside the other: all of it is the other's
# lines up to the first, none is said from the second on.
HARDLY_LEFT, OF_ITS_OWN = 0.15, 0.25
FAR_BETTER = 1.3
SHARED_WORTH = 7.0  # merit for each nat a step: it is the same sound that is explained better
MIN_STEPS = 20


def better_told(search: Search, course: Course, other: Course) -> float:
    """Merit the other gains where a course lives on its lines; 0 where it does not.

    Judged over the steps in which the two run at different speeds.
    """
    apart = course.running & other.running & (np.abs(course.path - other.path) > HOP // 2)
    if np.count_nonzero(apart) < MIN_STEPS:
        return 0.0
    steps = np.flatnonzero(apart)
    own, others = _evidence(search, course, steps), _evidence(search, other, steps)
    if others <= FAR_BETTER * own:
        return 0.0
    left = _evidence(search, course, steps, beside=other) / own if own > 0 else 0.0
    shared = np.clip((OF_ITS_OWN - left) / (OF_ITS_OWN - HARDLY_LEFT), 0, 1)
    return float(SHARED_WORTH * (others - own) * np.mean(apart) * shared)


def _evidence(
    search: Search,
    course: Course,
    steps: npt.NDArray[np.int64],
    beside: Course | None = None,
) -> float:
    """Mean evidence for a course in some steps, nats; beside another, in lines of its own."""
    orders = search.orders(course.path, steps=steps)
    if beside is not None:
        orders = np.where(_covered(search, course, beside, steps), np.float32(np.nan), orders)
    heard = voices_evidence(order_fits(orders), course.voices)
    return float(np.mean(np.where(course.running[steps], heard, 0)))


def _covered(
    search: Search, course: Course, other: Course, steps: npt.NDArray[np.int64]
) -> npt.NDArray[np.bool_]:
    """Orders of a course that fall on the other's audible lines, shape (steps, orders)."""
    line_hz = search.rotation_hz(course.path)[steps][:, None] * ORDERS
    other_hz = search.rotation_hz(other.path)[steps][:, None]
    nearest = np.rint(line_hz / other_hz).astype(np.int64)
    audible = np.concatenate([[False], other.machine.voice >= AT_TIMES, [False]])
    near = np.abs(line_hz - nearest * other_hz) < LINE_BINS * search.grid.bin_hz
    runs = other.running[steps][:, None]
    return np.asarray(near & audible[np.minimum(nearest, len(audible) - 1)] & runs)
