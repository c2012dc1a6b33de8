"""A take is parted where the dial was turned, and only there."""

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.hearing.settings import between_turns
from analysis.hearing.touching import hear_contact
from analysis.hearing.trace import Trace
from tests.analysis.hearing.traces import STEP_S, Cut, bare_trace, frame, trace

CUTS = [Cut(3, 8), Cut(11, 17), Cut(26, 31), Cut(34, 40)]
SECONDS, TURN_S = 44.0, 21.0


def turned(ratio: float, *, sag: float = 0.1) -> Trace:
    """Four cuts by a motor that sags; between the second and the third the dial is turned."""
    made = trace(CUTS, seconds=SECONDS)
    time_s = STEP_S * np.arange(len(made.bands))
    in_cut = np.any([(time_s > c.start_s) & (time_s < c.end_s) for c in CUTS], axis=0)
    setting: npt.NDArray[np.float64] = np.interp(time_s, [TURN_S, TURN_S + 0.5], [1.0, ratio])
    return replace(made, rotation_hz=300 * setting * np.where(in_cut, 1 - sag, 1.0))


@pytest.mark.parametrize("ratio", [0.7, 0.9, 1.1, 1.4])
def test_a_turn_of_the_dial_parts_a_take(ratio: float) -> None:
    before, after = between_turns(turned(ratio))
    assert before.stop == after.start
    assert before.stop * STEP_S == pytest.approx(TURN_S + 0.25, abs=0.6)


def test_a_motor_that_sags_in_every_cut_has_one_setting() -> None:
    made = turned(1.0, sag=0.2)
    assert between_turns(made) == [slice(0, len(made.bands))]


def test_a_take_in_which_nothing_turns_is_one_part() -> None:
    made = replace(turned(1.0), rotation_hz=np.full(frame(SECONDS), np.nan))
    assert between_turns(made) == [slice(0, frame(SECONDS))]


@given(st.lists(st.floats(100, 400), min_size=1, max_size=6), st.integers(20, 400))
def test_parts_follow_each_other_without_gaps(speeds: list[float], frames: int) -> None:
    rotation_hz = np.repeat(speeds, frames)
    parts = between_turns(bare_trace(rotation_hz))
    assert np.concatenate([np.arange(p.start, p.stop) for p in parts]).tolist() == list(
        range(len(rotation_hz))
    )


def test_where_the_turn_changes_the_sound_as_much_as_a_cut_each_setting_is_heard_alone() -> None:
    # At the second setting all is louder by more than the chips are.
    made = turned(1.4)
    bands = made.bands.copy()
    bands[frame(TURN_S) :] += np.float32(2.5)
    contact = hear_contact(replace(made, bands=bands)).mask
    for cut in CUTS:
        assert np.mean(contact[frame(cut.start_s + 0.2) : frame(cut.end_s - 0.2)]) > 0.9
    for first, end in ((8.5, 10.5), (17.5, 25.5), (31.5, 33.5)):
        assert np.mean(contact[frame(first) : frame(end)]) < 0.1
