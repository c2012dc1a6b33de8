"""The geometry of a straight pass with a round bit, exact.

Conventions: lengths in mm, feed in mm/s, speed in rpm, angles in radians. The trim
allowance is what the bit takes off sideways; a bit buried in the wood takes its whole
diameter. The trade's *chip load* is the feed per tooth; the *chip thickness* is what the
edge really takes, and is less whenever the bit is less than half in the wood.

Symbols follow ISO 3002-3 usage [memory]. Tooth paths are taken as circles; the true
trochoid differs by about f_z z / (pi D), under 1 % for a hand-fed router bit.
"""

from __future__ import annotations

import math

from analysis.errors import InputError


def require_positive(**quantities: float) -> None:
    """Raise InputError for the first quantity that is not finite and above 0.

    The keyword becomes the name in the message, underscores as spaces.
    """
    for name, value in quantities.items():
        if not (math.isfinite(value) and value > 0):
            raise InputError(name.replace("_", " "), value, "a finite number above 0")


def _engaged_share(trim_allowance_mm: float, bit_diameter_mm: float) -> float:
    """Trim allowance over bit diameter, 0 < share <= 1."""
    require_positive(trim_allowance=trim_allowance_mm, bit_diameter=bit_diameter_mm)
    if trim_allowance_mm > bit_diameter_mm:
        raise InputError(
            "trim allowance (mm)",
            trim_allowance_mm,
            f"at most the bit's diameter ({bit_diameter_mm:g} mm)",
        )
    return trim_allowance_mm / bit_diameter_mm


def feed_per_tooth(*, feed_mm_s: float, spindle_rpm: float, flutes: int) -> float:
    """Advance per tooth (chip load), mm: feed over teeth per second.

    >>> round(feed_per_tooth(feed_mm_s=60, spindle_rpm=18_000, flutes=2), 12)
    0.1

    Raises
    ------
    InputError
        If a value is not finite and above 0.
    """
    require_positive(feed=feed_mm_s, spindle_speed=spindle_rpm, flutes=flutes)
    return 60 * feed_mm_s / (spindle_rpm * flutes)


def feed_for(*, feed_per_tooth_mm: float, spindle_rpm: float, flutes: int) -> float:
    """Feed, mm/s, that advances `feed_per_tooth_mm` per tooth.

    >>> feed_for(feed_per_tooth_mm=0.1, spindle_rpm=18_000, flutes=2)
    60.0
    """
    require_positive(feed_per_tooth=feed_per_tooth_mm, spindle_speed=spindle_rpm, flutes=flutes)
    return feed_per_tooth_mm * spindle_rpm * flutes / 60


def engagement_angle(*, trim_allowance_mm: float, bit_diameter_mm: float) -> float:
    """Angle over which an edge is in the wood, radians, 0 to pi.

    cos(phi) = 1 - 2 a_e/D, taken as tan(phi/2)**2 = a_e/(D - a_e) so that thin trims and
    almost buried bits keep every digit.

    >>> round(math.degrees(engagement_angle(trim_allowance_mm=1.5875, bit_diameter_mm=12.7)), 2)
    41.41
    """
    share = _engaged_share(trim_allowance_mm, bit_diameter_mm)
    return 2 * math.atan2(math.sqrt(share), math.sqrt(1 - share))


def chip_thinning(*, trim_allowance_mm: float, bit_diameter_mm: float) -> float:
    """Greatest chip thickness over feed per tooth, 0 to 1.

    sin(phi) up to half the diameter; 1 from there to a buried bit.

    >>> round(chip_thinning(trim_allowance_mm=1.5875, bit_diameter_mm=12.7), 4)
    0.6614
    """
    share = _engaged_share(trim_allowance_mm, bit_diameter_mm)
    return 2 * math.sqrt(share * (1 - share)) if share < 0.5 else 1.0


def mean_chip_share(*, trim_allowance_mm: float, bit_diameter_mm: float) -> float:
    """Mean chip thickness over the arc, per feed per tooth: (1 - cos(phi))/phi.

    >>> round(mean_chip_share(trim_allowance_mm=12.7, bit_diameter_mm=12.7), 4)  # 2/pi
    0.6366
    """
    share = _engaged_share(trim_allowance_mm, bit_diameter_mm)
    return share / math.atan2(math.sqrt(share), math.sqrt(1 - share))


def allowance_for_thinning(*, thinning: float, bit_diameter_mm: float) -> float:
    """Trim allowance, mm, at which the chip is `thinning` (0 to 1) times the feed per tooth.

    >>> round(allowance_for_thinning(thinning=0.6, bit_diameter_mm=10), 9)
    1.0
    """
    require_positive(thinning=thinning, bit_diameter=bit_diameter_mm)
    if thinning > 1:
        raise InputError("chip thinning", thinning, "at most 1")
    # sin(phi) = thinning, so a_e/D = (1 - cos(phi))/2, written without the cancellation.
    return bit_diameter_mm * thinning**2 / (2 * (1 + math.sqrt(1 - thinning**2)))


def approach_length(*, trim_allowance_mm: float, bit_diameter_mm: float) -> float:
    """How far before the edge's end the bit first touches the wood, mm.

    The cutting circle meets the uncut corner sqrt(a_e (D - a_e)) before the axis is level
    with it; a bit more than half in the wood meets the end face a radius before.

    >>> round(approach_length(trim_allowance_mm=1.5875, bit_diameter_mm=12.7), 3)
    4.2
    """
    thinning = chip_thinning(trim_allowance_mm=trim_allowance_mm, bit_diameter_mm=bit_diameter_mm)
    return thinning * bit_diameter_mm / 2


def contact_travel(
    *, edge_length_mm: float, trim_allowance_mm: float, bit_diameter_mm: float
) -> float:
    """Travel from first contact to last along a straight edge with both ends free, mm.

    >>> round(contact_travel(edge_length_mm=600, trim_allowance_mm=1.5875,
    ...                      bit_diameter_mm=12.7), 3)
    604.2
    """
    require_positive(edge_length=edge_length_mm)
    return edge_length_mm + approach_length(
        trim_allowance_mm=trim_allowance_mm, bit_diameter_mm=bit_diameter_mm
    )


def cusp_height(*, mark_pitch_mm: float, bit_diameter_mm: float) -> float:
    """Height of the ridge between two knife marks, mm; about pitch**2 / (4 D).

    Hand-fed bits mark once per revolution (one tooth always stands proud of the others by
    more than the cusp), so the pitch is then feed per tooth times flutes.

    >>> round(cusp_height(mark_pitch_mm=0.3, bit_diameter_mm=12.7) * 1000, 4)  # micrometres
    1.7719

    Raises
    ------
    InputError
        If the pitch is more than the diameter: the marks would not meet.
    """
    require_positive(mark_pitch=mark_pitch_mm, bit_diameter=bit_diameter_mm)
    if mark_pitch_mm > bit_diameter_mm:
        raise InputError("mark pitch (mm)", mark_pitch_mm, "at most the bit's diameter")
    radius_mm = bit_diameter_mm / 2
    half_chord_2 = mark_pitch_mm**2 / 4
    return half_chord_2 / (radius_mm + math.sqrt(radius_mm**2 - half_chord_2))


def marks_per_25_mm(*, mark_pitch_mm: float) -> float:
    """Knife marks in 25 mm of edge.

    >>> marks_per_25_mm(mark_pitch_mm=0.125)
    200.0
    """
    require_positive(mark_pitch=mark_pitch_mm)
    return 25 / mark_pitch_mm


def rim_speed(*, bit_diameter_mm: float, spindle_rpm: float) -> float:
    """Speed of the cutting edge, m/s: pi D n.

    >>> round(rim_speed(bit_diameter_mm=25.4, spindle_rpm=24_000), 2)
    31.92
    """
    require_positive(bit_diameter=bit_diameter_mm, spindle_speed=spindle_rpm)
    return math.pi * bit_diameter_mm * spindle_rpm / 60_000


def removal_rate(*, trim_allowance_mm: float, cut_depth_mm: float, feed_mm_s: float) -> float:
    """Wood taken away, mm3/s: allowance x depth x feed.

    >>> removal_rate(trim_allowance_mm=2.0, cut_depth_mm=19, feed_mm_s=60)
    2280.0
    """
    require_positive(trim_allowance=trim_allowance_mm, cut_depth=cut_depth_mm, feed=feed_mm_s)
    return trim_allowance_mm * cut_depth_mm * feed_mm_s
