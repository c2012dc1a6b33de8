"""A router goes on at another speed where its dial is turned; another machine is not it."""

import numpy as np
import numpy.typing as npt

from analysis.hearing.path import OFF
from analysis.hearing.search import Course, Search
from analysis.hearing.states import tell_apart
from analysis.hearing.turned import with_dial_turned
from tests.analysis.hearing.searches import RATE_HZ, path_at, searched, step_times_s
from tests.analysis.hearing.sounds import router
from tests.analysis.hearing.traces import Cut

SLOW_RPM, FAST_RPM = 15_000.0, 17_400.0
TURN_S, SECONDS = 14.0, 28.0
CUTS = [Cut(3, 6), Cut(8, 12)]


def heard_until_the_turn(samples: npt.NDArray[np.floating]) -> tuple[Search, Course]:
    """A search, and the course of a router of SLOW_RPM in it that ends at TURN_S."""
    search = searched(samples)
    time_s = step_times_s(search)
    path = path_at(search, np.full(len(time_s), SLOW_RPM / 60))
    return search, tell_apart(search, np.where(time_s < TURN_S, path, OFF))


def test_the_second_setting_is_heard_too() -> None:
    first = router(CUTS, seconds=TURN_S, idle_rpm=SLOW_RPM, sag=0.005)
    second = router(CUTS, seconds=SECONDS - TURN_S, idle_rpm=FAST_RPM, sag=0.005, seed=2)
    search, course = heard_until_the_turn(np.concatenate([first, second]))
    before, after = step_times_s(search) < TURN_S, step_times_s(search) > TURN_S + 0.2
    path = with_dial_turned(search, course).path
    told_hz = search.candidates.rotation_hz[path[after]]
    assert np.mean(np.abs(60 * told_hz / FAST_RPM - 1) < 0.01) > 0.9
    assert np.array_equal(path[before], course.path[before])


def test_a_vacuum_that_runs_on_alone_is_not_the_router() -> None:
    first = router(CUTS, seconds=TURN_S, idle_rpm=SLOW_RPM, sag=0.005)
    time_s = np.arange(round((SECONDS - TURN_S) * RATE_HZ)) / RATE_HZ
    alone = sum(0.02 / n * np.sin(2 * np.pi * n * FAST_RPM / 60 * time_s) for n in range(1, 9))
    alone = alone + 0.004 * np.random.default_rng(4).normal(size=len(time_s))
    search, course = heard_until_the_turn(np.concatenate([first, alone]))
    assert with_dial_turned(search, course) is course


def test_a_course_without_silence_stays() -> None:
    search = searched(router(CUTS, seconds=TURN_S, idle_rpm=SLOW_RPM, sag=0.005))
    path = path_at(search, np.full(len(search.excess), SLOW_RPM / 60))
    course = tell_apart(search, path)
    assert with_dial_turned(search, course) is course
