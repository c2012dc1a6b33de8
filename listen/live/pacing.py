"""The pass time to aim at, and when to tick."""

from __future__ import annotations

import math

from analysis.coaching.reading import CutSetup, travel, working_band
from analysis.coaching.wording import round_inwards
from analysis.cutting.pace import aim_feed


def aimed_time_s(cut: CutSetup, *, spindle_rpm: float) -> tuple[float, float] | None:
    """Shortest and longest pass time to aim at, s, at this speed.

    None where the set-up does not tell enough, or no hand could hold the feed.
    """
    band, trip = working_band(cut), travel(cut)
    if band is None or trip is None or cut.thinning is None or cut.flutes is None:
        return None
    aim = aim_feed(band=band, thinning=cut.thinning, spindle_rpm=spindle_rpm, flutes=cut.flutes)
    if aim is None:
        return None
    return round_inwards(trip[0] / aim.high_mm_s, trip[0] / aim.low_mm_s)


def pace_marks_s(aim_s: tuple[float, float]) -> tuple[float, float, float, float]:
    """Quarter points of the aimed pass time, seconds after entry; the last is the aim itself.

    The aim is the middle of the range on a ratio scale, as feeds are.

    >>> pace_marks_s((6.0, 9.375))
    (1.875, 3.75, 5.625, 7.5)
    """
    middle_s = math.sqrt(aim_s[0] * aim_s[1])
    return 0.25 * middle_s, 0.5 * middle_s, 0.75 * middle_s, middle_s
