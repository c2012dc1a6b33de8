"""The router's course where another machine runs, or the dial is turned."""

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest

from analysis.hearing.course import _gain_of_holding, _held_instead
from analysis.hearing.listener import Hearing, Listener
from analysis.hearing.path import OFF
from analysis.hearing.search import hop_share
from analysis.hearing.states import tell_apart
from tests.analysis.hearing.searches import course_of, path_at, searched, step_times_s
from tests.analysis.hearing.sounds import router
from tests.analysis.hearing.traces import Cut

RATE_HZ = 16_000
CUTS = [Cut(3, 7), Cut(11, 15)]
SECONDS = 18.0
NEAR = 0.005


def hear(samples: npt.NDArray[np.float32]) -> Hearing:
    listener = Listener(sample_rate_hz=RATE_HZ, flutes=2, plate_range_rpm=(8_000.0, 24_000.0))
    listener.feed(samples)
    return listener.finish()


def near(hearing: Hearing, rpm: float, *, first_s: float, last_s: float) -> float:
    """Share of the track in a stretch that lies within half a percent of a speed."""
    time_s = hearing.track.time_s
    inside = (time_s > first_s) & (time_s < last_s)
    return float(np.mean(np.abs(hearing.track.spindle_rpm[inside] / rpm - 1) < NEAR))


def vacuum(rpm: float, *, orders: tuple[int, ...], amplitude: float) -> npt.NDArray[np.float64]:
    """Another machine: a steady comb through the whole take."""
    time_s = np.arange(round(SECONDS * RATE_HZ)) / RATE_HZ
    tones = [np.sin(2 * np.pi * order * rpm / 60 * time_s + order**2) for order in orders]
    return np.asarray(amplitude * np.sum(tones, axis=0), np.float64)


@pytest.mark.parametrize("rpm", [13_300.0, 16_100.0, 20_900.0])
def test_a_steady_machine_beside_it_is_not_the_router(rpm: float) -> None:
    # As loud as the teeth (0.06), and heard all through: it stays where it is in the cut.
    sound = router(CUTS, seconds=SECONDS) + vacuum(rpm, orders=(1, 2, 5, 7, 10), amplitude=0.06)
    hearing = hear(sound.astype(np.float32))
    assert near(hearing, 18_000, first_s=8, last_s=10) == 1
    assert near(hearing, 0.97 * 18_000, first_s=12, last_s=14) == 1
    assert len(hearing.passes) == 2


def test_a_course_that_leaps_up_again_and_again_is_held_where_it_leaps_from() -> None:
    orders = (1, 2, 5, 7, 10)
    other = vacuum(21_600, orders=orders, amplitude=0.05)
    search = searched(router(CUTS, seconds=SECONDS, sag=0.01) + other)
    time_s = step_times_s(search)
    cut = np.any([(time_s > c.start_s) & (time_s < c.end_s) for c in CUTS], axis=0)
    right_hz = np.where(cut, 0.99, 1.0) * 300.0
    away = np.any([(time_s > t) & (time_s < t + 1) for t in (1.0, 8.0, 16.0)], axis=0)
    leaping = tell_apart(search, path_at(search, np.where(away, 360.0, right_hz)), guess=cut)
    held = _held_instead(search, leaping)
    assert held is not None
    assert np.abs(held.path - path_at(search, right_hz))[away].max() <= 2
    # Once or twice it may have been the dial.
    twice = np.where(away & (time_s < 10), 360.0, right_hz)
    assert _held_instead(search, tell_apart(search, path_at(search, twice), guess=cut)) is None


@pytest.mark.parametrize("second_rpm", [10_600.0, 14_000.0, 21_500.0])
def test_the_dial_may_be_turned_between_passes(second_rpm: float) -> None:
    # The very orders of the first half at another speed: neither its half nor its double.
    first = router([Cut(3, 7)], seconds=9)
    second = router([Cut(2, 6)], seconds=9, idle_rpm=second_rpm, seed=2)
    hearing = hear(np.concatenate([first, second]))
    assert near(hearing, 18_000, first_s=1, last_s=2.5) == 1
    assert near(hearing, 0.97 * 18_000, first_s=4, last_s=6) == 1
    assert near(hearing, 0.97 * second_rpm, first_s=12, last_s=14) == 1
    assert near(hearing, second_rpm, first_s=16, last_s=17.5) == 1


def test_no_router_runs_free_below_its_plate() -> None:
    # Every other order of 9,000 rpm, which a plate of 16,000 to 24,000 rules out.
    sound = router(CUTS, seconds=SECONDS, idle_rpm=18_000)
    listener = Listener(sample_rate_hz=RATE_HZ, flutes=2, plate_range_rpm=(16_000.0, 24_000.0))
    listener.feed(sound)
    assert listener.finish().track.idle_rpm == pytest.approx(18_000, rel=5e-4)


def test_a_hop_is_a_leap_while_it_runs() -> None:
    assert hop_share(np.array([100, 101, 103, 140, 141])) == pytest.approx(1 / 5)
    assert hop_share(np.array([100, OFF, OFF, 140, 141])) == 0
    assert hop_share(np.array([OFF, OFF])) == 0


@pytest.mark.parametrize("distance_m", [0.65, 1.3])
def test_the_ripples_of_a_wall_nearby_are_no_router(distance_m: float) -> None:
    # The echo of a wall ripples all of the noise like a comb of 264 Hz, or of half of that: a
    # router that turns at 7,900 rpm, say.
    late = round(2 * distance_m / 343 * RATE_HZ)
    dry = router(CUTS, seconds=SECONDS, idle_rpm=21_000, noise=0.06)
    samples = dry.copy()
    samples[late:] += np.float32(0.6) * dry[:-late]
    hearing = hear(samples)
    assert hearing.track.idle_rpm == pytest.approx(21_000, rel=1e-3)
    assert len(hearing.passes) == len(CUTS)


def test_a_course_that_never_leaves_its_speed_is_kept_where_it_explains_as_much() -> None:
    cut = np.arange(100) % 50 > 20
    held = course_of(np.full(100, 200), np.zeros(48, np.int64), cut)
    leaping = course_of(np.where(cut, 200, 360), np.zeros(48, np.int64), cut)
    assert _gain_of_holding(leaping, held) > 0
    assert _gain_of_holding(held, leaping) == 0
    assert _gain_of_holding(replace(leaping, evidence=held.evidence + 0.1), held) == 0


def test_a_course_that_runs_nowhere_has_no_cut_in_common() -> None:
    # What a search finds may be left with no step in which it is heard.
    off = course_of(np.full(100, OFF), np.zeros(48, np.int64))
    assert _gain_of_holding(off, off) == 0.0
