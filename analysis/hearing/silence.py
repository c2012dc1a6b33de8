"""Where the router is silent though its course goes on: before it starts and after it stops.

A course that was once on the router may go on where it is off, along a comb of another machine
or along noise. Two things together tell: it is quieter there than the router running free ever
is, and the speed is not the router's, or its lines are not heard.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
from scipy.ndimage import binary_dilation, uniform_filter1d

from analysis.hearing.path import OFF
from analysis.hearing.search import Course, Search, spans
from analysis.hearing.voice import Mask, order_fits, voices_evidence

LEAST_DROP, SPREADS = 0.7, 2.5  # nepers, and spreads of running free, by which it is quieter
FAN_POWER = 5.0  # a fan's sound power goes with the fifth power of its speed (common practice)
ANOTHER = 0.006  # ln speed: an idling router keeps within that
UNHEARD = -2.0  # nats a step: its lines are surely missing
ONE_SETTING = 0.02  # ln speed
CLEAR_S, BESIDE_S = 0.4, 2.0  # of a cut: where running free is learned
SMOOTH_S, SHORTEST_S = 0.5, 0.5  # a recorder's gain may settle sooner than that
HEARD = -3  # a step in which it is heard outweighs so many silent ones
LEAST_STEPS = 10


def without_silent_ends(search: Search, course: Course) -> Course:
    """The course with its runs' ends off where nothing but another sound is followed.

    What running free is like is learned beside the cuts, where the router surely runs. An
    end is silent as far as nearly all of its steps are.
    """
    step_s = 2 * search.grid.step_s
    free = _beside_cuts(course, step_s)
    log_hz = np.log(search.rotation_hz(course.path))
    if not free.any():
        return course
    free &= np.abs(log_hz - np.median(log_hz[free])) < ONE_SETTING
    if np.count_nonzero(free) < LEAST_STEPS:
        return course
    faster = log_hz - np.median(log_hz[free])
    levels = search.steps.bands - np.median(search.steps.bands[free], axis=0)
    level = levels.mean(axis=1, dtype=float)
    level[0], level[-1] = level[1], level[-2]  # half a frame at either end of a take is empty
    level = uniform_filter1d(level, _steps(SMOOTH_S, step_s))
    spread = 1.4826 * float(np.median(np.abs(level[free] - np.median(level[free]))))
    quietest = min(0.0, float(np.median(level[course.cutting & course.running])))
    quiet = level < quietest - max(LEAST_DROP, SPREADS * spread) + FAN_POWER * np.minimum(faster, 0)
    heard = voices_evidence(order_fits(search.orders(course.path)), course.voices)
    unheard = uniform_filter1d(heard, _steps(SMOOTH_S, step_s)) < UNHEARD
    silent = course.running & quiet & (unheard | (np.abs(faster) > ANOTHER))
    ends, least = np.zeros(len(silent), bool), _steps(SHORTEST_S, step_s)
    for first, last in spans(course.running):
        ends[first : first + _leading(silent[first:last], least)] = True
        ends[last - _leading(silent[first:last][::-1], least) : last] = True
    if np.count_nonzero(silent & ~ends) > np.count_nonzero(ends):
        return course  # what comes again and again inside is the router's own
    return replace(course, path=np.where(ends, OFF, course.path))


def _beside_cuts(course: Course, step_s: float) -> Mask:
    """Running steps that are out of the cut, but not for long."""
    cut = course.cutting & course.running
    if not cut.any():
        return cut
    near, clear = (
        binary_dilation(cut, iterations=_steps(seconds, step_s)) for seconds in (BESIDE_S, CLEAR_S)
    )
    return np.asarray(course.running & near & ~clear)


def _leading(silent: npt.NDArray[np.bool_], least: int) -> int:
    """How many steps from the first on are silent, but for a few; 0 if that is less than `least`.

    >>> _leading(np.array([1, 1, 1, 0, 1, 1, 1, 1, 0, 0, 1], bool), 3)
    8
    """
    lead = np.cumsum(np.where(silent, 1, HEARD))
    best = int(np.argmax(lead))
    return best + 1 if lead[best] >= least else 0


def _steps(seconds: float, step_s: float) -> int:
    return max(1, round(seconds / step_s))
