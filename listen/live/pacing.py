"""The pass time to aim at, and when to tick."""

from __future__ import annotations

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
