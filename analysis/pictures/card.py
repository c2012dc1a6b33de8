"""A plan on a card, A6, black on white: to print and take to the bench."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from analysis.coaching.explaining import say_conflict
from analysis.coaching.guidance import Weight
from analysis.coaching.plan import PaceRow, Plan
from analysis.coaching.wording import (
    Units,
    say_chip,
    say_length,
    say_range_s,
    say_size,
    say_speed,
)
from analysis.pictures.direction import draw_direction
from analysis.pictures.style import drawing

A6_MM = (105.0, 148.0)
_MM_PER_INCH = 25.4
_MARGIN_MM = 6.0
_BLACK = "#000000"
_VALUES_MM = 38.0
_FEET_MM = 50.0
"""The drawings and the cautions take this much at the foot."""
_MOST_ROWS = 6
_NOTE_MM, _NOTE_SIZE, _NOTE_LETTERS = 9.5, 6.8, 72


def plan_card(plan: Plan, *, units: Units, title: str) -> Figure:
    """Draw the card; it has the size of A6 paper when printed at 100 %."""
    with drawing():
        figure = Figure(figsize=(A6_MM[0] / _MM_PER_INCH, A6_MM[1] / _MM_PER_INCH))
        page = _Page(figure)
        page.words(title, size=9.5, bold=True, width=50)
        page.words(_work_line(plan, units), size=7.2, width=72)
        page.rule()
        stops = [note for note in plan.notes if note.weight is Weight.STOP]
        for note in stops:
            page.words(f"STOP. {note.text}", size=8, bold=True, width=58)
        if stops:
            page.rule()
        if plan.fits and plan.start is not None:
            _write_advice(page, plan, units)
        else:
            page.words("NOT LIKE THIS", size=13, bold=True, width=40)
            page.words(say_conflict(plan.in_the_way, units), size=8, width=64)
            page.rule()
        _write_notes(page, plan)
        _draw_feet(figure, plan)
        return figure


class _Page:
    """Writes downwards from the top of the card; heights in mm."""

    def __init__(self, figure: Figure) -> None:
        self.figure = figure
        self.at_mm = A6_MM[1] - _MARGIN_MM

    def words(self, text: str, *, size: float, width: int, bold: bool = False) -> None:
        """Write wrapped text, `width` characters to a line."""
        for line in textwrap.wrap(text, width, break_on_hyphens=False):
            self.line([(_MARGIN_MM, line)], size=size, bold=bold)

    def line(self, parts: Iterable[tuple[float, str]], *, size: float, bold: bool = False) -> None:
        """Write texts side by side, each at its distance from the left edge."""
        for x_mm, text in parts:
            self.figure.text(
                x_mm / A6_MM[0],
                self.at_mm / A6_MM[1],
                text,
                fontsize=size,
                fontweight="bold" if bold else "normal",
                color=_BLACK,
                va="top",
            )
        self.at_mm -= line_height(size)

    def rule(self) -> None:
        self.at_mm -= 1.0
        self.figure.add_artist(_line(_MARGIN_MM, A6_MM[0] - _MARGIN_MM, self.at_mm))
        self.at_mm -= 2.0


def line_height(size: float) -> float:
    """Height of a line of text of `size` points, mm."""
    return size * _MM_PER_INCH / 72 * 1.3


def _line(left_mm: float, right_mm: float, at_mm: float) -> Line2D:
    return Line2D(
        [left_mm / A6_MM[0], right_mm / A6_MM[0]], [at_mm / A6_MM[1]] * 2, color=_BLACK, lw=0.8
    )


def _work_line(plan: Plan, units: Units) -> str:
    work = plan.job.work
    buried = work.trim_allowance_mm >= plan.job.bit.diameter_mm
    parts = [
        "bit buried" if buried else f"{say_size(work.trim_allowance_mm, units)} trim",
        f"{say_size(work.thickness_mm, units)} thick" if work.thickness_mm else "",
        f"{say_size(work.edge_length_mm, units)} edge" if work.edge_length_mm else "",
        f"chip {say_chip(plan.band.low_mm, units)} to {say_chip(plan.band.high_mm, units)}",
    ]
    return ", ".join(part for part in parts if part)


def _write_advice(page: _Page, plan: Plan, units: Units) -> None:
    start, end = plan.start, plan.work_up_to
    assert start is not None
    page.line([(_MARGIN_MM, "START AT"), (_VALUES_MM, _speed(start))], size=13, bold=True)
    if end is not None and end.spindle_rpm > start.spindle_rpm:
        page.line([(_MARGIN_MM, "then work up to"), (_VALUES_MM, _speed(end))], size=8.5)
    edge_mm = plan.job.work.edge_length_mm
    if start.low_s is not None and edge_mm is not None:
        page.at_mm -= 1.0
        page.line(
            [(_MARGIN_MM, "ONE PASS"), (_VALUES_MM, _pass_time(start))],
            size=13,
            bold=True,
        )
        page.line([(_MARGIN_MM, ""), (_VALUES_MM, f"over {say_length(edge_mm, units)}")], size=8.5)
    if plan.beat_s is not None:
        marks = " / ".join(f"{mark:.1f}" for mark in plan.quarters_s)
        page.line(
            [(_MARGIN_MM, "at the quarters"), (_VALUES_MM, f"{marks} s")],
            size=8.5,
        )
    page.rule()
    rows = [row for row in plan.pace if row.low_s is not None][:_MOST_ROWS]
    if len(rows) > 1:
        dial = any(row.setting for row in rows)
        columns = (_MARGIN_MM, 24.0, 52.0) if dial else (_MARGIN_MM, _MARGIN_MM, 34.0)
        head = ["dial" if dial else "", "speed", "one pass"]
        page.line(zip(columns, head, strict=True), size=8, bold=True)
        for row in rows:
            cells = [row.setting or "", say_speed(row.spindle_rpm), _pass_time(row)]
            page.line(zip(columns, cells, strict=True), size=8)
        page.rule()


def _pass_time(row: PaceRow) -> str:
    if row.low_s is None or row.high_s is None:
        return ""
    return say_range_s(row.low_s, row.high_s)


def _speed(row: PaceRow) -> str:
    dial = f"dial {row.setting}  " if row.setting is not None else ""
    return f"{dial}{say_speed(row.spindle_rpm)}"


def _write_notes(page: _Page, plan: Plan) -> None:
    """The gravest notes; the feed direction is drawn below."""
    notes = [
        note
        for note in plan.notes
        if note.weight is Weight.CAUTION and note.topic != "feed direction"
    ]
    for note in notes:
        lines = textwrap.wrap(note.text, _NOTE_LETTERS)
        if page.at_mm - len(lines) * line_height(_NOTE_SIZE) < _FEET_MM:
            break
        for count, line in enumerate(lines):
            sign = "" if count else "!"
            page.line([(_MARGIN_MM, sign), (_NOTE_MM, line)], size=_NOTE_SIZE)


def _draw_feet(figure: Figure, plan: Plan) -> None:
    mounting = plan.job.router.mounting
    for left, inside in ((0.02, False), (0.51, True)):
        axes = figure.add_axes((left, 0.083, 0.47, 0.24))
        draw_direction(axes, mounting, inside=inside)
    for row, text in enumerate(
        (
            "Unplug before you touch the bit. Protect eyes, ears and lungs. Never a climb cut.",
            "The makers' instructions and local rules come before this card.",
        )
    ):
        figure.text(
            _MARGIN_MM / A6_MM[0],
            (8.4 - 3.3 * row) / A6_MM[1],
            text,
            fontsize=6.4,
            color=_BLACK,
        )
