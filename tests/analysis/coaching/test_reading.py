"""One pass worked out: figures by hand, what is missing, and how often the intervals hold."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.coaching.reading import CutSetup, read_pass, travel
from analysis.coaching.uncertainty import U95_FACTOR
from analysis.coaching.verdict import Verdict
from analysis.cutting.bands import given_band
from analysis.errors import InputError
from analysis.hearing.passes import Span
from tests.analysis.coaching.passes import HALF_INCH, heard


def test_figures_by_hand() -> None:
    """604.2 mm of travel in 12 s of movement at 16,000 rpm, two flutes.

    50.35 mm/s over 533.33 teeth/s is 0.0944 mm per tooth, thinned by 0.66144 to 0.06244 mm.
    """
    reading = read_pass(heard(time_s=13, spindle_rpm=16_000, dwells=(Span(10.0, 11.0),)), HALF_INCH)
    assert reading.pass_feed_mm_s == pytest.approx(600 / 13, rel=1e-12)
    assert reading.feed_mm_s == pytest.approx(604.200 / 12, rel=1e-6)
    assert reading.chip_load_mm == pytest.approx(604.200 / 12 / (16_000 * 2 / 60), rel=1e-6)
    assert reading.chip_thickness_mm == pytest.approx(0.062444, abs=5e-7)
    assert reading.rim_speed_m_s == pytest.approx(10.6395, abs=5e-5)
    assert reading.verdict is Verdict.IN_THE_BAND
    # Stopped 5 s after entry: 5 s x 50.35 mm/s along.
    assert reading.dwell_positions_mm == pytest.approx((251.75,), abs=0.01)


def test_standing_still_does_not_move_the_places_along_the_edge() -> None:
    """Two dwells of 2 s in a pass of 12 s: 8 s of movement at 75.525 mm/s.

    The first comes 2 s after the entry; the second 6 s after it, of which 2 s stood still.
    """
    reading = read_pass(
        heard(time_s=12, spindle_rpm=16_000, dwells=(Span(7.0, 9.0), Span(11.0, 13.0))), HALF_INCH
    )
    assert reading.dwell_positions_mm == pytest.approx((151.05, 302.1), abs=0.01)


def test_the_stopwatch_feed_hides_a_dwell_and_the_verdict_does_not() -> None:
    steady = read_pass(heard(time_s=9, spindle_rpm=16_000), HALF_INCH)
    stopped = read_pass(heard(time_s=14, spindle_rpm=16_000, dwells=(Span(8, 13),)), HALF_INCH)
    assert stopped.pass_feed_mm_s == pytest.approx(600 / 14)
    assert stopped.feed_mm_s == pytest.approx(steady.feed_mm_s)
    assert stopped.verdict is steady.verdict


def test_a_pass_that_was_cut_off_is_reported_not_judged() -> None:
    reading = read_pass(heard(time_s=9, spindle_rpm=16_000, complete=False), HALF_INCH)
    assert reading.verdict is None
    assert reading.feed_mm_s is None
    assert reading.not_judged_because is not None
    assert "began or ended inside" in reading.not_judged_because


def test_a_touch_is_not_taken_for_a_pass() -> None:
    """604 mm in 0.8 s would be 755 mm/s, and no hand does that."""
    reading = read_pass(heard(time_s=0.8, spindle_rpm=16_000), HALF_INCH)
    assert reading.verdict is None
    assert reading.feed_mm_s is None
    assert reading.not_judged_because is not None
    assert "too short" in reading.not_judged_because


@pytest.mark.parametrize(
    ("missing", "word", "has_feed", "has_chip_load"),
    [
        ({"edge_length_mm": None}, "edge length", False, False),
        ({"flutes": None}, "flutes", True, False),
        ({"trim_allowance_mm": None}, "trim allowance", True, True),
        ({"material": None}, "material or a band", True, True),
        ({"bit_diameter_mm": None}, "diameter", True, True),
    ],
)
def test_what_is_not_told_is_named(
    missing: dict[str, None], word: str, has_feed: bool, has_chip_load: bool
) -> None:
    setup = replace(HALF_INCH, **missing)
    reading = read_pass(heard(time_s=9, spindle_rpm=16_000), setup)
    assert reading.verdict is None
    assert reading.not_judged_because is not None
    assert word in reading.not_judged_because
    assert (reading.feed_mm_s is not None) is has_feed
    assert (reading.chip_load_mm is not None) is has_chip_load


def test_an_unknown_allowance_widens_the_feed_to_hold_every_possible_approach() -> None:
    """Approach lies between 0 and the radius, so the feed between 600/9 and 606.35/9."""
    reading = read_pass(
        heard(time_s=9, spindle_rpm=16_000, time_u95_s=0.0),
        replace(HALF_INCH, trim_allowance_mm=None),
    )
    assert reading.feed_mm_s is not None
    assert reading.feed_u95_mm_s is not None
    assert reading.feed_mm_s - reading.feed_u95_mm_s < 600 / 9
    assert reading.feed_mm_s + reading.feed_u95_mm_s > 606.35 / 9


@pytest.mark.parametrize(
    ("changes", "travel_mm", "u95_mm"),
    [
        ({}, 604.2001, 0.6),  # a tenth of a percent of 600 mm
        ({"edge_length_mm": 300.0}, 304.2001, 0.5),  # half a millimetre at least
        ({"edge_length_u95_mm": 0.2}, 604.2001, 0.2),
        # The approach is anywhere from 0 to 6.35 mm: 3.175 +- 1.95996 x 3.175/sqrt(3).
        ({"trim_allowance_mm": None, "edge_length_u95_mm": 0.0}, 603.175, 3.5928),
    ],
)
def test_how_far_and_how_surely(
    changes: dict[str, float | None], travel_mm: float, u95_mm: float
) -> None:
    trip = travel(replace(HALF_INCH, **changes))  # type: ignore[arg-type]
    assert trip == pytest.approx((travel_mm, u95_mm), abs=1e-4)


def test_a_band_printed_with_the_bit_is_held_against_chip_thickness() -> None:
    """0.0944 mm per tooth is 0.0624 mm of chip: rubbing for a 0.08 to 0.15 mm bit."""
    setup = replace(HALF_INCH, band=given_band(low_mm=0.08, high_mm=0.15))
    assert read_pass(heard(time_s=12, spindle_rpm=16_000), setup).verdict is Verdict.RUBBING


def test_the_allowance_over_which_the_verdict_stands_reproduces_it_at_its_ends() -> None:
    reading = read_pass(heard(time_s=12, spindle_rpm=16_000), HALF_INCH)
    assert reading.verdict_holds_for_mm is not None
    low_mm, _ = reading.verdict_holds_for_mm
    edge = read_pass(
        heard(time_s=12, spindle_rpm=16_000), replace(HALF_INCH, trim_allowance_mm=low_mm)
    )
    # The approach is shorter at the lighter trim, by 0.9 mm of 604 at most.
    assert edge.chip_thickness_mm == pytest.approx(0.05, rel=1.5e-3)


@pytest.mark.parametrize(
    ("time_s", "verdict", "low_mm", "high_mm"),
    [
        # Chip load 0.0708 mm: rubbing until the trim thins it less than to 0.05.
        (16.0, Verdict.RUBBING, 0.0, 1.8559),
        # 0.2833 mm: overloading from where the trim lets 0.15 mm through.
        (4.0, Verdict.OVERLOADING, 0.9628, 12.7),
    ],
)
def test_where_a_verdict_ends(
    time_s: float, verdict: Verdict, low_mm: float, high_mm: float
) -> None:
    """a_e = D (1 - sqrt(1 - t**2))/2 for a thinning t = chip/chip load."""
    reading = read_pass(heard(time_s=time_s, spindle_rpm=16_000), HALF_INCH)
    assert reading.verdict is verdict
    assert reading.verdict_holds_for_mm == pytest.approx((low_mm, high_mm), abs=2e-3)


@pytest.mark.parametrize(
    ("wrong", "word"),
    [
        ({"edge_length_mm": 0.0}, "edge length"),
        ({"edge_length_mm": 3_000_000.0}, "edge length"),
        ({"flutes": -2}, "flutes"),
        ({"flutes": 0}, "flutes"),
        ({"bit_diameter_mm": float("nan")}, "bit diameter"),
        ({"trim_allowance_mm": 13.0}, "trim allowance"),
        ({"material": "unobtainium"}, "material"),
        ({"plate_range_rpm": (24_000.0, 8_000.0)}, "lowest speed first"),
    ],
)
def test_nonsense_is_refused(wrong: dict[str, object], word: str) -> None:
    with pytest.raises(InputError, match=word):
        replace(HALF_INCH, **wrong)  # type: ignore[arg-type]


@given(
    scale=st.floats(0.9, 1.1),
    time_s=st.floats(2, 60),
    spindle_rpm=st.floats(8_000, 30_000),
)
def test_a_phone_clock_that_is_off_cancels(scale: float, time_s: float, spindle_rpm: float) -> None:
    """Time and speed read off one clock: t grows as n shrinks, and n t stays."""
    true = read_pass(heard(time_s=time_s, spindle_rpm=spindle_rpm), HALF_INCH)
    off = read_pass(heard(time_s=time_s * scale, spindle_rpm=spindle_rpm / scale), HALF_INCH)
    assert off.chip_load_mm == pytest.approx(true.chip_load_mm, rel=1e-12)


def test_intervals_hold_and_verdicts_are_right_in_a_simulated_shop() -> None:
    """2,000 passes with normal errors of the stated size (seeded).

    Coverage of a 95 % interval over 2,000 draws has a standard error of 0.5 %: 93.5 to 96.5 %.
    Chip thickness spread evenly on a ratio scale from half the band's bottom to twice its top
    is as close to the limits as a shop gets; one sigma is 1 %.
    """
    rng = np.random.default_rng(3)
    covered = wrong = unsure = 0
    setup = CutSetup(
        edge_length_mm=600,
        edge_length_u95_mm=0.0,
        bit_diameter_mm=12.7,
        flutes=2,
        trim_allowance_mm=1.5875,
        material="hardwood",
    )
    count = 2_000
    for chip_mm in np.exp(rng.uniform(np.log(0.025), np.log(0.3), count)):
        chip_load_mm = chip_mm / 0.6614378277661477
        time_s = 604.2001302 / (chip_load_mm * 16_000 * 2 / 60)
        sigma_s = 0.01 * time_s
        reading = read_pass(
            heard(
                time_s=time_s + sigma_s * rng.standard_normal(),
                spindle_rpm=16_000,
                time_u95_s=U95_FACTOR * sigma_s,
                spindle_rpm_u95=0.0,
            ),
            setup,
        )
        assert reading.chip_load_mm is not None
        assert reading.chip_load_u95_mm is not None
        covered += abs(reading.chip_load_mm - chip_load_mm) <= reading.chip_load_u95_mm
        truth = (
            Verdict.RUBBING
            if chip_mm < 0.05
            else Verdict.OVERLOADING
            if chip_mm > 0.15
            else Verdict.IN_THE_BAND
        )
        unsure += reading.verdict is Verdict.UNSURE
        wrong += reading.verdict not in (truth, Verdict.UNSURE)
    assert 0.935 <= covered / count <= 0.965
    assert wrong / count <= 0.01
    assert unsure / count <= 0.10
