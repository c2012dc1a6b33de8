import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.hearing.answer import MOST_DEVIATIONS, spindle_answer

STEP_S = 0.0232
CUTS_S = ((4, 8), (11, 15), (18, 23))
MEETINGS = 2 * len(CUTS_S)

FloatArray = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]


def cut_mask(later_s: float = 0.0) -> Mask:
    time_s = STEP_S * np.arange(round(27 / STEP_S))
    mask = np.zeros(len(time_s), bool)
    for start_s, end_s in CUTS_S:
        mask |= (time_s >= start_s + later_s) & (time_s < end_s + later_s)
    return mask


def governed(*, sag: float, won_back_s: float, seed: int = 1) -> FloatArray:
    """A motor of first order that is slowed by the cut, its governor winning the loss back."""
    droop, loss = 0.0, 0.0
    ln_hz = np.random.default_rng(seed).normal(np.log(300), 2e-4, len(cut_mask()))
    for i, cutting in enumerate(cut_mask()):
        droop += (sag * cutting - droop) * STEP_S / won_back_s  # what the governor has learned
        loss += (sag * cutting - droop - loss) * STEP_S / 0.15
        ln_hz[i] -= loss
    return np.exp(ln_hz)


@pytest.mark.parametrize("won_back_s", [0.8, 1e9], ids=["governed", "open loop"])
def test_a_spindle_answers_its_own_cuts(won_back_s: float) -> None:
    heard = governed(sag=0.01, won_back_s=won_back_s)
    answer = spindle_answer(heard, cut_mask(), step_s=STEP_S)
    assert answer > 0.9 * MOST_DEVIATIONS * MEETINGS**0.5


def test_states_named_the_wrong_way_round_are_answered_backwards() -> None:
    heard = governed(sag=0.01, won_back_s=0.8)
    right, wrong = (spindle_answer(heard, m, step_s=STEP_S) for m in (cut_mask(), ~cut_mask()))
    assert wrong == pytest.approx(-right)


def test_it_does_not_answer_another_machines_cuts() -> None:
    """Whose meetings come while this one is in the middle of its own cuts and breaks."""
    heard = governed(sag=0.003, won_back_s=0.3)
    assert abs(spindle_answer(heard, cut_mask(later_s=1.8), step_s=STEP_S)) < 3


@given(st.integers(0, 2**32 - 1))
def test_a_steady_machine_does_not_answer(seed: int) -> None:
    """By its definition about standard normal: beyond five once in a million."""
    heard = np.exp(np.random.default_rng(seed).normal(np.log(300), 1e-3, len(cut_mask())))
    assert abs(spindle_answer(heard, cut_mask(), step_s=STEP_S)) < 5


def test_meetings_at_which_it_is_off_say_nothing() -> None:
    heard = governed(sag=0.01, won_back_s=0.8)
    heard[np.convolve(cut_mask(), np.ones(41), "same") % 41 != 0] = np.nan
    assert spindle_answer(heard, cut_mask(), step_s=STEP_S) == 0
    assert spindle_answer(np.full(len(heard), np.nan), cut_mask(), step_s=STEP_S) == 0


@pytest.mark.parametrize("frames", [0, 1, 5, 40])
def test_a_stretch_too_short_says_nothing(frames: int) -> None:
    assert spindle_answer(np.full(frames, 300.0), np.zeros(frames, bool), step_s=STEP_S) == 0
