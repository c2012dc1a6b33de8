"""Where the dial was turned: a router that held its speed goes on at another.

A course whose speed is held is followed among speeds near its own, and so it ends where somebody
turns the dial. Whatever sounds on there by the same voices is the same router.
"""

from __future__ import annotations

import numpy as np

from analysis.hearing.orders import LOG_STEP
from analysis.hearing.path import OFF, best_path
from analysis.hearing.pursuit import EVIDENCE, GLIDE, SWITCH, voices_heard
from analysis.hearing.search import Course, Search, spans
from analysis.hearing.silence import FAN_POWER
from analysis.hearing.states import told_either_way
from analysis.hearing.voice import order_fits, sounds_cutting, voices_evidence

LONG_S = 10.0  # silent: in less hardly anybody cuts at another setting
MOSTLY = 0.9  # of that time
# Nats a step that its voices bring there, and the share of what they bring where it was heard: at
# another speed other orders fall on what resounds.
HEARD, OF_USUAL = 2.0, 0.2
QUIETER = 0.5  # nepers under running free


def with_dial_turned(search: Search, course: Course) -> Course:
    """The course with long silences filled where its voices are heard at another speed."""
    step_s = 2 * search.grid.step_s
    silences = [(a, b) for a, b in spans(~course.running) if (b - a) * step_s >= LONG_S]
    if not silences or not np.any(course.running & ~course.cutting):
        return course
    heard = voices_evidence(order_fits(search.orders(course.path)), course.voices)
    usual = float(heard[course.running].mean())
    level = search.steps.bands.mean(axis=1)
    voices, free = course.voices, course.running & ~course.cutting
    for first, end in silences:
        evidence = EVIDENCE * voices_heard(search, voices, steps=slice(first, end))
        found = best_path(evidence, glide_cost=GLIDE, switch_cost=SWITCH)
        on = found != OFF
        if np.mean(on) < MOSTLY:
            continue
        path = course.path.copy()
        path[first:end] = found
        fits = order_fits(search.orders(path))
        brought = voices_evidence(fits, course.voices)[first:end][on]
        if brought.mean() < max(HEARD, OF_USUAL * usual):
            continue
        faster = LOG_STEP * float(np.median(found[on]) - np.median(course.path[free]))
        drop = float(np.median(level[free]) - np.median(level[first:end]))
        if drop > QUIETER - FAN_POWER * min(faster, 0.0):
            continue  # it was switched off
        cutting = course.cutting.copy()
        cutting[first:end] = sounds_cutting(fits, course.voices)[first:end]
        course = told_either_way(search, path, cutting)
    return course
