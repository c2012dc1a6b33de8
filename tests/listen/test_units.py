"""Lengths and speeds in, exactly; the person's own units out."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.coaching.wording import Units
from listen.units import (
    Length,
    UnitsError,
    parse_length_range,
    parse_rpm,
    parse_rpm_range,
    show_length,
)

# The inch is 25.4 mm exactly since the international agreement of 1959 (common knowledge).
INCH = Fraction(254, 10)


@pytest.mark.parametrize(
    ("text", "mm", "units"),
    [
        ("600mm", Fraction(600), Units.MM),
        ("60 cm", Fraction(600), Units.MM),
        ("0.6m", Fraction(600), Units.MM),
        ("1,6mm", Fraction(8, 5), Units.MM),
        ("24in", 24 * INCH, Units.INCH),
        ('24"', 24 * INCH, Units.INCH),
        ("24″", 24 * INCH, Units.INCH),
        ("24''", 24 * INCH, Units.INCH),
        (".5 inch", INCH / 2, Units.INCH),
        ("1/2in", INCH / 2, Units.INCH),
        ("1-1/2 in", INCH * 3 / 2, Units.INCH),
        ("1 1/2in", INCH * 3 / 2, Units.INCH),
        ("1½in", INCH * 3 / 2, Units.INCH),
        ("½ in", INCH / 2, Units.INCH),
        ("1ft 3in", 15 * INCH, Units.INCH),
        ("1' 3-1/2\"", 15 * INCH + INCH / 2, Units.INCH),
        ("2 ft", 24 * INCH, Units.INCH),
        ("5thou", INCH * 5 / 1000, Units.INCH),
        ("-5mm", Fraction(-5), Units.MM),
    ],
)
def test_lengths_are_read_exactly(text: str, mm: Fraction, units: Units) -> None:
    assert Length.parse(text) == Length(mm, units)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("600", r"has no unit\. Write 600mm for millimetres or 600in for inches"),
        ("12 parsecs", r'don\'t know the unit "parsecs"'),
        ("", r"A length is missing"),
        ("mm", r"not a length I can read"),
        ("1.5.2mm", r"not a length I can read"),
        ("1in 2in", r"not a length I can read"),
        ("24 in 3", r"not a length I can read"),
        ("nanmm", r"not a length I can read"),
        ("²mm", r"not a length I can read"),
        ("1/0in", r"divides by zero"),
        ("1,600mm", r"can be read two ways\. Write 1600mm or 1\.600mm"),
        ("9" * 5000 + "mm", r"A length of 5002 characters"),
    ],
)
def test_what_is_no_length_is_refused_with_what_to_write(text: str, message: str) -> None:
    with pytest.raises(UnitsError, match=message):
        Length.parse(text)


@given(st.text(max_size=80))
def test_any_text_is_a_length_or_a_refusal(text: str) -> None:
    try:
        length = Length.parse(text)
    except UnitsError:
        return
    assert isinstance(length.mm, Fraction)


@given(whole=st.integers(0, 200), top=st.integers(1, 63), dash=st.sampled_from(["-", " ", " - "]))
def test_inches_shown_by_the_fraction_read_back_exactly(whole: int, top: int, dash: str) -> None:
    written = f"{whole}{dash}{top}/64in"
    length = Length.parse(written)
    assert length.mm == (whole + Fraction(top, 64)) * INCH
    assert Length.parse(show_length(length.mm, Units.INCH)) == length


@given(hundredths=st.integers(1, 1_000_000))
def test_millimetres_to_the_hundredth_read_back_exactly(hundredths: int) -> None:
    mm = Fraction(hundredths, 100)
    assert Length.parse(show_length(mm, Units.MM)).mm == mm


@given(mm=st.floats(0.05, 10_000))
def test_shown_inches_stay_within_half_a_thousandth(mm: float) -> None:
    shown = Length.parse(show_length(mm, Units.INCH))
    assert abs(float(shown.mm) - mm) <= 25.4 * 0.00051


@pytest.mark.parametrize(
    ("text", "low_mm", "high_mm"),
    [
        ("0.08mm-0.15mm", Fraction(8, 100), Fraction(15, 100)),
        ("0.08-0.15mm", Fraction(8, 100), Fraction(15, 100)),
        ("0.08mm – 0.15mm", Fraction(8, 100), Fraction(15, 100)),
        (".003in-.006in", INCH * 3 / 1000, INCH * 6 / 1000),
        ("0.003 to 0.006 in", INCH * 3 / 1000, INCH * 6 / 1000),
        ("3thou-6thou", INCH * 3 / 1000, INCH * 6 / 1000),
        ("1/64in-1/32in", INCH / 64, INCH / 32),
        ("1-1/2in-2in", INCH * 3 / 2, INCH * 2),
    ],
)
def test_bands_are_read(text: str, low_mm: Fraction, high_mm: Fraction) -> None:
    low, high = parse_length_range(text)
    assert (low.mm, high.mm) == (low_mm, high_mm)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("0.15mm-0.08mm", "from a smaller to a larger"),
        ("0.1mm-0.1mm", "from a smaller to a larger"),
        ("0.08-0.15", "has no unit"),
        ("0.08mm", "not a range of lengths"),
        ("wide", "not a range of lengths"),
        ("-" * 10_000, "not a range of lengths"),
    ],
)
def test_what_is_no_band_is_refused(text: str, message: str) -> None:
    with pytest.raises(UnitsError, match=message):
        parse_length_range(text)


@pytest.mark.parametrize(
    "text", ["18000", "18,000", "18 000", "18'000", "18k", "18.0k", "18000rpm", "18,000 RPM"]
)
def test_speeds_are_read(text: str) -> None:
    assert parse_rpm(text) == 18_000


@pytest.mark.parametrize(
    "text", ["8000-24000", "8,000-24,000", "8k-24k", "8 000 – 24 000 rpm", "8000 to 24000"]
)
def test_plate_ranges_are_read(text: str) -> None:
    assert parse_rpm_range(text) == (8_000, 24_000)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("24000-8000", "from the lower speed to the higher"),
        ("8000", "not a range of speeds"),
        ("8000-24000-3", "not a range of speeds"),
        ("slow-fast", "not a spindle speed"),
        ("1,80-24000", "not a spindle speed"),
    ],
)
def test_what_is_no_plate_range_is_refused(text: str, message: str) -> None:
    with pytest.raises(UnitsError, match=message):
        parse_rpm_range(text)
