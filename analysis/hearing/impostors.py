"""Combs that are no router: mains hum, and a tune.

Hum is a comb too, of 50 or 60 Hz, and every sixth of its lines makes a fair router at
18,000 rpm. But it stands still, on a multiple of the mains, and wherever an order sounds
a mains harmonic beside it sounds as well. A tune leaps from note to note, which no
spindle does; what is followed so of a router labours, and gives way where a cut begins.
"""

from __future__ import annotations

import numpy as np

from analysis.hearing.orders import FloatArray, order_excess
from analysis.hearing.ratio import MAINS_HZ
from analysis.hearing.search import Course, Search, some_of, spans

STILL = 8  # candidates between a course's ends, 2 %: less than most cuts move a router
NEAR = 0.015  # share of its rotation by which a course may be off the multiple
CLEAR, BESIDE = 1.0, 0.5  # nepers over the floor, on average: an order, what is beside it
ALMOST_ALL = 0.8
# Of a leap, all but a semitone within so long: ln speed. Leaps and rests beyond which it is music
# or talk, a second and at all.
AT_ONCE_S, LEAP = 0.093, 0.045
TUNE_BREAKS_PER_S, LEAST_BREAKS = 0.45, 8


def is_hum(search: Search, course: Course) -> bool:
    """Whether a course stands still and each order it rests on is one of the mains' harmonics."""
    return any(_rests_on(search, course, mains_hz) for mains_hz in MAINS_HZ)


def _rests_on(search: Search, course: Course, mains_hz: float) -> bool:
    """Whether all that a still course rests on are this hum's harmonics."""
    path = course.path[course.running]
    if np.ptp(path) > STILL:
        return False
    rotation_hz = float(np.median(search.candidates.rotation_hz[path]))
    every = round(rotation_hz / mains_hz)
    if every < 2 or abs(rotation_hz / (every * mains_hz) - 1) > NEAR:
        return False
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
    return bool(len(sounding) and np.mean(beside > BESIDE) >= ALMOST_ALL)


def leaps_like_a_tune(rotation_hz: FloatArray, *, step_s: float) -> bool:
    """Whether a rotation leaps, or falls silent and comes back, as often as a tune's notes change.

    Parameters
    ----------
    rotation_hz : array, shape (frames,)
        NaN where off.
    step_s : float
        Seconds from frame to frame.
    """
    running = np.isfinite(rotation_hz)
    breaks = leaps(rotation_hz, step_s=step_s)
    breaks += int(np.count_nonzero(running[1:] != running[:-1])) // 2
    running_s = np.count_nonzero(running) * step_s
    return bool(breaks >= LEAST_BREAKS and breaks > TUNE_BREAKS_PER_S * running_s)


def leaps(rotation_hz: FloatArray, *, step_s: float) -> int:
    """How often a rotation, NaN where off, changes by all but a semitone at once."""
    running = np.isfinite(rotation_hz)
    log_hz = np.log(np.where(running, rotation_hz, 1.0))
    ahead = max(1, round(AT_ONCE_S / step_s))
    if len(running) <= ahead:
        return 0
    # Unbroken from here to there: a note that begins after a rest is no leap.
    heard = np.lib.stride_tricks.sliding_window_view(running, ahead + 1).all(axis=1)
    change = np.where(heard, log_hz[ahead:] - log_hz[:-ahead], 0.0)
    return sum(len(spans(way * change > LEAP)) for way in (1, -1))
