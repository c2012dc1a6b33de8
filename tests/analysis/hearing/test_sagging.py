"""A motor without a governor takes a while to win its speed back."""

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.hearing.sagging import relieved, won_back
from analysis.hearing.trace import Trace
from tests.analysis.hearing.traces import STEP_S, bare_trace, lagging

FREE_HZ = 300.0
ENTRY, EXIT, COUNT = 200, 420, 600  # frames


def trace_of(rotation_hz: npt.NDArray[np.float64], *, apart: float = 1e-4) -> Trace:
    noise = 1e-4 * np.random.default_rng(3).normal(size=len(rotation_hz))
    return replace(bare_trace(rotation_hz, apart=apart), rotation_hz=rotation_hz * np.exp(noise))


def loaded(*, sag: float) -> npt.NDArray[np.float64]:
    load = np.full(COUNT, FREE_HZ)
    load[ENTRY:EXIT] *= 1 - sag
    return load


@pytest.mark.parametrize("lag_s", [0.2, 0.4])
def test_a_break_is_read_once_three_quarters_of_the_sag_are_won_back(lag_s: float) -> None:
    trace = trace_of(lagging(loaded(sag=0.2), lag_s=lag_s))
    contact = np.zeros(COUNT, bool)
    contact[ENTRY:EXIT] = True
    settled = won_back(trace, contact)
    # Of a first-order lag a quarter is left after ln 4 of its times; in ln speed hardly less.
    assert (settled(EXIT, COUNT) - EXIT) * STEP_S == pytest.approx(np.log(4) * lag_s, rel=0.15)
    assert settled(EXIT, EXIT + 10) == EXIT + 6  # at most three fifths of a short one


def test_a_governed_motors_break_is_read_from_its_beginning() -> None:
    contact = np.zeros(COUNT, bool)
    contact[ENTRY:EXIT] = True
    settled = won_back(trace_of(lagging(loaded(sag=0.02), lag_s=0.4)), contact)
    assert settled(EXIT, COUNT) == EXIT


def in_contact() -> npt.NDArray[np.bool_]:
    contact = np.zeros(COUNT, bool)
    contact[ENTRY:EXIT] = True
    return contact


@given(sag=st.floats(0.01, 0.3), left=st.floats(0, 1))
def test_what_is_won_back_of_the_sag_is_its_share(sag: float, left: float) -> None:
    load = loaded(sag=sag)
    load[ENTRY + 100 : ENTRY + 140] = FREE_HZ * (1 - sag) ** left
    share = relieved(trace_of(load), in_contact(), [(ENTRY, EXIT)])
    assert np.median(share[ENTRY : ENTRY + 90]) == pytest.approx(0, abs=0.05)
    assert np.median(share[ENTRY + 105 : ENTRY + 135]) == pytest.approx(1 - left, abs=0.05)


def test_each_pass_is_held_against_its_own_speed() -> None:
    """The dial is turned between two passes, by more than the sag."""
    load = loaded(sag=0.05)
    load[310:] *= 0.8
    load[280:340] /= 0.95
    contact = in_contact()
    contact[280:340] = False
    share = relieved(trace_of(load), contact, [(ENTRY, 280), (340, EXIT)])
    for first, end in ((ENTRY + 5, 275), (345, EXIT - 5)):
        assert np.abs(share[first:end]).max() < 0.1


def test_a_governor_that_wins_its_speed_back_in_the_cut_says_nothing() -> None:
    load = loaded(sag=0.02)
    load[ENTRY + 120 : EXIT] = FREE_HZ
    share = relieved(trace_of(load), in_contact(), [(ENTRY, EXIT)])
    assert not share.any()


def test_where_the_speed_wanders_as_much_by_itself_it_says_nothing() -> None:
    wander = np.exp(0.01 * np.sin(np.arange(COUNT) / 30))
    share = relieved(trace_of(loaded(sag=0.02) * wander), in_contact(), [(ENTRY, EXIT)])
    assert not share.any()
