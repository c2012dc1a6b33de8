"""Where the dial was turned: a router that held its speed goes on at another.

A course whose speed is held is followed among speeds near its own, and so it ends where somebody
turns the dial. Whatever sounds on there by the same voices is the same router.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
from scipy.ndimage import uniform_filter1d

from analysis.hearing.orders import LOG_STEP
from analysis.hearing.path import OFF, best_path
from analysis.hearing.pursuit import EVIDENCE, GLIDE, SWITCH, voices_heard
from analysis.hearing.search import Course, Search, spans
from analysis.hearing.states import tell_apart
from analysis.hearing.voice import SMOOTH_STEPS, order_fits, step_evidence, voices_evidence

LONG_S = 10.0  # silent: in less hardly anybody cuts at another setting
MOSTLY = 0.9  # of that time
# Nats a step that its voices bring there, and the share of what they bring where it was heard: at
# another speed other orders fall on what resounds.
HEARD, OF_USUAL = 2.0, 0.2
QUIETER, FAN_POWER = 0.5, 5.0  # nepers under running free, and a fan's power over its speed


def with_dial_turned(search: Search, course: Course) -> Course:
    """The course with long silences filled where its voices are heard at another speed."""
    step_s = 2 * search.grid.step_s
    silences = [(a, b) for a, b in spans(~course.running) if (b - a) * step_s >= LONG_S]
    if not silences or not np.any(course.running & ~course.cutting):
        return course
    usual = float(_brought(search, course)[course.running].mean())
    evidence = EVIDENCE * voices_heard(search, course.voices)
    level = search.steps.bands.mean(axis=1)
    free = course.running & ~course.cutting
    for first, end in silences:
        found = best_path(evidence[first:end], glide_cost=GLIDE, switch_cost=SWITCH)
        on = found != OFF
        if np.mean(on) < MOSTLY:
            continue
        path = course.path.copy()
        path[first:end] = found
        brought = _brought(search, replace(course, path=path))[first:end][on]
        if brought.mean() < max(HEARD, OF_USUAL * usual):
            continue
        faster = LOG_STEP * float(np.median(found[on]) - np.median(course.path[free]))
        drop = float(np.median(level[free]) - np.median(level[first:end]))
        if drop > QUIETER - FAN_POWER * min(faster, 0.0):
            continue  # it was switched off
        fits = order_fits(search.orders(path))
        lead = step_evidence(fits, course.voices.cutting) - step_evidence(fits, course.voices.idle)
        cutting = course.cutting.copy()
        cutting[first:end] = uniform_filter1d(lead, SMOOTH_STEPS)[first:end] > 0
        told = tell_apart(search, path), tell_apart(search, path, guess=cutting)
        course = max(told, key=lambda again: again.merit)
    return course


def _brought(search: Search, course: Course) -> npt.NDArray[np.float32]:
    """Nats that its voices bring along a course, shape (steps,)."""
    return voices_evidence(order_fits(search.orders(course.path)), course.voices)
