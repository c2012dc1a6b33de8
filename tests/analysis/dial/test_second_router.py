"""Two routers that are set in one take, and what only looks like it."""

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt
import pytest

from analysis.dial.calibration import Calibration, calibrate, plateaus_heard
from analysis.dial.explaining import explain
from analysis.dial.listening import FreeHearing, Sound, hear_running_free
from analysis.dial.matching import Mismatch, Trouble
from analysis.dial.second_router import own_turns
from analysis.dial.settings import parse_settings
from analysis.hearing.path import OFF
from tests.analysis.dial.free_running import SAMPLE_RATE_HZ, row_of_speeds, sound_of

Samples = npt.NDArray[np.float32]

PLATE_RPM = (10_000.0, 24_000.0)
SPEEDS_RPM = [10_130.0, 12_210.0, 14_500.0, 17_230.0, 19_800.0, 22_340.0]
OTHERS_RPM = [11_300.0, 13_900.0, 15_800.0, 18_700.0, 21_300.0, 23_600.0]
ORDERS: dict[float, float] = {1: 0.012, 2: 0.008, 9: 0.03, 18: 0.012, 12: 0.02, 24: 0.01}
# Another fan and another commutator.
OTHER_ORDERS: dict[float, float] = {1: 0.012, 2: 0.008, 7: 0.03, 14: 0.014, 11: 0.02, 22: 0.012}


def heard_together(*sounds: Samples) -> FreeHearing:
    length = min(map(len, sounds))
    both = np.sum([sound[:length] for sound in sounds], axis=0).astype(np.float32)
    return hear_running_free((Sound(both, SAMPLE_RATE_HZ),), plate_range_rpm=PLATE_RPM)


def row(
    speeds_rpm: list[float],
    *,
    held_s: float,
    orders: Mapping[float, float] | None = None,
    seed: int = 1,
) -> Samples:
    corners, _ = row_of_speeds(speeds_rpm, held_s=held_s, between_s=0.6, off_between=False)
    return sound_of(corners, noise=0.05, orders=orders, seed=seed)


def settle(heard: FreeHearing) -> Calibration | Mismatch:
    return calibrate(
        plateaus_heard(heard), settings=parse_settings("1..6"), heard=heard, plate_range_rpm=None
    )


@pytest.mark.parametrize("others_held_s", [3.4, 4.7])
def test_two_routers_set_at_once_are_told_even_where_both_rise(others_held_s: float) -> None:
    heard = heard_together(
        row(SPEEDS_RPM, held_s=4),
        row(OTHERS_RPM, held_s=others_held_s, orders=OTHER_ORDERS, seed=2),
    )
    made = settle(heard)
    assert isinstance(made, Mismatch)
    assert made.trouble is Trouble.TWO_MACHINES
    told = explain(made, heard, ())
    assert told[0].startswith("Two machines are heard")
    assert "Switch the other one off" in told[-1]


def found(heard: FreeHearing) -> list[float]:
    made = settle(heard)
    assert isinstance(made, Calibration)
    return [point.plateau.spindle_rpm for point in made.points]


def test_a_worn_bearing_moves_with_the_router_and_is_no_second_one() -> None:
    # The balls pass at no whole order: 8 balls, 0.39 of a turn each, common practice.
    bearing = {3.12: 0.01, 6.24: 0.01, 9.36: 0.006, 12.48: 0.005}
    heard = heard_together(row(SPEEDS_RPM, held_s=4, orders=ORDERS | bearing))
    assert found(heard) == pytest.approx(SPEEDS_RPM, rel=3e-4)


def test_a_machine_that_runs_on_is_no_second_one() -> None:
    runs_on = row([15_350.0] * 6, held_s=4, orders={1: 0.015, 2: 0.015, 3: 0.01}, seed=2)
    heard = heard_together(row(SPEEDS_RPM, held_s=4), runs_on)
    assert found(heard) == pytest.approx(SPEEDS_RPM, rel=3e-4)


def path_of(shifts: list[int], chunks: int) -> npt.NDArray[np.int64]:
    """Each shift for so many chunks, and a chunk between two in which nothing is told."""
    return np.concatenate([[*[shift] * chunks, OFF] for shift in shifts]).astype(np.int64)


def test_lines_of_one_machine_turn_together_however_they_are_laid_on_one_another() -> None:
    # Speeds in no fixed ratio, as of orders beyond all that are counted, but at the same times.
    first = path_of([575, 518, 624, 735, 455, 669, 778], 14)
    assert own_turns(first, path_of([482, 637, 742, 494, 852, 787, 620], 14)) == 0
    # Another's settings of 10 chunks and of its own times: hardly a turn of one is one of both.
    assert own_turns(first, path_of([482, 637, 742, 494, 852, 787, 620, 500, 700], 10)) > 0.2
