"""A plan as a person reads it on a terminal, 80 columns wide, without colour."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

from analysis.coaching.direction import FIBRES, template_side
from analysis.coaching.explaining import say_conflict, say_limit
from analysis.coaching.guidance import CAUTIONS, Note, Weight
from analysis.coaching.plan import PaceRow, Plan, Room
from analysis.coaching.wording import (
    Units,
    say_chip,
    say_feed,
    say_length,
    say_range_s,
    say_speed,
)
from analysis.cutting.figures import CutFigures
from analysis.cutting.tools import BitStyle
from listen.planning import Planned
from listen.units import MM_PER_INCH, show_length

WIDTH = 80
_INDENT = " " * 12
_SIGNS = {Weight.STOP: "STOP", Weight.CAUTION: "!", Weight.TIP: "-"}


def plan_text(planned: Planned) -> str:
    """Write the whole plan."""
    plan = planned.plan
    blocks = [_opening(planned)]
    if plan.fits:
        blocks.append(_speed_and_pace(planned))
        if len(plan.pace) > 1:
            blocks.append(_ladder(plan))
    if plan.figures is not None:
        blocks.append(_limits(plan, planned.units))
        blocks.append(_in_figures(plan.figures, planned.units))
    blocks.append(_flutes_table(plan))
    blocks.append(_notes(plan.notes))
    blocks.append(_closing(planned))
    return "\n\n".join(blocks) + "\n"


def _opening(planned: Planned) -> str:
    plan, units = planned.plan, planned.units
    work = plan.job.work
    buried = work.trim_allowance_mm >= plan.job.bit.diameter_mm
    parts = [
        "buried in the wood" if buried else f"{show_length(work.trim_allowance_mm, units)} trim",
        f"{show_length(work.thickness_mm, units)} thick" if work.thickness_mm else "",
        f"{show_length(work.edge_length_mm, units)} edge" if work.edge_length_mm else "",
    ]
    lines = [
        _wrap(f"{planned.title}."),
        _wrap(", ".join(part for part in parts if part) + "."),
        _row("Will it do", _verdict(plan, units)),
    ]
    return "\n".join(lines)


def _verdict(plan: Plan, units: Units) -> str:
    stops = [note for note in plan.notes if note.weight is Weight.STOP]
    if stops:
        return f"No. {stops[0].text}"
    if plan.fits:
        return "Yes."
    return f"No. {say_conflict(plan.in_the_way, units)}"


def _speed_and_pace(planned: Planned) -> str:
    plan, units = planned.plan, planned.units
    start, end = plan.start, plan.work_up_to
    assert start is not None
    assert end is not None
    rows = []
    if start.spindle_rpm == end.spindle_rpm:
        rows.append(_row("Speed", f"{_at(start)}."))
    else:
        rows.append(
            _row("Speed", f"Start at {_at(start)}; once that goes well, work up to {_at(end)}.")
        )
    aim = start.aim
    assert aim is not None
    feeds = f"{say_feed(aim.low_mm_s, units).split()[0]} to {say_feed(aim.high_mm_s, units)}"
    edge_mm = plan.job.work.edge_length_mm
    if edge_mm is not None and start.low_s is not None and start.high_s is not None:
        rows.append(
            _row(
                "Pace",
                f"{say_length(edge_mm, units)} in {say_range_s(start.low_s, start.high_s)} "
                f"at {say_speed(start.spindle_rpm)} ({feeds}).",
            )
        )
    else:
        rows.append(_row("Pace", f"{feeds} at {say_speed(start.spindle_rpm)}."))
    if plan.beat_s is not None:
        marks = ", ".join(f"{mark:.1f}" for mark in plan.quarters_s)
        rows.append(
            _row(
                "Count",
                f"For a pass of {plan.beat_s:g} s, pass chalk marks at the quarters of the edge "
                f"at {marks} s.",
            )
        )
    return "\n".join(rows)


def _at(row: PaceRow) -> str:
    dial = f" (dial at {row.setting})" if row.setting is not None else ""
    return f"{say_speed(row.spindle_rpm)}{dial}"


def _ladder(plan: Plan) -> str:
    has_dial = any(row.setting is not None for row in plan.pace)
    has_edge = plan.job.work.edge_length_mm is not None
    head = f"{'dial':>6}  " if has_dial else ""
    head += f"{'speed':>10}  {'one pass' if has_edge else 'feed'}"
    lines = [_INDENT + head]
    for row in plan.pace:
        dial = f"{row.setting or '':>6}  " if has_dial else ""
        if row.low_s is not None and row.high_s is not None:
            said = say_range_s(row.low_s, row.high_s)
        elif row.aim is not None:
            said = f"{row.aim.low_mm_s:.0f} to {row.aim.high_mm_s:.0f} mm/s"
        else:
            said = "not for this cut"
        lines.append(f"{_INDENT}{dial}{say_speed(row.spindle_rpm):>10}  {said}")
    return "\n".join(lines)


def _limits(plan: Plan, units: Units) -> str:
    figures = plan.figures
    assert figures is not None
    lines = [f"{'Limits':<{len(_INDENT)}}{'limit':<31}{'at':>18}  room from here"]
    for index, room in enumerate(plan.rooms):
        mark = "   <- binds" if index == 0 else ""
        lines.append(
            f"{_INDENT}{room.limit.name:<31}{say_limit(room.limit, units):>18}  {_room(room)}{mark}"
        )
    return "\n".join(lines)


def _room(room: Room) -> str:
    if room.share < 0:
        return "past it"
    if room.share > 9:
        return "plenty"
    if room.share >= 1:
        return f"{room.share + 1:.1f} times"
    return f"{100 * room.share:.0f} %"


def _in_figures(figures: CutFigures, units: Units) -> str:
    rows = [
        ("feed per tooth (chip load)", say_chip(figures.feed_per_tooth_mm, units)),
        ("chip thickness, greatest", say_chip(figures.chip_thickness_mm, units)),
        ("chip thickness, mean", say_chip(figures.mean_chip_thickness_mm, units)),
        ("rim speed", f"{figures.rim_speed_m_s:.0f} m/s"),
        ("marks", _marks(figures, units)),
    ]
    if figures.removal_mm3_s is not None:
        rows.append(("wood taken away", _removal(figures.removal_mm3_s, units)))
    if figures.power_w is not None:
        motor = f" of {figures.motor_power_w:.0f} W" if figures.motor_power_w is not None else " W"
        rows.append(("cutting power, about", f"{figures.power_w:.0f}{motor}"))
    if figures.peak_force_n is not None:
        rows.append(("push on the bit, about", f"{figures.peak_force_n:.0f} N"))
    if figures.bending_stress_n_mm2 is not None and figures.allowed_stress_n_mm2 is not None:
        share = 100 * figures.bending_stress_n_mm2 / figures.allowed_stress_n_mm2
        rows.append(("bending, of what is safe", f"{share:.0f} %"))
    if figures.deflection_mm is not None:
        rows.append(("the bit gives way by", say_chip(figures.deflection_mm, units)))
    title = (
        f"In figures, at {say_speed(figures.spindle_rpm)} and {say_feed(figures.feed_mm_s, units)}"
    )
    lines = [title, *(f"{_INDENT}{label:<28}{value:>16}" for label, value in rows)]
    return "\n".join(lines)


def _marks(figures: CutFigures, units: Units) -> str:
    if units is Units.INCH:
        return f"{figures.marks_per_25_mm * float(MM_PER_INCH) / 25:.0f} per inch"
    return f"{figures.marks_per_25_mm:.0f} per 25 mm"


def _removal(mm3_s: float, units: Units) -> str:
    if units is Units.INCH:
        return f"{mm3_s * 60 / float(MM_PER_INCH) ** 3:.1f} in3/min"
    return f"{mm3_s / 1000:.1f} cm3/s"


def _flutes_table(plan: Plan) -> str:
    """How each style of flutes treats the work, held as this router is."""
    mounting = plan.job.router.mounting
    widths = (13, 22, 12, 17)
    lines = [
        f"Which flutes, {mounting.value}",
        "  " + _columns(widths, ("", "fibres go", "the work is", "clean side"), "template"),
    ]
    for style in BitStyle:
        if style is BitStyle.PROFILE:
            continue
        fibres = FIBRES[style, mounting]
        side = (
            "either side" if fibres.template is None else template_side(fibres.template, mounting)
        )
        mark = "*" if style is plan.job.bit.style else ""
        cells = (style.value + mark, fibres.pushed, fibres.work, fibres.clean_face)
        lines.append("  " + _columns(widths, cells, side))
    return "\n".join(lines)


def _columns(widths: tuple[int, ...], cells: tuple[str, ...], last: str) -> str:
    return "".join(f"{cell:<{w}}" for w, cell in zip(widths, cells, strict=True)) + last


def _notes(notes: Iterable[Note]) -> str:
    lines = ["Before you cut"]
    for note in notes:
        sign = _SIGNS[note.weight]
        lines.append(
            textwrap.fill(
                note.text,
                WIDTH,
                initial_indent=f"{sign:>4} ",
                subsequent_indent=" " * 5,
            )
        )
    lines += [
        textwrap.fill(text, WIDTH, initial_indent="   ! ", subsequent_indent=" " * 5)
        for text in CAUTIONS
    ]
    return "\n".join(lines)


def _closing(planned: Planned) -> str:
    plan = planned.plan
    said = [f"Band of chip thickness: {plan.band.basis}."]
    if planned.assumed:
        said.append(f"Assumed, as not told: {', '.join(planned.assumed)}.")
    unchecked = _unchecked(plan)
    if unchecked:
        said.append(f"Not told, so not checked: {', '.join(unchecked)}.")
    if planned.dial_made_on:
        said.append(f"Dial settings from the calibration of {planned.dial_made_on}.")
    return "\n".join(_wrap(line) for line in said)


def _unchecked(plan: Plan) -> list[str]:
    job = plan.job
    return [
        name
        for name, value in (
            ("thickness (power, bending)", job.work.thickness_mm),
            ("cutting length (bending)", job.bit.cutting_length_mm),
            ("speeds on the router's plate", job.router.plate_range_rpm),
            ("the router's power", job.router.input_power_w),
            ("edge length (pass time)", job.work.edge_length_mm),
        )
        if value is None
    ]


def _row(label: str, text: str) -> str:
    return textwrap.fill(
        text, WIDTH, initial_indent=f"{label:<{len(_INDENT)}}", subsequent_indent=_INDENT
    )


def _wrap(text: str) -> str:
    return textwrap.fill(text, WIDTH)
