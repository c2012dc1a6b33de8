"""Machines that a course goes over to where its own falls quiet."""

import numpy as np
import pytest
import scipy.signal

from analysis.hearing.machines import leaps_up_from, leapt_to, machines_met
from analysis.hearing.orders import LOG_STEP, SILENT, generic_voice
from analysis.hearing.path import OFF
from analysis.hearing.search import Machine, Search
from analysis.hearing.states import tell_apart
from tests.analysis.hearing.searches import RATE_HZ, course_of, path_at, searched, step_times_s
from tests.analysis.hearing.sounds import router
from tests.analysis.hearing.traces import Cut

CUTS = [Cut(2, 5), Cut(7, 10)]
SECONDS, SAG = 12.0, 0.1
IDLE_HZ, OTHER_HZ = 15_000 / 60, 19_100 / 60
LINE_HZ = 35.0  # two lines run into each other that near
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


def shared_with_the_other(met: Machine) -> bool:
    """Whether all lines of a machine that was met lie on the other machine's."""
    lines_hz = IDLE_HZ * (np.flatnonzero(met.voice != SILENT) + 1)
    nearest = np.rint(lines_hz / OTHER_HZ)
    return bool(np.all(np.abs(lines_hz - nearest * OTHER_HZ) < LINE_HZ))


def test_a_router_that_gives_way_takes_its_lines_along(in_company: Search) -> None:
    cut = in_the_cut(in_company)
    path = path_at(in_company, np.where(cut, (1 - SAG) * IDLE_HZ, IDLE_HZ))
    # But for what lies on the other machine's lines, which do sound on.
    met = machines_met(in_company, tell_apart(in_company, path, guess=cut))
    assert all(shared_with_the_other(machine) for machine in met)


def test_one_loud_line_that_sounds_on_is_met_alone() -> None:
    # All that is heard of a vacuum: a whistle at six times a speed near the router's own.
    whistle_hz = 6 * 1.06 * IDLE_HZ
    time_s = np.arange(round(SECONDS * RATE_HZ)) / RATE_HZ
    samples = router(CUTS, seconds=SECONDS, idle_rpm=60 * IDLE_HZ, sag=0.01)
    search = searched(samples + 0.05 * np.sin(2 * np.pi * whistle_hz * time_s))
    cut = in_the_cut(search)
    path = path_at(search, np.where(cut, 0.99 * IDLE_HZ, whistle_hz / 6))
    (met,) = machines_met(search, tell_apart(search, path, guess=cut))
    assert (np.flatnonzero(met.voice != SILENT) + 1).tolist() == [6]


def test_the_router_itself_is_not_met_where_its_course_errs(in_company: Search) -> None:
    # Off to the other machine for the last two seconds, running free: the router sounds on.
    cut = in_the_cut(in_company)
    rotation_hz = np.where(cut, (1 - SAG) * IDLE_HZ, IDLE_HZ)
    late = step_times_s(in_company) > SECONDS - 2
    path = path_at(in_company, np.where(late, OTHER_HZ, rotation_hz))
    met = machines_met(in_company, tell_apart(in_company, path, guess=cut))
    speeds_hz = [float(np.median(in_company.candidates.rotation_hz[m.path])) for m in met]
    other = [machine for machine, hz in zip(met, speeds_hz, strict=True) if near(hz, OTHER_HZ)]
    assert len(other) == 1
    assert all(shared_with_the_other(machine) for machine in met if machine is not other[0])


def near(one_hz: float, other_hz: float) -> bool:
    return abs(one_hz / other_hz - 1) < 0.0025


@pytest.mark.parametrize(("lag_s", "leaps"), [(0.0, True), (0.3, False)])
def test_no_spindle_wins_back_its_speed_in_no_time(lag_s: float, leaps: bool) -> None:
    """The other machine falls silent in the cut: only how its speed is come to tells it."""
    time_s = np.arange(round(SECONDS * RATE_HZ)) / RATE_HZ
    cutting = np.any([(time_s > c.start_s) & (time_s < c.end_s) for c in CUTS], axis=0)
    speed_hz = np.where(cutting, 0.7 * OTHER_HZ, OTHER_HZ)
    if lag_s:  # of first order, as a motor without a governor gives way
        decay = np.exp(-1 / (lag_s * RATE_HZ))
        speed_hz, _ = scipy.signal.lfilter(
            [1 - decay], [1, -decay], speed_hz, zi=[decay * OTHER_HZ]
        )
    turns = np.cumsum(speed_hz) / RATE_HZ
    tones = [np.sin(2 * np.pi * n * turns + n * n) for n in OTHER_ORDERS]
    noise = np.random.default_rng(2).normal(0, 0.05, len(time_s))
    search = searched(0.05 * np.sum(tones, axis=0) + noise)
    steps = np.clip((step_times_s(search) * RATE_HZ).astype(int), 0, len(time_s) - 1)
    path = path_at(search, speed_hz[steps])
    leapt = leapt_to(search, course_of(path, generic_voice(2), in_the_cut(search)))
    assert (leapt is not None) == leaps
    if leapt is not None:
        machine, steps = leapt
        assert np.mean(in_the_cut(search)[steps]) < 0.1  # but for those at the ends
        speeds_hz = search.candidates.rotation_hz[machine.path]
        assert np.abs(speeds_hz / OTHER_HZ - 1).max() < 0.0025


def paces(*steps_and_ratios: tuple[int, float]) -> np.ndarray:
    """A path that keeps to these shares of a speed for so many steps each; 0 is off."""
    return np.concatenate(
        [
            np.full(steps, round(np.log(ratio) / LOG_STEP) + 400 if ratio else OFF)
            for steps, ratio in steps_and_ratios
        ]
    )


def test_a_speed_leapt_up_from_again_and_again_is_what_the_spindle_keeps_to() -> None:
    path = paces(*3 * [(60, 1.0), (1, 0.0), (15, 1.6)], (60, 1.0))
    mostly = leaps_up_from(path)
    assert mostly is not None
    assert np.array_equal(mostly, path == 400)


@pytest.mark.parametrize(
    "path",
    [
        paces(*2 * [(60, 1.0), (15, 1.6)], (60, 1.0)),  # twice may be the dial
        paces(*3 * [(60, 1.0), (15, 0.7)], (60, 1.0)),  # gives way in the cut
        paces(*3 * [(60, 1.0), (15, 1.05)], (60, 1.0)),  # won back
        paces(*3 * [(60, 1.0), (30, 0.0), (15, 1.6)], (60, 1.0)),  # switched off between
        paces(*3 * [(20, 1.0), (40, 1.6)]),  # mostly at the other speed
        paces(*3 * [(60, 1.0), (2, 1.1), (2, 1.25), (2, 1.4), (20, 1.6)], (60, 1.0)),  # runs up
        paces((50, 0.0)),
    ],
)
def test_dials_loads_and_switches_are_no_leaps_up(path: np.ndarray) -> None:
    assert leaps_up_from(path) is None
