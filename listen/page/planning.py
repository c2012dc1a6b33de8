"""Before the cut, for the page: the plan that `toothbeat plan` makes, as far as is told."""

from __future__ import annotations

from typing import Any

from analysis.coaching.explaining import say_conflict, say_limit
from analysis.coaching.guidance import Weight
from analysis.coaching.plan import PaceRow, Plan, Room
from analysis.coaching.reading import working_band
from analysis.coaching.wording import Units, say_feed, say_range_s, say_speed
from analysis.errors import ToothbeatError
from listen.live.telling import band_object
from listen.page.bench_form import read_form, read_values
from listen.planning import Planned, lay_out_plan

CAUTIONS = (
    "Eyes, ears and lungs: wear protection, and draw off the dust.",
    "Unplug the router before you touch the bit or the collet.",
    "Feed against the bit's rotation. A climb cut can pull the router out of your hands.",
    "Never exceed the speed marked on the bit.",
    "The makers' instructions, local rules and your training come before anything said here.",
)


def plan_for(form: object) -> dict[str, Any]:
    """The plan in words, and its window in figures.

    What the set-up does not tell enough for is None or empty; `missing` names what to tell.

    Raises
    ------
    FormError, SetupError
        If the set-up makes no sense.
    """
    bench = read_form(form)
    cut = bench.cut
    missing = [
        name
        for name, value in (
            ("edge", cut.edge_length_mm),
            ("bit", cut.bit_diameter_mm),
            ("flutes", cut.flutes),
            ("trim", cut.trim_allowance_mm),
            ("material", working_band(cut)),
        )
        if value is None
    ]
    answer: dict[str, Any] = {
        "missing": missing,
        "band": band_object(cut, bench),
        "cautions": CAUTIONS,
        "trouble": None,
        "speed": None,
        "rpm": None,
        "dial": None,
        "work_up_to": None,
        "aim": None,
        "marks": None,
        "table": [],
        "limits": [],
        "window": None,
        "notes": [],
        "assumed": [],
    }
    if set(missing) - {"edge"}:
        return answer
    told = read_values(form)
    try:
        planned = lay_out_plan(
            **{name: told[name] for name in ("bit", "trim", "material", "edge", "thickness")},
            **{name: told[name] for name in ("router", "flutes", "max_rpm", "band")},
            plate_range_rpm=told["range"],
            radius=None,
            grain=None,
            speed=None,
        )
    except ToothbeatError as error:
        return {**answer, "trouble": str(error)}
    return {**answer, **_told(planned)}


def _told(planned: Planned) -> dict[str, Any]:
    plan, units = planned.plan, planned.units
    stops = [note.text for note in plan.notes if note.weight is Weight.STOP]
    if not plan.fits:
        stops.append(say_conflict(plan.in_the_way, units))
    answer: dict[str, Any] = {
        "trouble": " ".join(stops) or None,
        "table": [_row(row, units) for row in plan.pace],
        "limits": [
            {
                "name": room.limit.name,
                "at": say_limit(room.limit, units),
                "room": _room(room),
                "binds": room is plan.rooms[0],
            }
            for room in plan.rooms
        ],
        "notes": [note.text for note in plan.notes if note.weight is not Weight.STOP],
        "assumed": planned.assumed,
    }
    start, end = plan.start, plan.work_up_to
    if start is None or start.aim is None:
        return answer
    aim_s = _aim(start)
    return {
        **answer,
        "rpm": start.spindle_rpm,
        "speed": say_speed(start.spindle_rpm),
        "dial": start.setting,
        "work_up_to": _row(end, units) if end is not None and end != start else None,
        "aim": aim_s,
        "marks": [f"{mark:.1f} s" for mark in plan.quarters_s] if aim_s else None,
        "window": _window(plan, start, units),
    }


def _row(row: PaceRow, units: Units) -> dict[str, Any]:
    aim = _aim(row)
    if aim is None and row.aim is not None:
        aim = f"{say_feed(row.aim.low_mm_s, units)} to {say_feed(row.aim.high_mm_s, units)}"
    return {
        "dial": row.setting,
        "speed": say_speed(row.spindle_rpm),
        "aim": aim or "not for this cut",
    }


def _aim(row: PaceRow) -> str | None:
    if row.low_s is None or row.high_s is None:
        return None
    return say_range_s(row.low_s, row.high_s)


def _room(room: Room) -> str:
    if room.share < 0:
        return "past it"
    return f"{100 * room.share:.0f} %" if room.share < 1 else "plenty"


def _window(plan: Plan, start: PaceRow, units: Units) -> dict[str, Any] | None:
    """The polygon of all good speeds and feeds, and where in it to start."""
    if not plan.window.corners or start.aim is None:
        return None
    scale, unit = (1.0, "mm/s") if units is Units.MM else (60 / 25.4, "in/min")
    return {
        "corners": [
            {"rpm": round(rpm), "feed": round(feed_mm_s * scale, 1)}
            for rpm, feed_mm_s in plan.window.corners
        ],
        "unit": unit,
        "start": {
            "rpm": start.spindle_rpm,
            "low": round(start.aim.low_mm_s * scale, 1),
            "high": round(start.aim.high_mm_s * scale, 1),
        },
    }
