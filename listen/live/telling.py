"""News as plain objects, for the page and for the events beside a take."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from analysis.coaching.reading import CutSetup, working_band
from analysis.coaching.summary import TakeSummary
from analysis.coaching.wording import Units, say_chip, say_range_s, say_seconds
from listen.live.told import (
    Cue,
    DialTold,
    Dwelling,
    Ended,
    Entered,
    Hands,
    Level,
    News,
    Notice,
    PassTold,
    PassWithdrawn,
    Speed,
)
from listen.setup import Bench

HEADLINES = {
    Cue.GOOD: "Good",
    Cue.FASTER: "Faster",
    Cue.SLOWER: "Slower",
    Cue.TURN_DOWN: "Turn down",
    Cue.TURN_UP: "Turn up",
    Cue.TAKE_LESS: "Take less",
    Cue.LEAVE_MORE: "Leave more",
    Cue.STOP: "Stop",
    Cue.TOO_CLOSE: "Nearly",
    Cue.NOT_JUDGED: "Not judged",
}
DWELL_TEXT = "You stopped: burn risk."
PASSING = frozenset({"speed", "level"})
"""Kinds that only matter at the moment: not kept beside the take."""


def as_object(news: News, bench: Bench) -> dict[str, Any]:
    """One piece of news as JSON can hold it; `kind` says which."""
    if isinstance(news, Speed):
        rpm = None if news.spindle_rpm is None else round(news.spindle_rpm, 1)
        return {
            "kind": "speed",
            "time_s": round(news.time_s, 3),
            "rpm": rpm,
            "age_s": round(news.age_s, 3),
        }
    if isinstance(news, Level):
        return {
            "kind": "level",
            "level_db": round(news.level_db, 1),
            "peak": round(news.peak, 4),
            "faulty": news.faulty,
            "warning": news.warning,
        }
    if isinstance(news, Entered):
        return {
            "kind": "entered",
            "entry_s": round(news.entry_s, 3),
            "age_s": round(news.age_s, 3),
            "aim": say_range_s(*news.aim_s) if news.aim_s else None,
            "marks_s": [round(mark, 3) for mark in news.marks_s],
        }
    if isinstance(news, Dwelling):
        return {"kind": "dwell", "start_s": round(news.start_s, 3), "text": DWELL_TEXT}
    if isinstance(news, PassTold):
        return _pass(news, bench)
    if isinstance(news, PassWithdrawn):
        return {"kind": "withdrawn", "number": news.number, "text": news.text}
    if isinstance(news, Hands):
        return {"kind": "hands", **_summary(news.summary)}
    if isinstance(news, Notice):
        gap_s = [round(end_s, 3) for end_s in news.gap_s] if news.gap_s else None
        return {"kind": "notice", "text": news.text, "gap_s": gap_s}
    if isinstance(news, Ended):
        summary = _summary(news.summary) if news.summary is not None else None
        return {"kind": "ended", "duration_s": round(news.duration_s, 2), "summary": summary}
    if isinstance(news, DialTold):
        return _dial(news)
    raise TypeError(news)


def standing_passes(told: Iterable[dict[str, Any]]) -> list[dict[str, Any]]:
    """Of all that was told, the passes as they stand, in order: each as it was told last."""
    passes: dict[int, dict[str, Any]] = {}
    for news in told:
        if news.get("kind") == "pass":
            passes[news["number"]] = news
        elif news.get("kind") == "withdrawn":
            passes.pop(news["number"], None)
    return [passes[number] for number in sorted(passes)]


def _dial(news: DialTold) -> dict[str, Any]:
    settings = [
        {
            "label": setting.label,
            "rpm": None if setting.spindle_rpm is None else round(setting.spindle_rpm),
            "rpm_u95": None if setting.spindle_rpm_u95 is None else round(setting.spindle_rpm_u95),
        }
        for setting in news.settings
    ]
    return {"kind": "dial", "settings": settings, "at": news.at, "prompt": news.prompt}


def _pass(news: PassTold, bench: Bench) -> dict[str, Any]:
    reading, advice = news.reading, news.advice
    aim = None
    if advice.aim_low_s is not None and advice.aim_high_s is not None:
        aim = say_range_s(advice.aim_low_s, advice.aim_high_s)
    return {
        "kind": "pass",
        "number": news.number,
        "told_s": round(news.told_s, 3),
        "again": news.again,
        "aloud": news.aloud,
        "cue": news.cue.value,
        "headline": HEADLINES[news.cue],
        "verdict": reading.verdict.value if reading.verdict is not None else None,
        "advice": advice.text,
        "aim": aim,
        "turn_to_rpm": advice.turn_to_rpm,
        "time": say_seconds(reading.time_s),
        "entry_s": round(reading.entry_s, 3),
        "exit_s": round(reading.exit_s, 3),
        "time_s": round(reading.time_s, 3),
        "time_u95_s": round(reading.time_u95_s, 3),
        "rpm": round(reading.spindle_rpm),
        "feed_mm_s": _rounded(reading.feed_mm_s, 2),
        "chip_load_mm": _rounded(reading.chip_load_mm, 5),
        "chip_load_u95_mm": _rounded(reading.chip_load_u95_mm, 5),
        "chip_mm": _rounded(reading.chip_thickness_mm, 5),
        "chip_u95_mm": _rounded(reading.chip_thickness_u95_mm, 5),
        "chip": say_chip(reading.chip_thickness_mm, bench.units)
        if reading.chip_thickness_mm is not None
        else None,
        "chip_load": say_chip(reading.chip_load_mm, bench.units)
        if reading.chip_load_mm is not None
        else None,
        "chip_load_off": say_chip(_at_least(reading.chip_load_u95_mm, bench), bench.units)
        if reading.chip_load_u95_mm is not None
        else None,
        "band": band_object(bench.cut, bench),
        "dwells": len(reading.dwells),
    }


def _at_least(u95_mm: float, bench: Bench) -> float:
    """An uncertainty no smaller than the last digit that is shown."""
    return max(u95_mm, 0.00254 if bench.units is Units.INCH else 0.001)


def band_object(cut: CutSetup, bench: Bench) -> dict[str, Any] | None:
    """The band of chip thickness, in mm and in the user's words."""
    band = working_band(cut)
    if band is None:
        return None
    return {
        "low_mm": band.low_mm,
        "high_mm": band.high_mm,
        "low": say_chip(band.low_mm, bench.units),
        "high": say_chip(band.high_mm, bench.units),
        "basis": band.basis,
    }


def _summary(summary: TakeSummary) -> dict[str, Any]:
    return {
        "passes": summary.passes_heard,
        "good": summary.in_the_band,
        "rubbing": summary.rubbing,
        "overloading": summary.overloading,
        "unsure": summary.unsure,
        "not_judged": summary.passes_heard - summary.passes_judged,
        "steadiness": summary.steadiness,
        "trend": summary.trend,
        "change_first": summary.change_first,
    }


def _rounded(value: float | None, places: int) -> float | None:
    return None if value is None else round(value, places)
