from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from analysis.dial.matching import part_repeats
from analysis.dial.plateaus import (
    Plateau,
    find_plateaus,
    is_left_for_another,
    may_hold_cuts,
)
from analysis.dial.repeats import split_plateau
from analysis.dial.settings import parse_settings
from tests.analysis.dial.courses import STEP_S, held, started, track_of, unsure

SPEEDS_RPM = [10_130.0, 12_210.0, 14_500.0, 17_230.0, 19_800.0]


def found(
    corners: list[tuple[float, float]],
    *,
    wander: float = 0.0,
    cuts_s: tuple[tuple[float, float], ...] = (),
) -> list[Plateau]:
    return list(find_plateaus(track_of(corners, wander=wander), cuts_s=cuts_s, take=0))


def speeds(plateaus: list[Plateau]) -> list[float]:
    return [plateau.spindle_rpm for plateau in plateaus]


def test_each_held_speed_is_a_plateau_with_its_own_times() -> None:
    plateaus = found(held(SPEEDS_RPM))
    assert speeds(plateaus) == pytest.approx(SPEEDS_RPM, rel=1e-4)
    for number, plateau in enumerate(plateaus):
        # An end may lie a step off, and the median over three steps takes another.
        assert plateau.start_s == pytest.approx(5.6 * number, abs=2.5 * STEP_S)
        assert plateau.end_s == pytest.approx(5.6 * number + 5.0, abs=2.5 * STEP_S)


@pytest.mark.parametrize("order", [[4, 0, 2, 1, 3], [0, 1, 0, 1, 0], [2, 4, 2, 0, 4]])
def test_any_order_and_repeats_are_found(order: list[int]) -> None:
    asked = [SPEEDS_RPM[i] for i in order]
    assert speeds(found(held(asked), wander=0.001)) == pytest.approx(asked, rel=1e-3)


def test_a_wandering_spindle_is_still_one_plateau_and_its_interval_says_so() -> None:
    corners = held([17_000.0], held_s=20)
    wandering = found(corners, wander=0.001)
    assert len(wandering) == 1
    true = track_of(corners, wander=0.001).spindle_rpm
    assert wandering[0].unsteadiness_percent == pytest.approx(
        100 * float(np.std(true) / np.mean(true)), rel=0.05
    )
    # Over 20 s a wander of 0.1 % averages out, over 5 s one of 0.3 % does not.
    shorter = held([17_000.0], held_s=5)
    still, wandering = found(shorter), found(shorter, wander=0.003)
    assert wandering[0].spindle_rpm_u95 > 2 * still[0].spindle_rpm_u95


def test_switching_off_between_parts_two_plateaus_of_the_same_speed() -> None:
    corners = [(0, 17e3), (5, 17e3), (6.5, 0), (8, 0), (8.6, 17e3), (14, 17e3)]
    assert speeds(found(corners)) == pytest.approx([17e3, 17e3], rel=1e-3)


def test_ramps_and_coasting_are_no_plateaus() -> None:
    # A minute of slow turning of the dial, 2 % a second, then switched off.
    assert found([(0, 10e3), (35, 20e3), (38, 0), (40, 0)]) == []


def test_a_rest_of_the_hand_under_a_second_and_a_half_is_no_plateau() -> None:
    corners = [(0, 10e3), (5, 10e3), (5.5, 13e3), (6.5, 13e3), (7, 16e3), (12, 16e3)]
    assert speeds(found(corners)) == pytest.approx([10e3, 16e3], rel=1e-3)


def test_the_overshoot_after_switching_on_is_left_out() -> None:
    overshoot = [(1.8 + 0.1 * i, 18_000 * (1 + 0.03 * np.exp(-i / 5))) for i in range(40)]
    corners = [(0, 0), (1, 0), *overshoot, (9, 18e3)]
    (plateau,) = found(corners)
    assert plateau.spindle_rpm == pytest.approx(18e3, rel=3e-4)
    assert plateau.start_s > 2.4


# A bump (1 + u) exp(-u) has fallen to a tenth at u = 3.9: by hand, 4.9 exp(-3.9) = 0.099.
DIED_AWAY_S = 3.9 * 0.3


def test_a_start_from_rest_has_settled_when_a_tenth_of_its_overshoot_is_left() -> None:
    (plateau,) = found([(0, 0), *started(2.0, 18e3, until_s=9)])
    # The top is found to a step, tau to one of a row.
    assert plateau.start_s == pytest.approx(2.0 + DIED_AWAY_S, abs=0.15)


def test_what_is_heard_for_a_moment_while_it_starts_is_no_speed_that_was_left() -> None:
    blip = [(0, 0), (1.0, 0), (1.01, 9e3), (1.3, 9e3), (1.31, 0)]
    (plateau,) = found([*blip, *started(2.0, 18e3, until_s=9)])
    assert plateau.start_s == pytest.approx(2.0 + DIED_AWAY_S, abs=0.15)


def test_a_motor_starts_alike_each_time_so_one_start_that_wanders_is_told_by_the_others() -> None:
    corners = [(0.0, 0.0)]
    for number, speed_rpm in enumerate([14e3, 16e3, 18e3]):
        begin_s = 9.0 * number + 2
        corners += started(begin_s, speed_rpm, overshoot=0.012, until_s=begin_s + 6)
        corners.append((begin_s + 6.02, 0.0))
    track = track_of([*corners, (30.0, 0.0)])
    # The second falls by another 0.5 % while it runs: alone it would seem to settle for longer.
    falling = np.interp(track.time_s, [12.0, 14.5], [0.005, 0.0])
    wandered = replace(track, spindle_rpm=track.spindle_rpm * (1 + falling))
    starts_s = [p.start_s for p in find_plateaus(wandered, cuts_s=(), take=0)]
    expected_s = [9.0 * number + 2 + DIED_AWAY_S for number in range(3)]
    assert starts_s == pytest.approx(expected_s, abs=0.2)


def test_a_start_is_known_by_its_bump_though_the_rest_before_it_was_not_silent() -> None:
    corners = [(0, 0), *started(2.0, 15e3, until_s=8), (8.02, 0), (9, 0)]
    corners += [(9.02, 13e3), (10, 13e3), (10.02, 0), (10.6, 0)]  # something else, for a second
    corners += [*started(11.0, 18e3, until_s=17), (17.02, 0), (19, 0)]
    assert found(corners)[-1].start_s == pytest.approx(11.0 + DIED_AWAY_S, abs=0.15)


def test_a_ramp_that_is_lost_for_a_moment_is_no_start_though_the_speed_falls_after_it() -> None:
    tail = [(8.7 + t - 0.2, rpm) for t, rpm in started(0.2, 18e3, overshoot=0.009, until_s=6)[1:]]
    corners = [(0, 0), *started(2.0, 15e3, overshoot=0.015, until_s=8), (8.02, 0), (8.68, 0), *tail]
    assert found(corners)[-1].start_s == pytest.approx(8.7, abs=0.2)


def test_moments_in_which_the_track_is_unsure_move_no_mean() -> None:
    track = track_of(held([17_000.0, 20_000.0]))
    slipped = unsure(unsure(track, 2.0, 2.8, off=0.003), 3.5, 4.2, off=0.003)
    plateaus = find_plateaus(slipped, cuts_s=(), take=0)
    # Two slips of 0.3 % for 1.5 s of 5 would move the mean by 0.09 %.
    assert speeds(list(plateaus)) == pytest.approx([17_000, 20_000], rel=5e-5)


def test_a_slip_beyond_a_ramp_is_no_part_of_the_plateau_beside_it() -> None:
    # Off the ramp for a third of a second, at nearly the speed that comes next.
    corners = [(0, 12e3), (5, 12e3), (5.3, 16.9e3), (5.32, 17.02e3), (5.6, 17.02e3)]
    (_, plateau) = found([*corners, (5.62, 16.75e3), (5.75, 17e3), (10.75, 17e3)])
    assert plateau.start_s == pytest.approx(5.75, abs=2.5 * STEP_S)


def test_warming_up_is_one_plateau_that_tells_its_drift() -> None:
    (plateau,) = found([(0, 18_000), (8, 18_070)])
    assert plateau.drift_percent == pytest.approx(100 * 70 / 18_000, rel=0.1)


def test_a_cut_by_mistake_is_no_plateau_of_its_own_and_no_part_of_one() -> None:
    corners = [(0, 17e3), (5, 17e3), (5.4, 16e3), (8, 16e3), (8.4, 17e3), (14, 17e3)]
    (plateau,) = found(corners, cuts_s=((5.1, 8.3),))
    assert plateau.spindle_rpm == pytest.approx(17e3, rel=3e-4)
    assert (plateau.start_s, plateau.end_s) == pytest.approx((0, 14), abs=0.1)
    # The same course without a cut heard in it is a dial turned down and up again.
    assert speeds(found(corners)) == pytest.approx([17e3, 16e3, 17e3], rel=1e-3)


def test_cuts_need_be_sought_only_where_a_speed_gives_way_and_comes_back() -> None:
    dip = [(0, 17e3), (5, 17e3), (5.4, 16e3), (8, 16e3), (8.4, 17e3), (14, 17e3)]
    assert may_hold_cuts(track_of(dip))
    assert not may_hold_cuts(track_of(held(SPEEDS_RPM)))
    assert not may_hold_cuts(track_of([(0, 0), (20, 0)]))


def test_another_machine_reached_faster_than_a_motor_turns_is_no_plateau() -> None:
    corners = [(0, 17e3), (6, 17e3), (6.05, 23e3), (8, 23e3), (8.05, 0), (9, 0)]
    assert speeds(found(corners)) == pytest.approx([17e3], rel=1e-3)


def test_another_machine_left_faster_than_a_motor_turns_is_no_plateau() -> None:
    corners = [(0, 17e3), (5, 17e3), (5.5, 0), (8, 0), (8.02, 24e3), (11, 24e3), (11.1, 13e3)]
    assert speeds(found([*corners, (16, 13e3)])) == pytest.approx([17e3, 13e3], rel=1e-3)


def test_another_machine_that_is_heard_whenever_the_router_is_off_is_no_plateau() -> None:
    corners = [(0.0, 12e3), (5.0, 12e3)]
    for number, speed_rpm in enumerate([15e3, 18e3]):
        at_s = 10.0 + 12 * number
        corners += [(at_s - 4.95, 26e3), (at_s - 0.05, 26e3), (at_s, 0), (at_s + 1, 0)]
        corners += [(at_s + 1.5, speed_rpm), (at_s + 7, speed_rpm)]
    assert speeds(found(corners)) == pytest.approx([12e3, 15e3, 18e3], rel=1e-3)


def test_a_speed_that_wanders_by_under_a_percent_belongs_to_its_plateau_from_the_start() -> None:
    # Two seconds 0.9 % fast, falling by 0.6 % a second: no hand, and no motor that starts.
    corners = [(0, 12e3), (0.5, 17_150), (2.5, 17_150), (4, 17e3), (9, 17e3), (9.5, 20e3)]
    (plateau, _) = found([*corners, (14, 20e3)])
    assert plateau.start_s == pytest.approx(0.5, abs=2.5 * STEP_S)
    # By hand: (2 x 17,150 + 1.5 x 17,075 + 5 x 17,000) / 8.5
    assert plateau.spindle_rpm == pytest.approx(17_048.5, rel=1e-4)


def test_what_a_ramp_loses_of_the_course_is_not_taken_for_rest() -> None:
    # Off for a second only, as on a fast ramp that is not followed: the fall after it, 0.5 %
    # in a second, is wander and stays in.
    lost = [(0, 12e3), (5, 12e3), (5.01, 0), (5.99, 0), (6, 17_085), (7, 17e3), (11, 17e3)]
    rested = [(0, 12e3), (5, 12e3), (5.01, 0), (7.99, 0), (8, 17_085), (9, 17e3), (13, 17e3)]
    assert found(lost)[-1].start_s == pytest.approx(6.0, abs=3 * STEP_S)
    assert found(rested)[-1].start_s > 8.2


def test_one_number_twice_is_not_parted_from_what_is_as_short_as_one() -> None:
    track = track_of(held([14_000.0, 17_000.0, 20_000.0]))
    plateaus = find_plateaus(track, cuts_s=(), take=0)
    settings = parse_settings("1,2,2,3")
    assert part_repeats(plateaus, settings, (track,)) == plateaus


def test_a_plateau_that_is_left_for_another_speed_in_no_time_is_known() -> None:
    left = [(0, 14e3), (5, 14e3), (5.6, 17e3), (9, 17e3), (9.05, 18.4e3), (9.5, 18.4e3)]
    track = track_of([*left, (9.55, 17e3), (12, 17e3), (12.6, 20e3), (17, 20e3)])
    plateaus = find_plateaus(track, cuts_s=(), take=0)
    assert [is_left_for_another(p, track) for p in plateaus] == [False, True, False]


def test_silence_has_no_plateau() -> None:
    assert found([(0, 0), (20, 0)]) == []


def test_a_number_set_twice_without_a_break_is_parted_at_the_step() -> None:
    track = track_of([(0, 17_000), (5, 17_000), (5.3, 17_050), (11, 17_050)])
    (plateau,) = find_plateaus(track, cuts_s=(), take=0)
    parts = split_plateau(plateau, track, 2)
    assert parts is not None
    assert [part.spindle_rpm for part in parts] == pytest.approx([17_000, 17_050], abs=3)
    assert split_plateau(plateau, track, 8) is None


def test_the_mean_lies_within_its_interval_as_often_as_stated() -> None:
    # 200 plateaus whose true mean is known: between 92 and 99 of 100 should be covered, and
    # a share of 200 has a standard deviation of 1.6 % at 95 %.
    covered = 0
    for seed in range(200):
        track = track_of(
            [(0, 12e3), (0.5, 17e3), (5.5, 17e3), (6.0, 20e3)], wander=0.001, seed=seed
        )
        inside = (track.time_s >= 0.5) & (track.time_s <= 5.5)
        true_rpm = float(np.mean(track.spindle_rpm[inside]))
        noise = np.random.default_rng(seed).normal(0, 0.5 / 1.96)
        (plateau,) = find_plateaus(track, cuts_s=(), take=0)
        covered += abs(plateau.spindle_rpm + noise - true_rpm) <= plateau.spindle_rpm_u95
    assert covered >= 184


@pytest.mark.parametrize("far", [0.008, -0.008])
@pytest.mark.parametrize("tau_s", [0.2, 0.3, 0.4])
def test_a_plateau_begins_where_the_last_of_the_way_to_it_has_died_away(
    far: float, tau_s: float
) -> None:
    # The definition of a first-order lag; `far` below 0 is a regulator that goes too far.
    corners: list[tuple[float, float]] = [(0.0, SPEEDS_RPM[0]), (5.0, SPEEDS_RPM[0])]
    for before, speed in pairwise(SPEEDS_RPM):
        begin_s = corners[-1][0] + 0.6
        since_s = np.arange(0, 5, 0.02)
        left = np.sign(before - speed) * far * np.exp(-since_s / tau_s)
        corners += list(zip(begin_s + since_s, speed * (1 + left), strict=True))
    plateaus = found(corners, wander=0.0002)
    assert len(plateaus) == len(SPEEDS_RPM)
    # What is left where it begins, 0.07 %, dies away with tau: 0.4 s of 3.5 s make 0.008 %.
    # The wander of a fiftieth of a percent averages out to less than a third of itself.
    assert speeds(plateaus) == pytest.approx(SPEEDS_RPM, rel=2e-4)


def test_one_turn_that_plainly_dies_away_is_believed_without_others() -> None:
    """A hundredth that dies away with 0.3 s is 0.07 % after 0.3 s * ln(0.01 / 0.0007) = 0.8 s."""
    since_s = np.arange(0, 5, STEP_S)
    tail = 14_000 * (1 + 0.01 * np.exp(-since_s / 0.3))
    corners = [(0.0, 18_000.0), (5.0, 18_000.0), *zip(5.5 + since_s, tail, strict=True)]
    assert found(corners)[1].start_s == pytest.approx(6.3, abs=0.1)


def test_a_speed_that_is_fastest_long_after_it_was_reached_did_not_overshoot() -> None:
    since_s = np.arange(0, 6, STEP_S)
    wander = 18_000 * (1 + 0.005 * np.exp(-(((since_s - 1.2) / 0.5) ** 2)))
    plateaus = found([(2.0, 0.0), (2.7, 18_000.0), *zip(2.8 + since_s, wander, strict=True)])
    assert plateaus[0].start_s == pytest.approx(2.8, abs=0.2)


def test_after_a_start_from_rest_the_interval_holds_both_readings_of_when_it_settled() -> None:
    """0.2 % more for 1.5 of 6 s: the means of all and of the rest differ by 0.05 %."""
    later = [(1.5, 18_036.0), (1.5, 18_000.0), (6.0, 18_000.0)]
    (rested,) = found([(2.0, 0.0), (2.3, 18_036.0), *((2.3 + t, rpm) for t, rpm in later)])
    assert 18_009 - 18_000 <= rested.spindle_rpm_u95 < 18_036 - 18_000


def test_a_speed_that_only_wanders_keeps_its_whole_plateau() -> None:
    plateaus = found(held(SPEEDS_RPM), wander=0.001)
    assert [p.start_s for p in plateaus] == pytest.approx(
        [5.6 * number for number in range(len(SPEEDS_RPM))], abs=4 * STEP_S
    )


def found_after_a_stop_at(rpm: float) -> list[float]:
    """Speeds found where the dial goes from 15,000 to 18,000 rpm and rests at `rpm` for 2 s."""
    at_s = (0.0, 5.0, 5.6, 7.6, 8.2, 13.0)
    return speeds(found(list(zip(at_s, (15e3, 15e3, rpm, rpm, 18e3, 18e3), strict=True))))


def test_the_top_of_an_overshoot_after_a_turn_is_no_plateau() -> None:
    # 2 % too far for 2 s, then the speed: no dial has two settings so near each other.
    assert found_after_a_stop_at(18_360.0) == pytest.approx([15e3, 18e3], rel=1e-3)


def test_a_setting_that_is_set_again_a_little_nearer_stays_a_plateau() -> None:
    # The same numbers on the near side: one who set it twice, and reached it better.
    assert len(found_after_a_stop_at(17_640.0)) == 3


def test_a_way_of_seconds_leaves_a_plateau_and_its_interval_holds_both_readings() -> None:
    """What is left of 1.5 % after the time t is 1.5 % exp(-t / 1.2 s).

    One who reads from where 0.6 % is left, 1.1 s on, has 0.6 % * 1.2 / 3.9 = 0.18 % in the mean.
    """
    corners: list[tuple[float, float]] = [(0.0, SPEEDS_RPM[0]), (5.0, SPEEDS_RPM[0])]
    for speed in SPEEDS_RPM[1:]:
        begin_s = corners[-1][0] + 0.6
        since_s = np.arange(0, 5, 0.02)
        way = speed * (1 - 0.015 * np.exp(-since_s / 1.2))
        corners += list(zip(begin_s + since_s, way, strict=True))
    plateaus = found(corners, wander=0.0002)
    assert len(plateaus) == len(SPEEDS_RPM)
    for plateau, speed in zip(plateaus[1:], SPEEDS_RPM[1:], strict=True):
        assert abs(plateau.spindle_rpm / speed - 1) < 1.2e-3
        assert plateau.length_s >= 2.5
        assert abs(0.9982 * speed - plateau.spindle_rpm) < plateau.spindle_rpm_u95
