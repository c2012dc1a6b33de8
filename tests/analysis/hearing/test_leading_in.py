"""A spindle gives way the moment that the edge touches, long before chips are heard."""

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.hearing.leading_in import led_in
from tests.analysis.hearing.traces import STEP_S, bare_trace, lagging

FREE_HZ = 300.0
TOUCH, ENTRY, EXIT, COUNT = 200, 226, 400, 500  # frames; heard 0.6 s after the touch


def sagging(sag: float, *, lead_in: float = 0.6, spread: float = 1e-5) -> npt.NDArray[np.float64]:
    """Speed with a lead-in that takes so much of the sag, in a motor's lag of a tenth of a second.

    A first-order lag towards the speed that the load allows, with normal noise.
    """
    aim = np.full(COUNT, FREE_HZ)
    aim[TOUCH:ENTRY] *= 1 - lead_in * sag
    aim[ENTRY:EXIT] *= 1 - sag
    noise = spread * np.random.default_rng(5).normal(size=COUNT)
    return np.asarray(lagging(aim, lag_s=0.1) * np.exp(noise))


@pytest.mark.parametrize("sag", [0.003, 0.01, 0.1])
def test_an_entry_heard_late_is_put_back_to_the_first_touch(sag: float) -> None:
    ((first, end),) = led_in(bare_trace(sagging(sag)), [(ENTRY, EXIT)])
    assert abs(first - TOUCH) <= 2
    assert end == EXIT


def test_an_entry_that_was_heard_at_once_stays() -> None:
    ((first, _),) = led_in(bare_trace(sagging(0.01)), [(TOUCH, EXIT)])
    assert first == TOUCH


def test_a_speed_that_only_wanders_moves_no_entry() -> None:
    slow = 1 - 0.002 * np.sin(2 * np.pi * np.arange(COUNT) * STEP_S / 3.0)  # a third of a herz
    ((first, _),) = led_in(bare_trace(sagging(0.006, lead_in=0.0) * slow), [(ENTRY, EXIT)])
    assert first == ENTRY


def test_a_router_that_is_not_heard_before_says_nothing() -> None:
    speed = sagging(0.01)
    speed[TOUCH - 20 : TOUCH - 10] = np.nan
    assert led_in(bare_trace(speed), [(ENTRY, EXIT)]) == [(ENTRY, EXIT)]


@given(
    ends=st.lists(st.integers(1, COUNT - 1), min_size=2, max_size=8, unique=True),
    seed=st.integers(0, 9),
)
def test_stretches_only_grow_and_never_meet(ends: list[int], seed: int) -> None:
    rng = np.random.default_rng(seed)
    speed = FREE_HZ * np.exp(0.003 * np.cumsum(rng.normal(size=COUNT)))
    ends = sorted(ends)[: len(ends) // 2 * 2]
    stretches = list(zip(ends[::2], ends[1::2], strict=True))
    led = led_in(bare_trace(speed), stretches)
    assert [end for _, end in led] == [end for _, end in stretches]
    before = 0
    for (first, end), (was, _) in zip(led, stretches, strict=True):
        assert before <= first <= was
        before = end
