"""The feed, the pass time and the speed to aim at."""

from __future__ import annotations

import math
from dataclasses import dataclass

from analysis.cutting.bands import HAND_FEED_MM_S, Band
from analysis.cutting.geometry import feed_for

_WIDE_SHARES, _NARROW_SHARES = (0.12, 0.80), (0.05, 0.95)
"""The part of the band (on a ratio scale) to aim at: hands wander, so keep off its ends.
A narrow band leaves no room for that."""
_NARROW_RATIO = 1.6
_NARROWEST_AIM = 1.1


@dataclass(frozen=True, slots=True)
class EasyFeeds:
    """Feeds of an unhurried, a middling and a brisk hand, mm/s [common practice]."""

    unhurried_mm_s: float
    middling_mm_s: float
    brisk_mm_s: float


TRIMMING = EasyFeeds(45.0, 50.0, 60.0)
BURIED = EasyFeeds(25.0, 30.0, 35.0)


_LOWEST_RPM, _HIGHEST_RPM = 10_000.0, 24_000.0
"""Ends of what is advised when the router's range is not known."""
DIAL_STEP_RPM = 500.0


@dataclass(frozen=True, slots=True)
class Aim:
    """A range of feed to aim at, mm/s."""

    low_mm_s: float
    high_mm_s: float


def aim_chip(band: Band) -> tuple[float, float]:
    """The inner part of the band, chip thickness in mm."""
    ratio = band.high_mm / band.low_mm
    low_share, high_share = _WIDE_SHARES if ratio >= _NARROW_RATIO else _NARROW_SHARES
    return band.low_mm * ratio**low_share, band.low_mm * ratio**high_share


def aim_feed(*, band: Band, thinning: float, spindle_rpm: float, flutes: int) -> Aim | None:
    """Feed that keeps the chip well inside the band and that hands can hold.

    None where the band asks for a feed that no hand holds steadily at this speed.

    >>> from analysis.cutting.bands import given_band
    >>> aim = aim_feed(band=given_band(low_mm=0.05, high_mm=0.15), thinning=0.6614,
    ...                spindle_rpm=16_000, flutes=2)
    >>> round(aim.low_mm_s), round(aim.high_mm_s)
    (46, 97)
    """
    low_mm_s, high_mm_s = (
        feed_for(feed_per_tooth_mm=chip_mm / thinning, spindle_rpm=spindle_rpm, flutes=flutes)
        for chip_mm in aim_chip(band)
    )
    low_mm_s = max(low_mm_s, HAND_FEED_MM_S[0])
    high_mm_s = min(high_mm_s, HAND_FEED_MM_S[1])
    if high_mm_s < low_mm_s * min(_NARROWEST_AIM, math.sqrt(band.high_mm / band.low_mm)):
        return None
    return Aim(low_mm_s=low_mm_s, high_mm_s=high_mm_s)


def speed_for(*, band: Band, thinning: float, flutes: int, feed_mm_s: float) -> float:
    """Speed, rpm, at which `feed_mm_s` is the slowest feed to aim at.

    >>> from analysis.cutting.bands import given_band
    >>> round(speed_for(band=given_band(low_mm=0.05, high_mm=0.15), thinning=0.6614, flutes=2,
    ...                 feed_mm_s=50))
    17391
    """
    return 60 * feed_mm_s * thinning / (aim_chip(band)[0] * flutes)


def easy_speed(
    *,
    band: Band,
    thinning: float,
    flutes: int,
    hand: EasyFeeds,
    bit_max_rpm: float | None,
    plate_range_rpm: tuple[float, float] | None,
) -> float:
    """Speed, rpm, at which an easy feed is the slowest that still cuts well.

    So every livelier feed up to the top of the aim is good too. Rounded down to a step of
    500 rpm (start low), within the router's range (10,000 to 24,000 rpm where it is not
    known), never above the bit's marked maximum.

    >>> from analysis.cutting.bands import given_band
    >>> easy_speed(band=given_band(low_mm=0.05, high_mm=0.15), thinning=0.6614, flutes=2,
    ...            hand=TRIMMING, bit_max_rpm=None, plate_range_rpm=(8_000, 24_000))
    17000.0
    """
    wanted_rpm = speed_for(
        band=band, thinning=thinning, flutes=flutes, feed_mm_s=hand.middling_mm_s
    )
    lowest_rpm, highest_rpm = plate_range_rpm or (_LOWEST_RPM, _HIGHEST_RPM)
    stepped_rpm = math.floor(wanted_rpm / DIAL_STEP_RPM) * DIAL_STEP_RPM
    kept_rpm = min(max(stepped_rpm, lowest_rpm), highest_rpm)
    return kept_rpm if bit_max_rpm is None else min(kept_rpm, bit_max_rpm)
