"""What is heard while the router is off is no plateau, however clear it stands out."""

import numpy as np
import pytest

from analysis.dial.calibration import plateaus_heard
from analysis.dial.listening import Sound, hear_running_free
from tests.analysis.dial.free_running import SAMPLE_RATE_HZ, row_of_speeds, sound_of

PLATE_RPM = (10_000.0, 24_000.0)
SPEEDS_RPM = [10_130.0, 12_210.0, 14_500.0, 17_230.0, 19_800.0]
OFF_S = 4.0
PLAYS_RPM = 15_600.0  # what is played has its lines where those of a router would lie


def take_that_rests(*, played: float) -> Sound:
    """Three settings, four seconds of rest in which something plays, and two settings more."""
    parts = []
    for speeds in (SPEEDS_RPM[:3], SPEEDS_RPM[3:]):
        corners, _ = row_of_speeds(speeds, held_s=4, between_s=0.6, off_between=False)
        parts.append(sound_of(corners, noise=0.02, seed=len(speeds)))
    time_s = np.arange(round(OFF_S * SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ
    rest = 0.0005 * np.random.default_rng(3).standard_normal(len(time_s))
    for order, amplitude in {1: 0.4, 2: 0.3, 9: 1.0, 18: 0.4, 12: 0.7, 24: 0.3}.items():
        rest += played * amplitude * np.sin(2 * np.pi * order * PLAYS_RPM / 60 * time_s + order)
    whole = np.concatenate([parts[0], rest, parts[1]])
    return Sound(whole.astype(np.float32), SAMPLE_RATE_HZ)


def speeds_heard(*, played: float) -> list[float]:
    free = hear_running_free((take_that_rests(played=played),), plate_range_rpm=PLATE_RPM)
    return [plateau.spindle_rpm for plateau in plateaus_heard(free)]


def test_what_plays_faintly_while_the_router_is_off_is_no_plateau() -> None:
    # The router's ninth order has an amplitude of some 0.02 at 14,500 rpm; the same of what
    # plays is 20 times, or 26 dB, fainter, and stands 20 dB over what is left of the noise.
    assert speeds_heard(played=0.001) == pytest.approx(SPEEDS_RPM, rel=3e-4)


def test_what_is_as_loud_as_the_router_is_a_plateau() -> None:
    expected = [*SPEEDS_RPM[:3], PLAYS_RPM, *SPEEDS_RPM[3:]]
    assert speeds_heard(played=0.02) == pytest.approx(expected, rel=3e-4)
