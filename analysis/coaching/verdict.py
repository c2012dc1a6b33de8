"""The decision rule.

A verdict is given when the chance that it is right is at least 95 %, seen from the measured
chip thickness and its uncertainty (JCGM 106); otherwise it is *unsure*. It is conditional on the
trim allowance the user states: that is a fact about the set-up, told apart as the range of
allowances over which the same verdict would stand.
"""

from __future__ import annotations

from enum import Enum

from analysis.coaching.uncertainty import Chances, chances
from analysis.cutting.bands import Band
from analysis.cutting.geometry import allowance_for_thinning

CHANCE_NEEDED = 0.95


class Verdict(Enum):
    """What a pass did to the wood and the bit."""

    RUBBING = "rubbing"
    IN_THE_BAND = "in the band"
    OVERLOADING = "overloading"
    UNSURE = "unsure"


def decide(odds: Chances) -> Verdict:
    """The verdict whose chance is at least 95 %, else UNSURE."""
    if odds.below >= CHANCE_NEEDED:
        return Verdict.RUBBING
    if odds.within >= CHANCE_NEEDED:
        return Verdict.IN_THE_BAND
    if odds.above >= CHANCE_NEEDED:
        return Verdict.OVERLOADING
    return Verdict.UNSURE


def judge(*, chip_thickness_mm: float, chip_thickness_u95_mm: float, band: Band) -> Verdict:
    """Hold a measured chip thickness against the band.

    >>> from analysis.cutting.bands import given_band
    >>> band = given_band(low_mm=0.05, high_mm=0.15)
    >>> judge(chip_thickness_mm=0.056, chip_thickness_u95_mm=0.002, band=band).value
    'in the band'
    >>> judge(chip_thickness_mm=0.051, chip_thickness_u95_mm=0.002, band=band).value
    'unsure'
    """
    return decide(
        chances(
            value=chip_thickness_mm,
            u95=chip_thickness_u95_mm,
            low=band.low_mm,
            high=band.high_mm,
        )
    )


def allowance_range(
    *, verdict: Verdict, chip_load_mm: float, bit_diameter_mm: float, band: Band
) -> tuple[float, float] | None:
    """Trim allowances (mm, low and high) over which this chip load earns `verdict`.

    The high end is the bit's diameter where no allowance ends it, the low end 0. None for
    UNSURE, and where no allowance earns the verdict.
    """

    def allowance(chip_thickness_mm: float) -> float:
        thinning = chip_thickness_mm / chip_load_mm
        if thinning >= 1:
            return bit_diameter_mm
        return allowance_for_thinning(thinning=thinning, bit_diameter_mm=bit_diameter_mm)

    low_mm, high_mm = allowance(band.low_mm), allowance(band.high_mm)
    if verdict is Verdict.RUBBING:
        return 0.0, low_mm
    if verdict is Verdict.IN_THE_BAND and low_mm < high_mm:
        return low_mm, high_mm
    if verdict is Verdict.OVERLOADING and high_mm < bit_diameter_mm:
        return high_mm, bit_diameter_mm
    return None
