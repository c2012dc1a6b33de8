"""What the coach says, and what it must never say."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.coaching.advice import Step, advise
from analysis.coaching.reading import read_pass, working_band
from analysis.coaching.verdict import Verdict
from analysis.coaching.wording import Units
from analysis.cutting.bands import HAND_FEED_MM_S
from analysis.cutting.geometry import feed_per_tooth
from analysis.dial.fitting import fit_curve
from analysis.dial.settings import parse_settings
from analysis.hearing.passes import Span
from tests.analysis.coaching.passes import HALF_INCH, heard


def advice_text(units: Units = Units.MM, **pass_: object) -> str:
    return advise(read_pass(heard(**pass_), HALF_INCH), HALF_INCH, units).text  # type: ignore[arg-type]


def test_too_slow_is_told_the_time_to_aim_at() -> None:
    assert advice_text(time_s=20, spindle_rpm=16_000) == (
        "Rubbing, so feed faster: aim for 7 to 13 s, you took 20 s."
    )


def test_rubbing_at_high_speed_turns_down_first() -> None:
    advice = advise(read_pass(heard(time_s=14, spindle_rpm=27_000), HALF_INCH), HALF_INCH, Units.MM)
    assert advice.step is Step.TURN_DOWN
    assert advice.turn_to_rpm is not None
    assert 14_000 <= advice.turn_to_rpm <= 18_000


def test_a_calibrated_dial_says_where_to_turn() -> None:
    """Hand arithmetic: a straight dial of 2,000 rpm a step from 8,000 at 1."""
    dial = fit_curve(
        settings=parse_settings("1..9"),
        speeds_rpm=[8_000.0 + 2_000 * step for step in range(9)],
        speeds_u95_rpm=[1.0] * 9,
    )
    setup = replace(HALF_INCH, dial=dial)
    advice = advise(read_pass(heard(time_s=14, spindle_rpm=27_000), setup), setup, Units.MM)
    assert advice.turn_to_rpm is not None
    assert f"(dial at {1 + (advice.turn_to_rpm - 8_000) / 2_000:.2g})" in advice.text


def test_above_26_000_turning_down_comes_first_even_for_an_easy_feed() -> None:
    """Half the bit in the wood: 0.057 mm at 27,000 rpm needs no more than 51 mm/s."""
    setup = replace(HALF_INCH, trim_allowance_mm=6.35, plate_range_rpm=(10_000.0, 30_000.0))
    advice = advise(read_pass(heard(time_s=20, spindle_rpm=27_000), setup), setup, Units.MM)
    assert advice.step is Step.TURN_DOWN


def test_too_slow_a_spindle_is_turned_up() -> None:
    """One flute, buried, at 8,000 rpm: the band's top is 10 mm/s, slower than a steady hand."""
    setup = replace(HALF_INCH, trim_allowance_mm=12.7, flutes=1)
    advice = advise(read_pass(heard(time_s=8, spindle_rpm=8_000), setup), setup, Units.MM)
    assert advice.step is Step.TURN_UP
    assert advice.turn_to_rpm is not None
    assert advice.turn_to_rpm > 8_000


def test_a_dwell_is_told_with_its_place() -> None:
    text = advice_text(time_s=10, spindle_rpm=16_000, dwells=(Span(8.0, 8.8),))
    # 3 s after entry at 604.2 mm in 9.2 s.
    assert "You stopped for 0.8 s at about 197 mm: burn risk." in text


def test_inches_for_those_who_work_in_inches() -> None:
    text = advice_text(Units.INCH, time_s=10, spindle_rpm=16_000, dwells=(Span(8.0, 8.8),))
    assert "at about 7-3/4 in" in text
    assert "mm" not in text


def test_above_the_marked_maximum_nothing_else_matters() -> None:
    setup = replace(HALF_INCH, bit_max_rpm=18_000.0)
    advice = advise(read_pass(heard(time_s=9, spindle_rpm=18_001), setup), setup, Units.MM)
    assert advice.step is Step.OBEY_MARKING
    assert "Stop" in advice.text


@given(
    time_s=st.floats(1, 120),
    spindle_rpm=st.floats(8_000, 32_000),
    share=st.floats(0.02, 1.0),
    diameter_mm=st.floats(3, 50),
    flutes=st.integers(1, 4),
    plate=st.sampled_from([None, (8_000.0, 24_000.0), (10_000.0, 30_000.0)]),
    bit_max_rpm=st.sampled_from([None, 16_000.0, 24_000.0]),
)
def test_advice_is_safe_holdable_and_true(
    time_s: float,
    spindle_rpm: float,
    share: float,
    diameter_mm: float,
    flutes: int,
    plate: tuple[float, float] | None,
    bit_max_rpm: float | None,
) -> None:
    """Any speed stays inside range and marking; any pace is holdable and lands in the band."""
    setup = replace(
        HALF_INCH,
        bit_diameter_mm=diameter_mm,
        trim_allowance_mm=share * diameter_mm,
        flutes=flutes,
        plate_range_rpm=plate,
        bit_max_rpm=bit_max_rpm,
    )
    reading = read_pass(heard(time_s=time_s, spindle_rpm=spindle_rpm), setup)
    advice = advise(reading, setup, Units.MM)
    assert advice.text
    if advice.turn_to_rpm is not None:
        assert advice.turn_to_rpm <= (bit_max_rpm or 30_000)
        if advice.step is not Step.OBEY_MARKING:
            low_rpm, high_rpm = plate or (0, 24_000)
            assert low_rpm <= advice.turn_to_rpm <= high_rpm
    if advice.aim_low_s is None or advice.aim_high_s is None:
        return
    band, thinning = working_band(setup), setup.thinning
    assert band is not None
    assert thinning is not None
    assert reading.travel_mm is not None
    assert advice.aim_low_s < advice.aim_high_s
    for aim_s in (advice.aim_low_s, advice.aim_high_s):
        feed_mm_s = reading.travel_mm / aim_s
        assert HAND_FEED_MM_S[0] - 1e-6 <= feed_mm_s <= HAND_FEED_MM_S[1] + 1e-6
        chip_mm = thinning * feed_per_tooth(
            feed_mm_s=feed_mm_s,
            spindle_rpm=advice.turn_to_rpm or spindle_rpm,
            flutes=flutes,
        )
        assert band.low_mm <= chip_mm <= band.high_mm


@pytest.mark.parametrize("verdict", [Verdict.RUBBING, Verdict.OVERLOADING])
def test_the_aim_lies_on_the_right_side(verdict: Verdict) -> None:
    time_s = 30.0 if verdict is Verdict.RUBBING else 3.0
    reading = read_pass(heard(time_s=time_s, spindle_rpm=16_000), HALF_INCH)
    assert reading.verdict is verdict
    advice = advise(reading, HALF_INCH, Units.MM)
    assert advice.aim_low_s is not None
    assert advice.aim_high_s is not None
    if verdict is Verdict.RUBBING:
        assert advice.aim_high_s < time_s
    else:
        assert advice.aim_low_s > time_s


@pytest.mark.parametrize(("time_u95_s", "opening"), [(0.2, "Too close"), (2.5, "Hard to time")])
def test_why_a_verdict_is_unsure_is_told(time_u95_s: float, opening: str) -> None:
    passed = heard(time_s=5, spindle_rpm=16_000, time_u95_s=time_u95_s)
    reading = read_pass(passed, HALF_INCH)
    assert reading.verdict is Verdict.UNSURE
    assert advise(reading, HALF_INCH, Units.MM).text.startswith(opening)


def test_what_is_too_close_to_call_is_not_called_rubbing() -> None:
    """Four flutes at 23,000 rpm: no hand can feed so fast, and the dial must come down anyway."""
    setup = replace(
        HALF_INCH, edge_length_mm=683.0, bit_diameter_mm=9.525, flutes=4, trim_allowance_mm=0.5,
        plate_range_rpm=(10_000.0, 25_000.0),
    )  # fmt: skip
    reading = read_pass(heard(time_s=3.95, spindle_rpm=23_109), setup)
    assert reading.verdict is Verdict.UNSURE
    advice = advise(reading, setup, Units.MM)
    assert advice.step is Step.TURN_DOWN
    assert advice.text.startswith("Perhaps rubbing: turn down first, to about 10,000 rpm")
