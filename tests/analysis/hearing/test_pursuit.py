"""Following a router through a take."""

import numpy as np

from analysis.hearing.pursuit import steadied
from analysis.hearing.states import tell_apart
from tests.analysis.hearing.searches import path_at, searched, step_times_s
from tests.analysis.hearing.sounds import router
from tests.analysis.hearing.traces import Cut

IDLE_HZ, SAG = 15_000 / 60, 0.01
CUT = Cut(4, 8)


def test_a_held_course_that_wandered_off_comes_back() -> None:
    search = searched(router([CUT], seconds=12.0, idle_rpm=60 * IDLE_HZ, sag=SAG))
    time_s = step_times_s(search)
    cut = (time_s > CUT.start_s) & (time_s < CUT.end_s)
    true_hz = np.where(cut, (1 - SAG) * IDLE_HZ, IDLE_HZ)
    astray = (time_s > 9) & (time_s < 10)
    path = path_at(search, np.where(astray, 1.015 * true_hz, true_hz))
    course = steadied(search, tell_apart(search, path, guess=cut))
    off = np.abs(search.candidates.rotation_hz[course.path] / true_hz - 1)
    # A candidate's width, but for the fifth of a second in which it goes from speed to speed.
    settled = np.min([np.abs(time_s - CUT.start_s), np.abs(time_s - CUT.end_s)], axis=0) > 0.2
    assert off[settled & course.running].max() < 0.003
    assert course.running[astray].all()


def test_a_course_that_gives_way_is_left_as_it_is() -> None:
    search = searched(router([CUT], seconds=12.0, idle_rpm=60 * IDLE_HZ, sag=0.15))
    time_s = step_times_s(search)
    cut = (time_s > CUT.start_s) & (time_s < CUT.end_s)
    path = path_at(search, np.where(cut, 0.85 * IDLE_HZ, IDLE_HZ))
    course = tell_apart(search, path, guess=cut)
    assert steadied(search, course) is course
