"""Cutting figures printed elsewhere, and what the trade does as a matter of course.

Sources are named beside each check. A printed figure is matched to half a unit of its last
digit. "[memory]" marks a value that was not looked up again.
"""

import math

import pytest
from uncertainties import ufloat

from analysis.coaching.reading import CutSetup, read_pass
from analysis.coaching.uncertainty import U95_FACTOR, Factor, chances, product_u95
from analysis.coaching.verdict import Verdict
from analysis.cutting.bands import MaterialClass, hand_feed_band
from analysis.cutting.geometry import (
    chip_thinning,
    cusp_height,
    engagement_angle,
    feed_for,
    feed_per_tooth,
    marks_per_25_mm,
    mean_chip_share,
    rim_speed,
)
from analysis.cutting.pace import TRIMMING, easy_speed
from tests.analysis.coaching.passes import HALF_INCH, heard

MM_PER_INCH = 25.4


@pytest.mark.parametrize(
    ("inch_per_min", "spindle_rpm", "flutes", "printed_inch", "half_digit_inch"),
    [
        (250, 18_000, 2, 0.007, 0.0005),  # chip-load chart of a toolmaker (maker C)
        (180, 18_000, 2, 0.0050, 0.00005),  # the same
        (100, 10_000, 2, 0.005, 0.0005),  # feed table of a tool merchant
        (300, 15_000, 2, 0.010, 0.0005),  # the same
        (600, 18_000, 2, 0.017, 0.0005),  # the same
        (300, 12_000, 3, 0.008, 0.0005),  # the same
    ],
)
def test_printed_feed_per_tooth(
    inch_per_min: float,
    spindle_rpm: float,
    flutes: int,
    printed_inch: float,
    half_digit_inch: float,
) -> None:
    chip_load_mm = feed_per_tooth(
        feed_mm_s=inch_per_min * MM_PER_INCH / 60, spindle_rpm=spindle_rpm, flutes=flutes
    )
    assert chip_load_mm / MM_PER_INCH == pytest.approx(printed_inch, abs=half_digit_inch)


@pytest.mark.parametrize(
    ("chip_load_mm", "printed_mm_min"),
    [
        (0.1, 3_600),  # worked example of a trade page on routing: 18,000, two edges
        (0.25, 9_000),  # worked example of a machine-trade article on burning: the same
    ],
)
def test_printed_feeds(chip_load_mm: float, printed_mm_min: float) -> None:
    feed_mm_s = feed_for(feed_per_tooth_mm=chip_load_mm, spindle_rpm=18_000, flutes=2)
    assert feed_mm_s * 60 == pytest.approx(printed_mm_min, rel=1e-12)


def test_knife_marks_per_inch() -> None:
    """Trade journal (FDMC, "Knife marks per inch"): rpm x knives / (ft/min x 12)."""
    rpm, knives, feet_per_min = 3_600, 4, 60
    chip_load_mm = feed_per_tooth(
        feed_mm_s=feet_per_min * 12 * MM_PER_INCH / 60, spindle_rpm=rpm, flutes=knives
    )
    per_inch = marks_per_25_mm(mark_pitch_mm=chip_load_mm) * MM_PER_INCH / 25
    assert per_inch == pytest.approx(rpm * knives / (feet_per_min * 12), rel=1e-12)


@pytest.mark.parametrize(
    ("share", "angle_deg", "thinning", "compensation", "mean"),
    [
        # Chip-thinning table computed from the exact circle in another program; the often
        # printed factors 1.15 at 25 %, 1.67 at 10 % and 2.29 at 5 % [memory] equal it.
        (0.50, 90.000, 1.0000, 1.0000, 0.63662),
        (0.40, 78.463, 0.97980, 1.0206, 0.58418),
        (0.30, 66.422, 0.91652, 1.0911, 0.51756),
        (0.25, 60.000, 0.86603, 1.1547, 0.47746),
        (0.20, 53.130, 0.80000, 1.2500, 0.43136),
        (0.15, 45.573, 0.71414, 1.4003, 0.37717),
        (0.125, 41.410, 0.66144, 1.5119, 0.34591),
        (0.10, 36.870, 0.60000, 1.6667, 0.31080),
        (0.0625, 28.955, 0.48412, 2.0656, 0.24735),
        (0.05, 25.842, 0.43589, 2.2942, 0.22172),
        (0.02, 16.260, 0.28000, 3.5714, 0.14095),
    ],
)
def test_chip_thinning_table(
    share: float, angle_deg: float, thinning: float, compensation: float, mean: float
) -> None:
    cut = {"trim_allowance_mm": 20 * share, "bit_diameter_mm": 20.0}
    assert math.degrees(engagement_angle(**cut)) == pytest.approx(angle_deg, abs=5e-4)
    assert chip_thinning(**cut) == pytest.approx(thinning, abs=5e-5)
    assert 1 / chip_thinning(**cut) == pytest.approx(compensation, abs=5e-5)
    assert mean_chip_share(**cut) == pytest.approx(mean, abs=5e-6)


@pytest.mark.parametrize("share", [0.02, 0.05, 0.1, 0.25, 0.4])
def test_a_makers_milling_formula_for_compensation(share: float) -> None:
    """Formula sheet of a milling-tool maker: factor (D/2)/sqrt(D RDOC - RDOC**2)."""
    diameter, depth = 12.7, 12.7 * share
    factor = (diameter / 2) / math.sqrt(diameter * depth - depth**2)
    assert 1 / chip_thinning(trim_allowance_mm=depth, bit_diameter_mm=diameter) == pytest.approx(
        factor, rel=1e-12
    )


def test_the_catalogue_shortcut_overstates_the_mean_chip_as_it_should() -> None:
    """Insert maker's page: h_m about f_z sqrt(a_e/D); 1.7 % over at a tenth, 4.7 % at a quarter."""
    for share, excess in ((0.10, 0.017), (0.25, 0.047)):
        exact = mean_chip_share(trim_allowance_mm=share * 10, bit_diameter_mm=10)
        assert math.sqrt(share) / exact - 1 == pytest.approx(excess, abs=5e-4)


@pytest.mark.parametrize(
    ("diameter_mm", "spindle_rpm", "printed_mph"),
    [
        (25.4, 24_000, 71),  # common hobby reference page
        (76.2, 24_000, 213),  # the same; exact 214.2, so it is matched to 1 %
        (88.9, 10_000, 104),  # woodworking magazine
        (88.9, 25_000, 260),  # woodworking magazine
    ],
)
def test_printed_rim_speeds(diameter_mm: float, spindle_rpm: float, printed_mph: float) -> None:
    miles_per_hour = rim_speed(bit_diameter_mm=diameter_mm, spindle_rpm=spindle_rpm) / 0.44704
    assert miles_per_hour == pytest.approx(printed_mph, rel=0.01)


def test_planer_cusps_of_the_textbooks() -> None:
    """p**2/(4 D) [memory: planing textbooks]: 1.5 mm pitch on 100 mm gives 5.625 um."""
    assert cusp_height(mark_pitch_mm=1.5, bit_diameter_mm=100) == pytest.approx(5.625e-3, rel=1e-4)


@pytest.mark.parametrize(
    ("length", "time", "rpm", "flutes"),
    [
        ((600, 1), (10, 0.1), (18_000, 50), 2),
        ((600, 1), (10, 0.3), (18_000, 50), 2),
        ((300, 1), (3, 0.1), (18_000, 100), 2),
        ((1_000, 2), (12, 0.1), (20_000, 40), 2),
    ],
)
def test_propagation_against_the_uncertainties_library(
    length: tuple[float, float], time: tuple[float, float], rpm: tuple[float, float], flutes: int
) -> None:
    oracle = 60 * ufloat(*length) / (ufloat(*time) * flutes * ufloat(*rpm))
    factors = tuple(
        Factor(value, U95_FACTOR * sigma, power)
        for (value, sigma), power in ((length, 1), (time, -1), (rpm, -1))
    )
    u95 = product_u95(value=oracle.nominal_value, factors=factors)
    assert u95 / U95_FACTOR == pytest.approx(oracle.std_dev, rel=1e-9)


def test_conformance_example() -> None:
    """JCGM 106, the Zener diode [memory, recomputed]: limit -5.40 V, -5.47 V known to 0.05 V."""
    odds = chances(value=-5.47, u95=U95_FACTOR * 0.05, low=-99.0, high=-5.40)
    assert odds.within == pytest.approx(0.919, abs=5e-4)


def unhurried(feed_mm_s: float, spindle_rpm: float, setup: CutSetup) -> Verdict | None:
    assert setup.edge_length_mm is not None
    time_s = (setup.edge_length_mm + 4.2) / feed_mm_s
    return read_pass(heard(time_s=time_s, spindle_rpm=spindle_rpm), setup).verdict


def test_over_27_000_an_unhurried_hand_rubs() -> None:
    """Common practice: spirals run at 16,000 to 18,000; above 27,000 they burn."""
    assert unhurried(45, 16_000, HALF_INCH) is Verdict.IN_THE_BAND
    assert unhurried(45, 27_000, HALF_INCH) is Verdict.RUBBING


def test_spirals_run_at_16_000_to_18_000() -> None:
    """Common practice for a half-inch spiral in hardwood, trimming 1/16 in."""
    thinning = HALF_INCH.thinning
    assert thinning is not None
    rpm = easy_speed(
        band=hand_feed_band(bit_diameter_mm=12.7, material=MaterialClass.HARDWOOD, buried=False),
        thinning=thinning,
        flutes=2,
        hand=TRIMMING,
        bit_max_rpm=None,
        plate_range_rpm=(8_000, 24_000),
    )
    assert 16_000 <= rpm <= 18_000


@pytest.mark.parametrize("feed_mm_s", [40, 60, 80])
@pytest.mark.parametrize("spindle_rpm", [16_000, 18_000, 22_000])
def test_a_sixteenth_of_trim_is_no_overload(feed_mm_s: float, spindle_rpm: float) -> None:
    """Common practice: leave 1/16 in for the flush-trimming pass."""
    assert unhurried(feed_mm_s, spindle_rpm, HALF_INCH) is not Verdict.OVERLOADING
