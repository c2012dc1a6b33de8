from dataclasses import replace

import numpy as np
import pytest

from analysis.hearing.touching import (
    CUT_APART,
    SPIN_UP_S,
    contact_as_guessed,
    hear_contact,
    long_free_cost,
    odd_length_cost,
)
from analysis.hearing.trace import Trace
from tests.analysis.hearing.traces import IDLE_HZ, STEP_S, Cut, frame, trace

CUTS = [Cut(4, 8), Cut(11, 15), Cut(18, 23)]


def truth(made: Trace, cuts: list[Cut]) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    mask = np.zeros(len(made.lead), bool)
    for cut in cuts:
        mask[frame(cut.start_s) : frame(cut.end_s)] = True
    return mask


def agreement(made: Trace, mask: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> float:
    return float(np.mean(mask == truth(made, CUTS)))


# Each of six ends may be told a frame off.
ALL_BUT_ENDS = 1 - 6 / frame(27)


@pytest.mark.parametrize("guess", ["right", "none", "all", "turned round", "a knot"])
def test_a_wrong_first_guess_is_got_over(guess: str) -> None:
    made = trace(CUTS, seconds=27)
    cutting = truth(made, CUTS)
    knot = truth(made, [Cut(12.5, 13)])
    guesses = {
        "right": cutting,
        "none": np.zeros_like(cutting),
        "all": np.ones_like(cutting),
        "turned round": ~cutting,
        "a knot": knot,
    }
    heard = hear_contact(replace(made, cutting=guesses[guess]))
    assert agreement(made, heard.mask) >= ALL_BUT_ENDS


def test_the_first_guess_can_be_trusted_instead() -> None:
    made = trace(CUTS, seconds=27)
    assert agreement(made, contact_as_guessed(made).mask) >= ALL_BUT_ENDS
    assert not contact_as_guessed(replace(made, cutting=np.zeros(len(made.lead), bool))).mask.any()


def test_a_router_that_loses_much_by_cutting_is_known_by_its_speeds() -> None:
    """It cuts for longer than it runs free, so that free looks like another machine before it."""
    made = trace(CUTS, seconds=27)
    cutting = truth(made, CUTS)
    slower = replace(made, rotation_hz=np.where(cutting, 0.8, 1.0) * IDLE_HZ, cutting=cutting)
    assert agreement(slower, contact_as_guessed(slower).mask) < 0.7
    known = contact_as_guessed(slower, known_hz=(IDLE_HZ, 0.8 * IDLE_HZ))
    assert agreement(slower, known.mask) >= ALL_BUT_ENDS


def test_knots_that_stand_out_are_not_all_of_the_cut() -> None:
    made = trace(CUTS, seconds=27)
    bands = made.bands.copy()
    knots = truth(made, [Cut(5, 5.6), Cut(12, 12.6), Cut(20, 20.6)])
    bands[knots] += 0.6  # nearly twice the power
    heard = hear_contact(replace(made, bands=bands, cutting=knots))
    assert agreement(made, heard.mask) >= ALL_BUT_ENDS


def test_another_machine_before_the_start_is_not_running_free() -> None:
    # A vacuum a third slower is followed until the router starts; it is softer by far.
    made = trace(CUTS, seconds=27)
    early = frame(2)
    rotation, bands = made.rotation_hz.copy(), made.bands.copy()
    rotation[:early] = IDLE_HZ * 2 / 3
    bands[:early] -= 4.0
    lead = made.lead.copy()
    lead[early:], lead[:early] = 14.0, -14.0
    router = np.arange(len(lead)) >= early
    heard = hear_contact(
        replace(made, rotation_hz=rotation, bands=bands, lead=lead, cutting=router)
    )
    assert np.mean(heard.mask[early:] == truth(made, CUTS)[early:]) >= ALL_BUT_ENDS


@pytest.mark.parametrize(("on_s", "dropped"), [(2.3, True), (0.5, False)])
def test_roaring_while_it_spins_up_is_no_cut(on_s: float, dropped: bool) -> None:
    made = trace([*CUTS, Cut(2.4, 2.9)], seconds=27, off=[Cut(0, on_s)])
    assert SPIN_UP_S > 0.5
    heard = hear_contact(made)
    assert heard.mask[frame(2.45) : frame(2.85)].any() != dropped
    assert heard.mask[frame(4.1) : frame(7.9)].all()


@pytest.mark.parametrize(("off_s", "dropped"), [(25.2, True), (27.5, False)])
def test_roaring_while_it_is_switched_off_is_no_cut(off_s: float, dropped: bool) -> None:
    made = trace([*CUTS, Cut(24.9, 25.2)], seconds=29, off=[Cut(off_s, 29)])
    heard = hear_contact(made)
    assert heard.mask[frame(24.95) : frame(25.15)].any() != dropped
    assert heard.mask[frame(18.1) : frame(22.9)].all()


def test_cuts_last_seconds_and_neither_a_moment_nor_a_minute() -> None:
    def cost(*cuts: Cut) -> float:
        return odd_length_cost(truth(trace([], seconds=80), list(cuts)), step_s=STEP_S)

    # By hand: half the square of ln(length / 6 s) over 0.9. Each end may be a frame off.
    assert cost(Cut(4, 10), Cut(20, 26)) == pytest.approx(0, abs=1e-3)
    assert cost(Cut(4, 7)) == pytest.approx((np.log(2) / 0.9) ** 2 / 2, abs=0.01)
    assert cost(Cut(4, 10), Cut(13, 13.5)) < 0.02  # a knot beside it says little
    assert cost(Cut(4, 7), Cut(7.5, 10)) < 0.02  # and a break inside nothing
    assert cost(Cut(4, 4.5), Cut(20, 20.5)) == cost(Cut(1, 76)) == 3


def test_a_rest_costs_nothing_until_it_is_far_longer_than_usual() -> None:
    def cost(*free: Cut) -> float:
        return long_free_cost(truth(trace([], seconds=120), list(free)), step_s=STEP_S)

    assert cost() == cost(Cut(2, 16), Cut(18, 24)) == 0
    assert cost(Cut(2, 12), Cut(20, 50)) == pytest.approx(np.log(2), abs=0.01)  # by hand: 30 / 15
    assert cost(Cut(2, 112)) == 1.5


def test_running_free_only_is_no_cut_whatever_is_guessed() -> None:
    rng = np.random.default_rng(3)
    for seed in range(6):
        made = trace([], seconds=20, seed=seed)
        guess = rng.random(len(made.lead)) < 0.5
        assert not hear_contact(replace(made, cutting=guess)).mask.any()
    assert CUT_APART > 3


def test_a_long_coast_that_sounds_like_the_cut_is_none() -> None:
    # Three seconds from full speed to a third of it: no load slows a router so far.
    made = trace([*CUTS, Cut(25, 28)], seconds=28)
    rotation = made.rotation_hz.copy()
    coast = slice(frame(25), None)
    rotation[coast] = IDLE_HZ * np.geomspace(1, 1 / 3, len(rotation[coast]))
    heard = hear_contact(replace(made, rotation_hz=rotation)).mask
    assert not heard[frame(25.4) :].any()
    assert np.mean(heard[: frame(25)] == truth(made, CUTS)[: frame(25)]) >= ALL_BUT_ENDS
