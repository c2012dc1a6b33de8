"""Where a course leaps to another speed for a moment and back: no spindle does.

In a break of the cut a router may be hardly heard for a second, and the course be drawn to a
speed far off at which something else sounds. A spindle falls and rises no faster than its load
makes it, and whoever turns the dial leaves it for longer. So there the router is looked for once
more, among its own speeds.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import numpy.typing as npt

from analysis.hearing.orders import LOG_STEP
from analysis.hearing.path import OFF, best_path
from analysis.hearing.pursuit import (
    EVIDENCE,
    MOST_SAG,
    RUNNING_BONUS,
    STEADY_GLIDE,
    SWITCH,
    voices_heard,
)
from analysis.hearing.search import Course, Search, spans
from analysis.hearing.states import tell_apart
from analysis.hearing.voice import Mask

# ln speed between two steps that follow each other, upwards; and under the speed of running free,
# farther than any load brings a spindle down.
FAR, FAR_BELOW_FREE = 0.15, -float(np.log(MOST_SAG))
MOST_OFTEN = 0.1  # leaps a second: what leaps more often may be a tune
LONGEST_S, GAP_S = 5.0, 1.5  # away, and unheard before or after
BESIDE_STEPS = 8
FREE = 90  # percentile of a course's speeds
MARGIN = 0.03  # beyond the speeds of what is left of the course


def without_leaps(search: Search, course: Course) -> Course:
    """The course with its short leaps to far off speeds followed once more among its own."""
    leapt = leaps_away(course.path, step_s=2 * search.grid.step_s)
    own = course.running & ~leapt
    often = len(spans(leapt)) > max(1.0, MOST_OFTEN * 2 * search.grid.step_s * len(leapt))
    if not leapt.any() or often or np.count_nonzero(own) < np.count_nonzero(leapt):
        return course
    hz = search.candidates.rotation_hz[course.path[own]]
    lowest_hz, highest_hz = np.percentile(hz, [5, 95])
    near, first = search.among(lowest_hz * (1 - MARGIN), highest_hz * (1 + MARGIN))
    evidence = EVIDENCE * voices_heard(near, course.voices) + RUNNING_BONUS
    path = course.path.copy()
    for begin, end in spans(leapt):
        again = best_path(evidence[begin:end], glide_cost=STEADY_GLIDE, switch_cost=SWITCH)
        path[begin:end] = np.where(again != OFF, again + first, OFF)
    return tell_apart(search, path, guess=course.cutting)


def leaps_away(path: npt.NDArray[np.int64], *, step_s: float) -> Mask:
    """Steps in which a path is far off from where it was before and is soon after.

    Above both, or so far below where it runs free that no load could have done it.

    What was silent just before or after belongs to it.

    >>> path = np.array([100] * 20 + [300] * 10 + [101] * 20)
    >>> np.flatnonzero(leaps_away(path, step_s=0.05))[[0, -1]]
    array([20, 29])
    """
    far, longest, gap = FAR / LOG_STEP, round(LONGEST_S / step_s), round(GAP_S / step_s)
    on = np.flatnonzero(path != OFF)
    away = np.zeros(len(path), bool)
    if len(on) < 2:
        return away
    # Stretches of running from leap to leap; a longer silence parts runs.
    hops = np.abs(np.diff(path[on])) > far
    lowest = np.percentile(path[on], FREE) - FAR_BELOW_FREE / LOG_STEP
    parts = np.flatnonzero(hops | (np.diff(on) > gap)) + 1
    stretches = [(on[a], on[b - 1] + 1) for a, b in pairwise([0, *parts.tolist(), len(on)])]
    kept: list[tuple[int, int]] = []
    for number, (begin, end) in enumerate(stretches):
        after = stretches[number + 1] if number + 1 < len(stretches) else None
        if kept and after is not None and end - begin <= longest:
            before = kept[-1]
            beside = [
                np.median(part[part != OFF])
                for part in (
                    path[max(before[0], before[1] - BESIDE_STEPS) : before[1]],
                    path[after[0] : min(after[1], after[0] + BESIDE_STEPS)],
                )
            ]
            part = path[begin:end]
            middle = float(np.median(part[part != OFF]))
            soon = begin - before[1] <= gap and after[0] - end <= gap
            off = middle > max(beside) + far or middle < min(lowest, min(beside) - far)
            if soon and np.ptp(beside) < far and off:
                away[before[1] : after[0]] = True
                continue
        kept.append((begin, end))
    return away
