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

Stretch = tuple[int, int]

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
    path = course.path.copy()
    for begin, end in spans(leapt):
        heard = voices_heard(near, course.voices, steps=slice(begin, end))
        evidence = EVIDENCE * heard + RUNNING_BONUS
        again = best_path(evidence, glide_cost=STEADY_GLIDE, switch_cost=SWITCH)
        path[begin:end] = np.where(again != OFF, again + first, OFF)
    return tell_apart(search, path, guess=course.cutting)


def leaps_away(path: npt.NDArray[np.int64], *, step_s: float) -> Mask:
    """Steps in which a path is far off from where it was before and is soon after.

    Above both, or so far below where it runs free that no load could have done it. What was
    silent just before or after belongs to it.

    >>> path = np.array([100] * 20 + [300] * 10 + [101] * 20)
    >>> np.flatnonzero(leaps_away(path, step_s=0.05))[[0, -1]]
    array([20, 29])
    """
    on = np.flatnonzero(path != OFF)
    away = np.zeros(len(path), bool)
    if len(on) < 2:
        return away
    longest, gap = round(LONGEST_S / step_s), round(GAP_S / step_s)
    # Stretches of running from leap to leap; a longer silence parts runs.
    hops = np.abs(np.diff(path[on])) > FAR / LOG_STEP
    lowest = np.percentile(path[on], FREE) - FAR_BELOW_FREE / LOG_STEP
    parts = np.flatnonzero(hops | (np.diff(on) > gap)) + 1
    stretches = [(on[a], on[b - 1] + 1) for a, b in pairwise([0, *parts.tolist(), len(on)])]
    before = stretches[0]  # the last that was no leap
    for here, after in pairwise(stretches[1:]):
        short = here[1] - here[0] <= longest
        soon = here[0] - before[1] <= gap and after[0] - here[1] <= gap
        if short and soon and _is_off(path, before, here, after, lowest):
            away[before[1] : after[0]] = True
        else:
            before = here
    return away


def _is_off(
    path: npt.NDArray[np.int64], before: Stretch, here: Stretch, after: Stretch, lowest: float
) -> bool:
    """Whether a stretch lies far off from where those about it meet it, which agree."""
    far = FAR / LOG_STEP
    was = _middle(path[max(before[0], before[1] - BESIDE_STEPS) : before[1]])
    will_be = _middle(path[after[0] : min(after[1], after[0] + BESIDE_STEPS)])
    middle = _middle(path[slice(*here)])
    low, high = sorted((was, will_be))
    return high - low < far and (middle > high + far or middle < min(lowest, low - far))


def _middle(path: npt.NDArray[np.int64]) -> float:
    return float(np.median(path[path != OFF]))
