"""Figures as the user reads them: millimetres or inches, whole words, no false digits."""

from __future__ import annotations

import math
from enum import Enum
from fractions import Fraction


class Units(Enum):
    """The user's own units."""

    MM = "mm"
    INCH = "in"


_MM_PER_INCH = 25.4
_CLOSER_THAN_MEASURED_INCH = 0.0005


def say_length(length_mm: float, units: Units) -> str:
    """A length along the edge, to the millimetre or the eighth of an inch.

    >>> say_length(209.6, Units.MM), say_length(209.6, Units.INCH)
    ('210 mm', '8-1/4 in')
    """
    if units is Units.MM:
        return f"{round(length_mm)} mm"
    return _say_fraction(Fraction(round(length_mm / _MM_PER_INCH * 8), 8))


def say_fine(length_mm: float, units: Units) -> str:
    """A small length (an allowance): tenths of a millimetre or hundredths of an inch.

    >>> say_fine(1.5875, Units.MM), say_fine(1.5875, Units.INCH)
    ('1.6 mm', '0.06 in')
    """
    if units is Units.MM:
        return f"{length_mm:.1f} mm"
    return f"{length_mm / _MM_PER_INCH:.2f} in"


def say_size(length_mm: float, units: Units) -> str:
    """The size of a bit, a board or a radius: two decimals, or inches by the fraction.

    >>> say_size(12.7, Units.MM), say_size(12.7, Units.INCH), say_size(5, Units.INCH)
    ('12.7 mm', '1/2 in', '0.197 in')
    """
    if units is Units.MM:
        return f"{length_mm:.2f}".rstrip("0").rstrip(".") + " mm"
    inches = length_mm / _MM_PER_INCH
    nearest = Fraction(round(inches * 64), 64)
    if nearest == 0 or abs(inches - nearest) > _CLOSER_THAN_MEASURED_INCH:
        return f"{inches:.3f} in"
    return _say_fraction(nearest)


def say_chip(chip_mm: float, units: Units) -> str:
    """A chip load or thickness: thousandths of a millimetre, tenths of a thou.

    >>> say_chip(0.0562, Units.MM), say_chip(0.0562, Units.INCH)
    ('0.056 mm', '0.0022 in')
    """
    if units is Units.MM:
        return f"{chip_mm:.3f} mm"
    return f"{chip_mm / _MM_PER_INCH:.4f} in"


def say_feed(feed_mm_s: float, units: Units) -> str:
    """A feed.

    >>> say_feed(63.5, Units.MM), say_feed(63.5, Units.INCH)
    ('64 mm/s', '150 in/min')
    """
    if units is Units.MM:
        return f"{feed_mm_s:.0f} mm/s"
    return f"{feed_mm_s / _MM_PER_INCH * 60:.0f} in/min"


def say_seconds(time_s: float) -> str:
    """A time: tenths below 10 s, whole seconds from there.

    >>> say_seconds(9.42), say_seconds(14.3)
    ('9.4 s', '14 s')
    """
    return f"{time_s:.1f} s" if round(time_s, 1) < 10 else f"{time_s:.0f} s"


def say_speed(spindle_rpm: float) -> str:
    """A spindle speed for turning a dial: to 500 rpm.

    >>> say_speed(17_870)
    '18,000 rpm'
    """
    return f"{round(spindle_rpm / 500) * 500:,} rpm"


def round_inwards(low: float, high: float) -> tuple[float, float]:
    """Round a range to easy numbers without leaving it.

    Steps of 1, 0.5 or 0.1: the coarsest that keeps at least half of the range.

    >>> round_inwards(5.3, 9.6), round_inwards(5.3, 6.6), round_inwards(1.23, 1.57)
    ((6.0, 9.0), (5.5, 6.5), (1.3, 1.5))
    """
    for step in (1.0, 0.5, 0.1):
        inner = math.ceil(low / step - 1e-9) * step, math.floor(high / step + 1e-9) * step
        if inner[1] - inner[0] >= (high - low) / 2:
            return round(inner[0], 1), round(inner[1], 1)
    return low, high


def say_range_s(low_s: float, high_s: float) -> str:
    """A range of times, already rounded.

    >>> say_range_s(6.0, 9.0), say_range_s(5.5, 6.0)
    ('6 to 9 s', '5.5 to 6 s')
    """
    return f"{low_s:g} to {high_s:g} s"


def _say_fraction(inches: Fraction) -> str:
    whole, part = divmod(inches, 1)
    if part == 0:
        return f"{whole} in"
    return f"{whole}-{part} in" if whole else f"{part} in"
