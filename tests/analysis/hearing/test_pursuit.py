"""Following a router through a take."""

import numpy as np
import numpy.typing as npt
import pytest

from analysis.hearing.path import OFF
from analysis.hearing.pursuit import followed_again, recognised, steadied
from analysis.hearing.search import Machine, Search
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


def giving_way() -> tuple[Search, npt.NDArray[np.float64], npt.NDArray[np.bool_]]:
    """A router without a governor: its sound, its true rotation, and its cut, step by step."""
    lag_s, sag = 0.25, 0.15
    search = searched(router([CUT], seconds=12.0, idle_rpm=60 * IDLE_HZ, sag=sag, lag_s=lag_s))
    time_s = step_times_s(search)
    into, after = (np.maximum(time_s - at_s, 0) for at_s in (CUT.start_s, CUT.end_s))
    load = np.exp(-after / lag_s) - np.exp(-into / lag_s)
    cut = (time_s > CUT.start_s) & (time_s < CUT.end_s)
    return search, IDLE_HZ * (1 - sag * load), cut


def test_what_was_not_heard_of_a_course_is_heard_by_its_own_voices() -> None:
    search, true_hz, cut = giving_way()
    time_s = step_times_s(search)
    true_path = path_at(search, true_hz)
    course = tell_apart(search, true_path, guess=cut)
    lost = (time_s > 5.5) & (time_s < 6.5)
    holed = tell_apart(search, np.where(lost, OFF, true_path), guess=cut)
    # Its lines went with another machine's.
    machine = Machine(np.where(lost, true_path, OFF), course.machine.voice)
    again = followed_again(search.without(machine), search, holed)
    assert np.abs(again.path - true_path)[lost].max() <= 2
    assert np.mean(np.abs(again.path - true_path) <= 2) > 0.9


def test_a_course_that_is_held_is_not_followed_again() -> None:
    search = searched(router([CUT], seconds=12.0, idle_rpm=60 * IDLE_HZ, sag=SAG))
    course = tell_apart(search, path_at(search, np.full(len(search.excess), IDLE_HZ)))
    assert followed_again(search, search, course) is course


@pytest.mark.parametrize("second_rpm", [10_600.0, 14_000.0, 21_500.0])
def test_a_known_router_is_recognised_at_whatever_speed_it_turns(second_rpm: float) -> None:
    first = router([Cut(3, 7)], seconds=9)
    search = searched(first)
    time_s = step_times_s(search)
    cut = (time_s > 3) & (time_s < 7)
    true_hz = np.where(cut, 0.97 * 300.0, 300.0)
    known = tell_apart(search, path_at(search, true_hz), guess=cut).voices
    # The dial is turned from 18,000 rpm while the router is off for a second.
    quiet = 0.001 * np.random.default_rng(3).normal(size=16_000)
    second = router([Cut(2, 6)], seconds=9, idle_rpm=second_rpm, seed=2)
    both = searched(np.concatenate([first, quiet, second]))
    path, time_s = recognised(both, known).path, step_times_s(both)
    for begin_s, end_s, rpm in [
        (1, 2.5, 18_000),
        (4, 6, 0.97 * 18_000),
        (13, 15, 0.97 * second_rpm),
        (17, 18.5, second_rpm),
    ]:
        told = path[(time_s > begin_s) & (time_s < end_s)]
        true = path_at(both, np.full(len(told), rpm / 60))
        # A candidate is 0.25 %, and its neighbours hold most of the same lines.
        assert np.abs(told - true).max() <= 2
    assert (path[(time_s > 9.3) & (time_s < 9.7)] == OFF).all()
