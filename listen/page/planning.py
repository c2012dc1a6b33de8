"""Before the cut: what speed, what pace, and what to watch, for the page."""

from __future__ import annotations

from typing import Any

from analysis.coaching.reading import working_band
from analysis.coaching.wording import say_range_s, say_speed
from analysis.cutting.pace import BURIED, TRIMMING, easy_speed
from listen.live.pacing import aimed_time_s, pace_marks_s
from listen.live.telling import band_object
from listen.setup import Bench

CAUTIONS = (
    "Eyes, ears and lungs: wear protection, and draw off the dust.",
    "Unplug the router before you touch the bit or the collet.",
    "Feed against the bit's rotation. A climb cut can pull the router out of your hands.",
    "Never exceed the speed marked on the bit.",
    "The makers' instructions, local rules and your training come before anything said here.",
)


def plan_for(bench: Bench) -> dict[str, Any]:
    """Speed to start with, the pass time to aim at and its quarter points, in words.

    Fields are None where the set-up does not tell enough; `missing` names what to tell.
    """
    cut = bench.cut
    band = working_band(cut)
    missing = [
        name
        for name, value in (
            ("edge", cut.edge_length_mm),
            ("bit", cut.bit_diameter_mm),
            ("flutes", cut.flutes),
            ("trim", cut.trim_allowance_mm),
            ("material", band),
        )
        if value is None
    ]
    answer: dict[str, Any] = {
        "missing": missing,
        "band": band_object(cut, bench),
        "cautions": CAUTIONS,
        "speed": None,
        "rpm": None,
        "aim": None,
        "marks": None,
        "table": [],
    }
    if band is None or cut.thinning is None or cut.flutes is None:
        return answer
    rpm = easy_speed(
        band=band,
        thinning=cut.thinning,
        flutes=cut.flutes,
        hand=BURIED if cut.buried else TRIMMING,
        bit_max_rpm=cut.bit_max_rpm,
        plate_range_rpm=cut.plate_range_rpm,
    )
    answer["rpm"], answer["speed"] = rpm, say_speed(rpm)
    aim_s = aimed_time_s(cut, spindle_rpm=rpm)
    if aim_s is not None:
        marks_s = pace_marks_s(aim_s)
        answer["aim"] = say_range_s(*aim_s)
        answer["marks"] = [f"{mark:.1f} s" for mark in marks_s]
    answer["table"] = [
        {"speed": say_speed(speed), "aim": say_range_s(*at) if at else "no hand holds that feed"}
        for speed, at in (
            (speed, aimed_time_s(cut, spindle_rpm=speed) if cut.edge_length_mm else None)
            for speed in _speeds(bench, rpm)
        )
    ]
    return answer


def _speeds(bench: Bench, rpm: float) -> list[float]:
    """Speeds around the advised one, none that the bit or the router forbids."""
    low_rpm, high_rpm = bench.cut.plate_range_rpm or (8_000.0, 24_000.0)
    top_rpm = min(high_rpm, bench.cut.bit_max_rpm or high_rpm)
    around = (rpm + step for step in (-4000, -2000, 0, 2000, 4000))
    return [speed for speed in around if low_rpm <= speed <= top_rpm]
