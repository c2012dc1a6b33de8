"""No spindle leaps to a speed far off and back within seconds."""

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.hearing.leaping import leaps_away, without_leaps
from analysis.hearing.orders import LOG_STEP
from analysis.hearing.path import OFF
from analysis.hearing.states import tell_apart
from tests.analysis.hearing.searches import path_at, searched, step_times_s
from tests.analysis.hearing.sounds import router
from tests.analysis.hearing.traces import Cut

STEP_S = 0.0464
IDLE_RPM, SAG = 15_000.0, 0.1
FAR = round(0.5 / LOG_STEP)


def at(place: int, steps: int) -> list[int]:
    return [place] * steps


def test_a_short_stretch_far_off_is_a_leap_with_the_silence_beside_it() -> None:
    path = np.array(at(200, 60) + at(OFF, 3) + at(200 - FAR, 20) + at(OFF, 5) + at(205, 60))
    assert np.flatnonzero(leaps_away(path, step_s=STEP_S)).tolist() == list(range(60, 88))


@pytest.mark.parametrize(
    "path",
    [
        at(200, 60) + at(200 - FAR, 200) + at(200, 60),  # for ten seconds: a dial was turned
        at(200, 60) + at(200 - FAR, 20) + at(200 - 2 * FAR, 60),  # and not back
        at(200, 60) + at(OFF, 60) + at(200 - FAR, 20) + at(200, 60),  # after it was off
        at(200, 60) + at(140, 60) + at(200, 60),  # a seventh: the bit went in
        list(range(200, 200 - FAR, -4)) + list(range(200 - FAR, 200, 4)),  # no leap at all
        at(200 - FAR, 20) + at(200, 60),  # spinning up
    ],
)  # fmt: skip
def test_what_a_router_does_is_none(path: list[int]) -> None:
    assert not leaps_away(np.array(path), step_s=STEP_S).any()


def test_a_stretch_that_is_faster_than_any_cut_or_running_free_is_a_leap() -> None:
    path = np.array(at(200, 60) + at(200 + 80, 20) + at(205, 60))
    assert np.flatnonzero(leaps_away(path, step_s=STEP_S)).tolist() == list(range(60, 80))


@given(st.lists(st.tuples(st.sampled_from([OFF, 100, 160, 220]), st.integers(1, 80)), max_size=12))
def test_a_course_always_keeps_its_first_and_its_last_speed(parts: list[tuple[int, int]]) -> None:
    path = np.array([place for place, steps in parts for _ in range(steps)], np.int64)
    away = leaps_away(path, step_s=STEP_S)
    on = np.flatnonzero(path != OFF)
    assert not away[on[[0, -1]]].any() if len(on) else not away.any()


def test_the_router_is_found_again_among_its_own_speeds() -> None:
    cuts = [Cut(2.0, 5.0), Cut(6.5, 9.5)]
    search = searched(router(cuts, seconds=11.0, idle_rpm=IDLE_RPM, sag=SAG))
    time_s = step_times_s(search)
    cutting = np.zeros(len(time_s), bool)
    for cut in cuts:
        cutting |= (time_s > cut.start_s) & (time_s < cut.end_s)
    true_hz: npt.NDArray[np.float64] = IDLE_RPM / 60 * np.where(cutting, 1 - SAG, 1.0)
    right = path_at(search, true_hz)
    between = (time_s > 5.2) & (time_s < 6.3)
    astray = np.where(between, right - FAR, right)
    course = without_leaps(search, tell_apart(search, astray, guess=cutting))
    assert np.max(np.abs(course.path - right)[between]) <= 4  # a hundredth
    assert np.array_equal(course.path[~between], astray[~between])
