"""Runs' ends that are another sound's: courses and levels made by hand."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from analysis.hearing.orders import AT_TIMES, LOG_STEP, TOP_ORDER, Candidates
from analysis.hearing.path import OFF
from analysis.hearing.search import Search, Steps
from analysis.hearing.silence import without_silent_ends
from analysis.hearing.spectra import SpectrumGrid
from tests.analysis.hearing.searches import course_of
from tests.analysis.hearing.traces import Cut

GRID = SpectrumGrid(16_000.0)
STEP_S = 2 * GRID.step_s
SECONDS = 30.0
COUNT = round(SECONDS / STEP_S)
CUTS = (Cut(6, 12), Cut(16, 22))
FREE, SAGGED = 260, 252  # candidates
VOICE = np.zeros(TOP_ORDER, np.int64)
EDGE_S = 0.6  # what is told may be off by the smoothing


def during(start_s: float, end_s: float) -> slice:
    return slice(round(start_s / STEP_S), round(end_s / STEP_S))


def taken(
    *stretches: tuple[float, float, int, float],
    voice: npt.NDArray[np.int64] = VOICE,
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.bool_]]:
    """The path found in a take with two cuts, where the stretches named are otherwise.

    Each from, to (s), candidates from running free, and nepers of level. Returns where the
    path was on before, and where it is on after the silent ends are taken off.
    """
    rng = np.random.default_rng(1)
    bands = rng.normal(-6, 0.3, (COUNT, 9)).astype(np.float32)
    path, cutting = np.full(COUNT, FREE), np.zeros(COUNT, bool)
    for cut in CUTS:
        inside = during(cut.start_s, cut.end_s)
        path[inside], cutting[inside] = SAGGED, True
        bands[inside] += 1.0
    for start_s, end_s, aside, nepers in stretches:
        inside = during(start_s, end_s)
        path[inside], cutting[inside] = FREE + aside, False
        bands[inside] += np.float32(nepers)
    nothing = np.zeros((COUNT, GRID.bins), np.float32)
    search = Search(
        Steps(GRID, nothing, nothing[:, ::4], bands),
        Candidates(100.0, 500),
        np.zeros((COUNT, 1), np.uint8),
        flutes=2,
        free_hz=(100.0, 340.0),
    )
    told = without_silent_ends(search, course_of(path, voice, cutting)).path
    assert np.array_equal(told[told != OFF], path[told != OFF])
    return path, told != OFF


def test_a_run_begins_and_ends_where_the_router_does() -> None:
    _, on = taken((0, 3, 12, -1.5), (26, SECONDS, -12, -1.5))
    time_s = STEP_S * (np.arange(COUNT) + 0.5)
    assert not on[(time_s < 3 - EDGE_S) | (time_s > 26 + EDGE_S)].any()
    assert on[(time_s > 3 + EDGE_S) & (time_s < 26 - EDGE_S)].all()


@pytest.mark.parametrize(
    "stretch",
    [
        pytest.param((0.0, 3.0, 12, 0.0), id="another speed, as loud"),
        pytest.param((0.0, 3.0, 0, -1.5), id="quieter at its own speed: someone in the way"),
        pytest.param((0.0, 0.3, 12, -1.5), id="shorter than a gain takes to settle"),
        pytest.param((13.0, 15.0, 12, -1.5), id="inside, not at an end"),
    ],
)
def test_what_may_be_the_router_stays(stretch: tuple[float, float, int, float]) -> None:
    assert taken(stretch)[1].all()


@pytest.mark.parametrize("turned", [0.9, 0.75, 0.6])
def test_a_dial_turned_down_is_quieter_by_its_fan_and_stays(turned: float) -> None:
    # Fan laws: sound power goes with the fifth power of the speed (common practice).
    aside = round(float(np.log(turned)) / LOG_STEP)
    assert taken((24.0, SECONDS, aside, 5 * float(np.log(turned))))[1].all()


def test_what_comes_again_inside_is_the_routers_own() -> None:
    again = [(12.5, 15.5, 12, -1.5), (0.0, 1.5, 12, -1.5)]
    assert taken(*again)[1].all()


def test_without_a_cut_nothing_is_known() -> None:
    everywhere = (0.0, SECONDS, 0, 0.0)
    assert taken(everywhere, (0.0, 3.0, 12, -1.5))[1].all()


def test_its_own_speed_is_no_sign_of_it_where_no_line_of_it_is_heard() -> None:
    # The sound is flat everywhere: a voice that expects lines speaks against every step of it.
    path, on = taken((0, 3, 0, -4.0), voice=np.full(TOP_ORDER, AT_TIMES))
    time_s = STEP_S * (np.arange(COUNT) + 0.5)
    assert not on[time_s < 3 - EDGE_S].any()
    assert on[time_s > 3 + EDGE_S].all()
    assert (path != OFF).all()
