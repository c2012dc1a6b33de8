"""A calibration as a person reads it on a terminal, 80 columns wide, without colour."""

from __future__ import annotations

import textwrap

from analysis.dial.calibration import Calibration
from analysis.dial.drift import DialDrift
from analysis.dial.motor import MotorReading
from analysis.dial.plateaus import Plateau

WIDTH = 80
_BAR = 34
_NAME = "toothbeat: "


def calibration_text(calibration: Calibration, *, title: str, notes: tuple[str, ...]) -> str:
    """Write the table of plateaus, the dial setting by setting, and the notes."""
    rows = [f"{'setting':>9}  {'from':>6}  {'to':>6}  {'rpm':>8}  {'':>7}  steady to"]
    for point in calibration.points:
        plateau = point.plateau
        rows.append(
            f"{point.setting.label:>9}  {clock(plateau.start_s):>6}  {clock(plateau.end_s):>6}  "
            f"{plateau.spindle_rpm:>8,.0f}  {_u95(plateau.spindle_rpm_u95):>7}  "
            f"{plateau.unsteadiness_percent:.2f} %"
        )
    blocks = [title, "\n".join(rows), _curve(calibration)]
    said = (*calibration.notes, *notes)
    if said:
        blocks.append("\n".join(wrapped(note, first="  - ", later="    ") for note in said))
    return "\n\n".join(blocks) + "\n"


def _curve(calibration: Calibration) -> str:
    lines = ["What the dial does, running free (95 times in 100):"]
    curve = calibration.curve
    for knot in curve.knots:
        told = curve.speed_at(knot.position)
        assert told is not None
        times = f"  measured {knot.times} times" if knot.times > 1 else ""
        lines.append(
            f"{knot.label:>9}  {told.spindle_rpm:>8,.0f}  {_u95(told.spindle_rpm_u95):>7}{times}"
        )
    return "\n".join(lines)


def plateaus_drawn(plateaus: tuple[Plateau, ...], *, takes: tuple[str, ...]) -> str:
    """Draw what was found: a row for each steady speed, its bar as long as it is fast."""
    if not plateaus:
        return "  (no steady speed)"
    fastest = max(plateau.spindle_rpm for plateau in plateaus)
    rows, take = [], -1
    for number, plateau in enumerate(plateaus, start=1):
        if len(takes) > 1 and plateau.take != take:
            take = plateau.take
            rows.append(f"  {takes[take]}")
        bar = "=" * max(1, round(_BAR * plateau.spindle_rpm / fastest))
        rows.append(
            f"  #{number:<3} {clock(plateau.start_s):>5} to {clock(plateau.end_s):>5}  "
            f"{plateau.spindle_rpm:>7,.0f} rpm  {bar}"
        )
    return "\n".join(rows)


def drift_text(drifts: tuple[DialDrift, ...]) -> str:
    """Say for each setting whether the calibration still holds."""
    return "\n".join(wrapped(drift.sentence) for drift in drifts) + "\n"


def motor_sentence(reading: MotorReading | None) -> str:
    """Say what load does to the speed, and how sure that is."""
    if reading is None:
        return "Under load: no pass with the router running free around it is heard in that take."
    sag = f"{reading.sag_percent:.1f} % in the middle of {reading.passes} passes"
    if reading.passes == 1:
        sag = f"{reading.sag_percent:.1f} % in one pass"
    chance = max(reading.chance_held, 1 - reading.chance_held)
    return f"Under load: {reading.control.value} (sag {sag}; {100 * min(chance, 0.99):.0f} % sure)."


def clock(time_s: float) -> str:
    """A time of the take to the second: 0:07."""
    minutes, seconds = divmod(round(time_s), 60)
    return f"{minutes}:{seconds:02}"


def wrapped(text: str, *, first: str = "", later: str = "") -> str:
    """A sentence in WIDTH columns."""
    return textwrap.fill(
        text, WIDTH, initial_indent=first, subsequent_indent=later, break_on_hyphens=False
    )


def refusal(text: str) -> str:
    """A refusal's first sentences in WIDTH columns, the program's name before them counted."""
    return wrapped(text, first=_NAME)[len(_NAME) :]


def _u95(u95_rpm: float) -> str:
    return f"± {max(u95_rpm, 1):,.0f}"
