"""A voice that a calibration taught speaks for the router and against another machine."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.hearing.counting import counted_right
from analysis.hearing.orders import AT_TIMES, FAINT, SILENT, TOP_ORDER
from analysis.hearing.pursuit import recalled
from analysis.hearing.search import Search
from analysis.hearing.voice import Voices, quieter
from tests.analysis.hearing.searches import RATE_HZ, searched
from tests.analysis.hearing.sounds import router
from tests.analysis.hearing.test_sharing import ROUTER_HZ, SECONDS, held
from tests.analysis.hearing.traces import Cut

OTHER_HZ = 1.13 * ROUTER_HZ


@pytest.fixture(scope="module")
def both() -> Search:
    """The router, and a machine that runs on beside it."""
    time_s = np.arange(round(SECONDS * RATE_HZ)) / RATE_HZ
    tones = [np.sin(2 * np.pi * n * OTHER_HZ * time_s + n * n) for n in (1, 2, 3, 5, 8)]
    samples = router([Cut(4, 8)], seconds=SECONDS, idle_rpm=60 * ROUTER_HZ, sag=0.0)
    return searched(samples + 0.02 * np.sum(tones, axis=0))


@pytest.fixture(scope="module")
def taught() -> Voices:
    """The same router on another day, without any company."""
    alone = searched(router([Cut(4, 8)], seconds=SECONDS, idle_rpm=60 * ROUTER_HZ, sag=0.0))
    idle = held(alone, ROUTER_HZ).voices.idle
    return Voices(idle, idle)


def test_farther_away_loud_lines_are_plain_and_faint_ones_gone() -> None:
    voice = np.full(TOP_ORDER, SILENT)
    voice[:4] = FAINT + 3, FAINT + 1, FAINT, AT_TIMES
    assert quieter(voice, 1)[:5].tolist() == [FAINT + 2, FAINT, SILENT, AT_TIMES, SILENT]
    assert np.array_equal(quieter(voice, 0), voice)


def test_what_was_taught_speaks_for_the_router_and_against_the_other(
    both: Search, taught: Voices
) -> None:
    knowing = replace(both, taught=taught.idle)
    gained, lost = (held(knowing, hz).merit - held(both, hz).merit for hz in (ROUTER_HZ, OTHER_HZ))
    assert gained > 0 > lost
    assert held(both, ROUTER_HZ).likeness == 0


def test_the_router_is_recalled_beside_another_machine(both: Search, taught: Voices) -> None:
    best = max(recalled(both, taught), key=lambda course: course.merit)
    rotation_hz = both.candidates.rotation_hz[best.path[best.running]]
    assert best.running.mean() > 0.95
    # To a step of the candidates, 0.25 %, and half of one for the reading.
    assert np.median(np.abs(rotation_hz / ROUTER_HZ - 1)) < 0.004


@pytest.mark.parametrize("known", [False, True])
def test_who_knows_the_voice_counts_its_lines_aright(known: bool) -> None:
    """Even orders but for one that is hardly heard: twice the speed explains the others alone."""
    hz, loud = 170.0, (2, 4, 10, 14, 20)
    time_s = np.arange(round(SECONDS * RATE_HZ)) / RATE_HZ
    noise = np.random.default_rng(7).normal(0, 0.05, len(time_s))
    even = 0.02 * np.sum([np.sin(2 * np.pi * n * hz * time_s + n * n) for n in loud], axis=0)
    odd = np.sin(2 * np.pi * 7 * hz * time_s)
    search = searched(noise + even + 0.003 * odd)
    if known:
        near = searched(noise + even + 0.02 * odd)
        search = replace(search, taught=held(near, hz).voices.idle)
    course = counted_right(search, held(search, 2 * hz))
    told_hz = float(np.median(search.candidates.rotation_hz[course.path[course.running]]))
    assert told_hz == pytest.approx(hz if known else 2 * hz, rel=0.004)
