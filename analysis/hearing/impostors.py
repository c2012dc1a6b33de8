"""Combs that are no router: mains hum, and a tune.

Hum is a comb too, of 50 or 60 Hz, and every sixth of its lines makes a fair router at
18,000 rpm. But it stands still, on a multiple of the mains, and wherever an order sounds
a mains harmonic beside it sounds as well. A tune hops from note to note, and each note
stands still; a router whose course is broken as often is an open-loop one that labours,
and never stands still.
"""

from __future__ import annotations

import numpy as np
from scipy.ndimage import binary_erosion

from analysis.hearing.orders import FloatArray, order_excess
from analysis.hearing.path import OFF
from analysis.hearing.ratio import MAINS_HZ, RIPPLES_HZ
from analysis.hearing.search import Course, Search, breaks_per_step, some_of

STILL = 8  # candidates between a course's ends, 2 %: less than most cuts move a router
NEAR = 0.015  # share of its rotation by which a course may be off the multiple
CLEAR, BESIDE = 1.0, 0.5  # nepers over the floor, on average: an order, what is beside it
ALMOST_ALL = 0.8
# Breaks a second beyond which it is music or talk, for notes that stand and for what moves;
# candidates a step between hops by which a labouring router moves more.
TUNE_BREAKS_PER_S, RESTLESS_BREAKS_PER_S = 0.75, 1.4
STANDS = 0.7
LEAST_FREE_S = 3.0  # of running out of the cut, to tell anything


def is_hum(search: Search, course: Course) -> bool:
    """Whether a course stands still and each order it rests on is one of the mains' harmonics."""
    return any(_rests_on(search, course, mains_hz) is not None for mains_hz in MAINS_HZ)


def without_mains(search: Search, course: Course) -> Search | None:
    """The search without the comb of the mains that a course rests on; None if on none.

    A motor's electronics buzz at twice the mains. A router that turns at a multiple of that
    rests on the same lines: what is heard without them decides.
    """
    for mains_hz in (*MAINS_HZ, *RIPPLES_HZ):
        harmonics = _rests_on(search, course, mains_hz)
        if harmonics is not None:
            numbers = 1 + np.flatnonzero(harmonics > BESIDE)
            return search.without_lines([mains_hz * int(number) for number in numbers])
    return None


def _rests_on(search: Search, course: Course, mains_hz: float) -> FloatArray | None:
    """Mean excess of a hum's harmonics, if all that a still course rests on are among them."""
    path = course.path[course.running]
    if np.ptp(path) > STILL:
        return None
    rotation_hz = float(np.median(search.candidates.rotation_hz[path]))
    every = round(rotation_hz / mains_hz)
    if every < 2 or abs(rotation_hz / (every * mains_hz) - 1) > NEAR:
        return None
    steps = some_of(course.running)
    harmonics = order_excess(
        search.excess[steps],
        rotation_hz=np.full(len(steps), mains_hz),
        grid=search.grid,
        top_order=int((search.grid.bins - 3) * search.grid.bin_hz / mains_hz),
    ).mean(axis=0)
    orders = np.arange(every - 1, len(harmonics) - 1, every)
    sounding = orders[harmonics[orders] > CLEAR]
    beside = np.maximum(harmonics[sounding - 1], harmonics[sounding + 1])
    hum = len(sounding) and np.mean(beside > BESIDE) >= ALMOST_ALL
    return harmonics.astype(np.float64) if hum else None


def is_tune(search: Search, course: Course) -> bool:
    """Whether a course hops, or falls silent and comes back, as music or talk does.

    A router that labours hops in the cut, a tune in all of its notes: where the course is
    broken as often out of the cut as in it.
    """
    stands = course.moves_per_step < STANDS
    most_per_s = TUNE_BREAKS_PER_S if stands else RESTLESS_BREAKS_PER_S
    most = most_per_s * 2 * search.grid.step_s
    deep_in_cut = binary_erosion(course.cutting & course.running, np.ones(3, bool))
    free = course.path[~deep_in_cut]
    if np.count_nonzero(free != OFF) * 2 * search.grid.step_s < LEAST_FREE_S:
        free = course.path
    return min(breaks_per_step(course.path), breaks_per_step(free)) > most
