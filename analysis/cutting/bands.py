"""The band of chip thickness that a hand-fed bit should work in.

Starting values for hand feed, not a standard: printed chip-load tables are for motor feed in
full-width slots and disagree with each other by more than a factor of two. A user's own band
replaces them. The bottom keeps the edge cutting, not rubbing (heat, polish, burn marks); the
top keeps the router in hand and the bit whole.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from analysis.cutting.geometry import require_positive
from analysis.errors import InputError

HAND_FEED_MM_S = (15.0, 120.0)
"""Slowest and fastest feed that hands hold steadily, mm/s [common practice]."""


class MaterialClass(Enum):
    """Kinds of stock that share a band."""

    HARDWOOD = "hardwood"
    SOFTWOOD = "softwood"
    PLYWOOD = "plywood"
    MDF = "MDF"
    PARTICLE_BOARD = "particle board"
    HARD_PLASTIC = "hard plastic"


class BandSource(Enum):
    """Where a band comes from."""

    STARTING_VALUE = "starting value"
    GIVEN = "given"


@dataclass(frozen=True, slots=True)
class Band:
    """Chip thickness (greatest over the arc) from `low_mm` to `high_mm`, with its grounds."""

    low_mm: float
    high_mm: float
    basis: str
    source: BandSource

    def __post_init__(self) -> None:
        require_positive(band_low_end=self.low_mm, band_high_end=self.high_mm)
        if self.low_mm >= self.high_mm:
            raise InputError("band", (self.low_mm, self.high_mm), "low end first, then high end")


# Rows: bit diameters, mm, that share a column of values (h_max, mm).
_ROWS_MM = ((3.0, 5.0), (6.0, 8.0), (9.0, 14.0), (15.0, float("inf")))
_ROW_NAMES = (
    "3 to 5 mm (1/8 in)",
    "6 to 8 mm (1/4 in)",
    "9 to 14 mm (1/2 in)",
    "15 mm (5/8 in) and more",
)
_HAND_BANDS_MM: dict[MaterialClass, tuple[tuple[float, float], ...]] = {
    MaterialClass.HARDWOOD: ((0.030, 0.070), (0.040, 0.100), (0.050, 0.150), (0.050, 0.180)),
    MaterialClass.SOFTWOOD: ((0.035, 0.080), (0.045, 0.115), (0.055, 0.170), (0.055, 0.200)),
    MaterialClass.PLYWOOD: ((0.035, 0.080), (0.045, 0.115), (0.055, 0.170), (0.055, 0.200)),
    MaterialClass.MDF: ((0.040, 0.090), (0.050, 0.125), (0.065, 0.190), (0.065, 0.220)),
    MaterialClass.PARTICLE_BOARD: (
        (0.040, 0.090),
        (0.050, 0.125),
        (0.065, 0.190),
        (0.065, 0.220),
    ),
    MaterialClass.HARD_PLASTIC: ((0.040, 0.080), (0.050, 0.110), (0.060, 0.150), (0.060, 0.180)),
}
_BURIED_TOP_SHARE = 0.5
_NARROWEST_RATIO = 1.1
"""A halved top stays this far above the bottom (only a small bit buried in plastic needs it)."""


def is_buried(*, trim_allowance_mm: float, bit_diameter_mm: float) -> bool:
    """Whether the bit cuts over its whole diameter (a slot)."""
    return trim_allowance_mm >= bit_diameter_mm * (1 - 1e-9)


def hand_feed_band(*, bit_diameter_mm: float, material: MaterialClass, buried: bool) -> Band:
    """Starting values for a hand-fed bit.

    Between two rows of the table (5 to 6, 8 to 9 and 14 to 15 mm) the values run in a
    straight line from one to the other; below 3 mm the smallest row stands. A buried bit
    halves the top.

    >>> band = hand_feed_band(bit_diameter_mm=12.7, material=MaterialClass.HARDWOOD, buried=False)
    >>> band.low_mm, band.high_mm
    (0.05, 0.15)

    Raises
    ------
    InputError
        If the diameter is not finite and above 0.
    """
    require_positive(bit_diameter=bit_diameter_mm)
    low_mm, high_mm = _interpolated(bit_diameter_mm, _HAND_BANDS_MM[material])
    if buried:
        high_mm = max(high_mm * _BURIED_TOP_SHARE, low_mm * _NARROWEST_RATIO)
    basis = f"hand-feed starting value for {material.value}, bits of {_row_name(bit_diameter_mm)}"
    if buried:
        basis += ", top halved for a buried bit"
    return Band(low_mm=low_mm, high_mm=high_mm, basis=basis, source=BandSource.STARTING_VALUE)


def given_band(*, low_mm: float, high_mm: float) -> Band:
    """The band printed with the bit, as feed per tooth at full engagement, mm.

    A fully engaged edge takes the whole feed per tooth, so the numbers are chip thickness
    as they stand; a lighter trim needs more feed for the same chip.

    Raises
    ------
    InputError
        If an end is not above 0, or they are not in rising order.
    """
    return Band(
        low_mm=low_mm,
        high_mm=high_mm,
        basis="given by you, as feed per tooth at full engagement",
        source=BandSource.GIVEN,
    )


def _row_name(diameter_mm: float) -> str:
    """Name the row, or the two rows, that a diameter's values come from."""
    at_or_below = [i for i, (start_mm, _) in enumerate(_ROWS_MM) if diameter_mm >= start_mm]
    if not at_or_below:
        return _ROW_NAMES[0]
    row = at_or_below[-1]
    if diameter_mm <= _ROWS_MM[row][1]:
        return _ROW_NAMES[row]
    return f"{_ROW_NAMES[row]} to {_ROW_NAMES[row + 1]}"


def _interpolated(
    diameter_mm: float, row_values: tuple[tuple[float, float], ...]
) -> tuple[float, float]:
    last = row_values[0]
    last_end_mm = 0.0
    for (start_mm, end_mm), values in zip(_ROWS_MM, row_values, strict=True):
        if diameter_mm < start_mm:
            if last_end_mm == 0.0:
                return values
            share = (diameter_mm - last_end_mm) / (start_mm - last_end_mm)
            low_mm, high_mm = (a + share * (b - a) for a, b in zip(last, values, strict=True))
            return low_mm, high_mm
        if diameter_mm <= end_mm:
            return values
        last, last_end_mm = values, end_mm
    return last
