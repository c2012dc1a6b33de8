"""Of two courses through the same sound, which lives on the other's lines."""

import numpy as np
import pytest

from analysis.hearing.orders import LOG_STEP
from analysis.hearing.search import Course, Search
from analysis.hearing.sharing import better_told
from analysis.hearing.states import tell_apart
from tests.analysis.hearing.searches import RATE_HZ, searched
from tests.analysis.hearing.sounds import router
from tests.analysis.hearing.traces import Cut

ROUTER_HZ = 15_000 / 60
SECONDS = 12.0


def held(search: Search, rotation_hz: float) -> Course:
    """A machine that turns at one speed all through the take."""
    place = round(float(np.log(rotation_hz / search.candidates.lowest_hz)) / LOG_STEP)
    return tell_apart(search, np.full(len(search.excess), place))


@pytest.fixture(scope="module")
def alone() -> Search:
    return searched(router([Cut(4, 8)], seconds=SECONDS, idle_rpm=60 * ROUTER_HZ, sag=0.0))


@pytest.mark.parametrize("ratio", [3 / 2, 4 / 3, 2 / 3, 3 / 4])
def test_what_finds_the_routers_lines_on_its_own_orders_is_told_worse(
    alone: Search, ratio: float
) -> None:
    right, wrong = held(alone, ROUTER_HZ), held(alone, ratio * ROUTER_HZ)
    assert better_told(alone, wrong, right) > 1
    assert better_told(alone, right, wrong) == 0


def test_a_machine_with_lines_of_its_own_is_left_its_due() -> None:
    # At 1.13 times the router's speed, fainter than it: hardly a line in common.
    time_s = np.arange(round(SECONDS * RATE_HZ)) / RATE_HZ
    tones = [np.sin(2 * np.pi * n * 1.13 * ROUTER_HZ * time_s + n * n) for n in (1, 2, 3, 5, 8)]
    samples = router([Cut(4, 8)], seconds=SECONDS, idle_rpm=60 * ROUTER_HZ, sag=0.0)
    search = searched(samples + 0.02 * np.sum(tones, axis=0))
    one, other = held(search, ROUTER_HZ), held(search, 1.13 * ROUTER_HZ)
    assert better_told(search, one, other) == better_told(search, other, one) == 0


def test_courses_that_agree_have_nothing_to_settle(alone: Search) -> None:
    course = held(alone, ROUTER_HZ)
    assert better_told(alone, course, course) == 0


@pytest.mark.parametrize(
    ("rotation_hz", "against"), [(250.0, 0.0), (401.0, 0.0), (420.0, 4.0), (120.0, 5.0 + 100 / 13)]
)
def test_the_plate_speaks_against_what_runs_free_beyond_it(
    alone: Search, rotation_hz: float, against: float
) -> None:
    # Free from 130 to 400 Hz: a nat for each percent beyond, the first above it allowed, and
    # five for being below at all. Candidates lie a quarter of a percent apart.
    assert held(alone, rotation_hz).off_plate == pytest.approx(against, abs=0.15)
