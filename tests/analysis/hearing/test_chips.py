from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.hearing.chips import (
    ENTRY_U95_S,
    EXIT_U95_S,
    LONGEST_RISE_S,
    NEARBY_S,
    SPAN_END_U95_S,
    WORST_APART,
    chip_stretches,
)
from analysis.hearing.trace import Trace
from tests.analysis.hearing.traces import BANDS, CUT_HZ, IDLE_HZ, STEP_S, Cut, frame, trace

CUTS = [Cut(4, 9), Cut(13, 19)]
STRETCHES = [(frame(4), frame(9)), (frame(13), frame(19))]


def contact(made: Trace) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    mask = np.zeros(len(made.lead), bool)
    for first, end in STRETCHES:
        mask[first:end] = True
    return mask


def quieter(made: Trace, where: Cut, *, share: float) -> Trace:
    """Chips that hiss less: only so far on the way to the cut."""
    bands = made.bands.copy()
    loud = 1.2 * np.linspace(0.5, 1.5, BANDS)
    bands[frame(where.start_s) : frame(where.end_s)] -= ((1 - share) * loud).astype(np.float32)
    return replace(made, bands=bands)


# Well short of RISEN (0.3 of the way), beyond which the chips are said to fly again.
@given(share=st.floats(-0.1, 0.2), start_s=st.floats(14, 17), length_s=st.floats(0.3, 1.5))
@settings(max_examples=25, deadline=None)
def test_where_the_chips_stop_inside_a_cut_is_found(
    share: float, start_s: float, length_s: float
) -> None:
    made = quieter(trace(CUTS, seconds=22), Cut(start_s, start_s + length_s), share=share)
    told = chip_stretches(made, contact(made), STRETCHES).stretches
    assert len(told) == 3
    (_, a), (b, _) = told[1:]
    assert a * STEP_S == pytest.approx(start_s, abs=3 * STEP_S)
    assert b * STEP_S == pytest.approx(start_s + length_s, abs=3 * STEP_S)


def test_a_feed_that_wanders_is_no_stop() -> None:
    # A tenth less feed: with chip noise as the 0.7th power some 0.15 nepers of power.
    made = quieter(trace(CUTS, seconds=22), Cut(15, 16), share=0.87)
    assert len(chip_stretches(made, contact(made), STRETCHES).stretches) == 2


def relieved_inside(*, teeth: float) -> Trace:
    """From 15 to 16.5 s nine tenths of the sag are won back and the teeth are that much quieter."""
    made = trace(CUTS, seconds=22)
    rotation_hz, sounding = made.rotation_hz.copy(), made.teeth.copy()
    rotation_hz[frame(15) : frame(16.5)] = CUT_HZ + 0.9 * (IDLE_HZ - CUT_HZ)
    sounding[frame(15) : frame(16.5)] -= np.float32(teeth)
    return replace(made, rotation_hz=rotation_hz, teeth=sounding)


def test_an_edge_that_rubs_as_loud_as_it_cuts_is_told_by_its_speed() -> None:
    """The bands don't change, so the ends stay rough."""
    made = relieved_inside(teeth=1.5)
    (_, a), (b, _) = chip_stretches(made, contact(made), STRETCHES).stretches[1:]
    assert a * STEP_S == pytest.approx(15, abs=NEARBY_S + 2 * STEP_S)
    assert b * STEP_S == pytest.approx(16.5, abs=NEARBY_S + 2 * STEP_S)


def test_where_chips_and_teeth_sound_as_ever_a_speed_won_back_is_a_course_astray() -> None:
    made = relieved_inside(teeth=0.0)
    assert len(chip_stretches(made, contact(made), STRETCHES).stretches) == 2


def test_a_break_in_which_chips_fly_all_the_same_is_none() -> None:
    made = trace(CUTS, seconds=22)
    mask = contact(made)
    gap = (frame(15), frame(15.5))
    mask[slice(*gap)] = False
    parts = [STRETCHES[0], (STRETCHES[1][0], gap[0]), (gap[1], STRETCHES[1][1])]
    assert len(chip_stretches(made, mask, parts).stretches) == 2


def test_a_slow_pass_hisses_less_all_along_and_is_still_one() -> None:
    made = quieter(trace(CUTS, seconds=22), CUTS[1], share=0.6)
    assert len(chip_stretches(made, contact(made), STRETCHES).stretches) == 2


@pytest.mark.parametrize("off_frames", [-5, -3, 0, 3, 5])
def test_an_end_told_late_or_early_is_put_right(off_frames: int) -> None:
    made = trace(CUTS, seconds=22)
    moved = [(first + off_frames, end + off_frames) for first, end in STRETCHES]
    told = chip_stretches(made, contact(made), moved).stretches
    assert np.abs(np.array(told) - np.array(STRETCHES)).max() <= 1


def test_where_the_chips_grow_slowly_the_entry_is_where_they_begin() -> None:
    # A large bit at a slow feed: a fifth of a second from first contact to the whole chip.
    made = trace(CUTS, seconds=22, spread=0.1)
    bands = made.bands.copy()
    growing = slice(frame(13), frame(13.2))
    missing = np.linspace(1, 0, growing.stop - growing.start)[:, None]
    bands[growing] -= (missing * 1.2 * np.linspace(0.5, 1.5, BANDS)).astype(np.float32)
    held = replace(made, bands=bands, rotation_hz=np.full(len(bands), IDLE_HZ))
    told = chip_stretches(held, contact(made), STRETCHES).stretches
    # At three tenths of the way; half way would be 0.1 s late.
    assert told[1][0] * STEP_S == pytest.approx(13.06, abs=2 * STEP_S)
    # A spindle that gives way shows the first contact itself.
    told = chip_stretches(replace(made, bands=bands), contact(made), STRETCHES).stretches
    assert told[1][0] * STEP_S == pytest.approx(13.0, abs=STEP_S)


@given(cuts=st.lists(st.integers(1, 12), min_size=4, max_size=12), seed=st.integers(0, 99))
@settings(max_examples=40, deadline=None)
def test_ends_never_cross(cuts: list[int], seed: int) -> None:
    made = trace(CUTS, seconds=22, seed=seed, spread=0.6)
    at = frame(14) + np.cumsum(cuts[: len(cuts) // 2 * 2])
    pieces = [(int(a), int(b)) for a, b in zip(at[::2], at[1::2], strict=True)]
    told = chip_stretches(made, contact(made), [STRETCHES[0], *pieces]).stretches
    ends = [end for stretch in told for end in stretch]
    assert ends == sorted(ends)
    assert all(a < b for a, b in told)
    assert all(b < a for (_, b), (a, _) in pairwise(told))


def test_bands_that_say_little_change_nothing_and_widen_the_interval() -> None:
    plain = trace(CUTS, seconds=22)
    faint = trace(CUTS, seconds=22, louder=0.05)
    moved = [(first + 3, end + 3) for first, end in STRETCHES]
    told = chip_stretches(faint, contact(faint), moved)
    assert list(told.stretches) == moved
    for ends_u95_s, (least_s, more) in (
        (told.entry_u95_s, ENTRY_U95_S),
        (told.exit_u95_s, EXIT_U95_S),
    ):
        assert ends_u95_s == (least_s + more * LONGEST_RISE_S,) * 2
    assert told.span_end_u95_s == SPAN_END_U95_S[0] + SPAN_END_U95_S[1] / WORST_APART
    sharp = chip_stretches(plain, contact(plain), STRETCHES)
    assert max(sharp.entry_u95_s) < told.entry_u95_s[0] / 2
    assert max(sharp.exit_u95_s) < told.exit_u95_s[0] / 2


def test_an_exit_that_dies_away_slowly_is_known_less_well() -> None:
    made = trace(CUTS, seconds=22, spread=0.1)
    bands = made.bands.copy()
    dying = slice(frame(9), frame(9.25))
    echo = np.linspace(0.9, 0, dying.stop - dying.start)[:, None]
    bands[dying] += (echo * 1.2 * np.linspace(0.5, 1.5, BANDS)).astype(np.float32)
    told = chip_stretches(replace(made, bands=bands), contact(made), STRETCHES)
    # From 0.7 to 0.15 of the hiss takes 0.55 / 0.9 of a quarter of a second, or a frame.
    fall_s = 0.55 / 0.9 * 0.25 - STEP_S
    assert told.exit_u95_s[0] - told.exit_u95_s[1] == pytest.approx(
        EXIT_U95_S[1] * fall_s, abs=3 * EXIT_U95_S[1] * STEP_S
    )
    assert told.entry_u95_s[0] == pytest.approx(told.entry_u95_s[1], abs=2 * 0.6 * STEP_S)


def test_without_running_free_nothing_is_said() -> None:
    made = trace([Cut(0, 20)], seconds=20)
    everywhere = np.ones(len(made.lead), bool)
    whole = [(0, len(made.lead))]
    assert list(chip_stretches(made, everywhere, whole).stretches) == whole


def test_no_contact_has_no_chips() -> None:
    made = trace([], seconds=10)
    assert chip_stretches(made, np.zeros(len(made.lead), bool), []).stretches == ()
