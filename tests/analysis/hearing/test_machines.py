"""Machines that a course goes over to where its own falls quiet."""

import numpy as np
import pytest

from analysis.hearing.machines import machines_met
from analysis.hearing.search import Search
from analysis.hearing.states import tell_apart
from tests.analysis.hearing.searches import RATE_HZ, path_at, searched, step_times_s
from tests.analysis.hearing.sounds import router
from tests.analysis.hearing.traces import Cut

CUTS = [Cut(2, 5), Cut(7, 10)]
SECONDS, SAG = 12.0, 0.1
IDLE_HZ, OTHER_HZ = 15_000 / 60, 19_100 / 60
OTHER_ORDERS = (1, 2, 3, 5, 7, 8, 11, 13, 14, 16, 17, 19)


@pytest.fixture(scope="module")
def in_company() -> Search:
    """A router that gives way by a tenth, and a steady machine that runs all through."""
    time_s = np.arange(round(SECONDS * RATE_HZ)) / RATE_HZ
    tones = [np.sin(2 * np.pi * n * OTHER_HZ * time_s + n * n) for n in OTHER_ORDERS]
    samples = router(CUTS, seconds=SECONDS, idle_rpm=60 * IDLE_HZ, sag=SAG)
    return searched(samples + 0.05 * np.sum(tones, axis=0))


def in_the_cut(search: Search) -> np.ndarray:
    time_s = step_times_s(search)
    inside = [(time_s > cut.start_s) & (time_s < cut.end_s) for cut in CUTS]
    return np.asarray(np.any(inside, axis=0))


def test_what_sounds_on_while_the_course_is_elsewhere_is_another_machine(
    in_company: Search,
) -> None:
    cut = in_the_cut(in_company)
    path = path_at(in_company, np.where(cut, (1 - SAG) * IDLE_HZ, OTHER_HZ))
    met = machines_met(in_company, tell_apart(in_company, path, guess=cut))
    assert len(met) == 1
    speeds_hz = in_company.candidates.rotation_hz[met[0].path]
    # Through the whole take, to a candidate: they lie a quarter of a percent apart.
    assert np.abs(speeds_hz / OTHER_HZ - 1).max() < 0.0025


def test_a_router_that_gives_way_takes_its_lines_along(in_company: Search) -> None:
    cut = in_the_cut(in_company)
    path = path_at(in_company, np.where(cut, (1 - SAG) * IDLE_HZ, IDLE_HZ))
    assert machines_met(in_company, tell_apart(in_company, path, guess=cut)) == []


def test_the_router_itself_is_not_met_where_its_course_errs(in_company: Search) -> None:
    # Off to the other machine for the last two seconds, running free: the router sounds on.
    cut = in_the_cut(in_company)
    rotation_hz = np.where(cut, (1 - SAG) * IDLE_HZ, IDLE_HZ)
    late = step_times_s(in_company) > SECONDS - 2
    path = path_at(in_company, np.where(late, OTHER_HZ, rotation_hz))
    met = machines_met(in_company, tell_apart(in_company, path, guess=cut))
    speeds_hz = [np.median(in_company.candidates.rotation_hz[m.path]) for m in met]
    assert speeds_hz == pytest.approx([OTHER_HZ], rel=0.0025)
