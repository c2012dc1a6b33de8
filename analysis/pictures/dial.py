"""What a dial does: the take with its plateaus, and the curve from setting to speed."""

from __future__ import annotations

import numpy as np
from matplotlib import patheffects
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, FuncFormatter

from analysis.dial.calibration import Calibration
from analysis.dial.curve import DialCurve
from analysis.dial.plateaus import Plateau
from analysis.dial.settings import Marks, setting_at
from analysis.hearing.spindle import SpindleTrack
from analysis.pictures.style import INK, PAPER, RULE, SOFT_INK, SPINDLE, clock, drawing, say_on

_WIDTH_IN = 9.0
_PLATEAU = "#dfe6eb"
_LABEL_SHARE = 0.09  # of the curve's height: how far a speed's figures reach above it
_BREAK_S = 3.0  # white between two takes on one time axis


def plateaus_figure(
    tracks: tuple[SpindleTrack, ...],
    plateaus: tuple[Plateau, ...],
    *,
    labels: tuple[str, ...] | None,
    title: str,
) -> Figure:
    """Draw speed over time with every plateau found; `labels` are their settings, if matched."""
    with drawing():
        figure = Figure(figsize=(_WIDTH_IN, 4.2), layout="constrained")
        figure.suptitle(title, x=0.012, ha="left", fontsize=14, fontweight="bold")
        _draw_plateaus(figure.subplots(), tracks, plateaus, labels)
        return figure


def dial_figure(
    calibration: Calibration, tracks: tuple[SpindleTrack, ...], *, title: str
) -> Figure:
    """Draw the takes with their plateaus and settings, and the curve they make."""
    with drawing():
        figure = Figure(figsize=(_WIDTH_IN, 8.4), layout="constrained")
        figure.suptitle(title, x=0.012, ha="left", fontsize=14, fontweight="bold")
        heard, curve = figure.subplots(2, 1, height_ratios=[3.2, 4.2])
        plateaus = tuple(point.plateau for point in calibration.points)
        labels = tuple(point.setting.label for point in calibration.points)
        _draw_plateaus(heard, tracks, plateaus, labels)
        heard.set_title("What was heard")
        _draw_curve(curve, calibration)
        curve.set_title("What the dial does")
        return figure


def _draw_plateaus(
    axes: Axes,
    tracks: tuple[SpindleTrack, ...],
    plateaus: tuple[Plateau, ...],
    labels: tuple[str, ...] | None,
) -> None:
    starts_s = _starts(tracks)
    axes.set_xlabel("time in the take" if len(tracks) == 1 else "time, take after take")
    axes.xaxis.set_major_formatter(FuncFormatter(clock))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda rpm, _: f"{rpm:,.0f}"))
    axes.set_ylabel("spindle speed, rpm")
    axes.set_xlim(0, starts_s[-1])
    heard = [track.spindle_rpm[np.isfinite(track.spindle_rpm)] for track in tracks]
    if not any(len(speed) for speed in heard):
        say_on(axes, "no router heard")
        return
    speed = np.concatenate(heard)
    top = float(np.percentile(speed, 99.8)) * 1.02
    low = min(float(np.percentile(speed, 3)), *(p.spindle_rpm for p in plateaus), top * 0.8)
    axes.set_ylim(low - 0.16 * (top - low), top + 0.14 * (top - low))
    for track, start_s in zip(tracks, starts_s, strict=False):
        axes.plot(start_s + track.time_s, track.spindle_rpm, color=SPINDLE, lw=1.5, zorder=3)
    for start_s in starts_s[1:-1]:
        axes.axvline(start_s - _BREAK_S / 2, color=SOFT_INK, lw=0.8, ls=(0, (1, 2)))
    for number, plateau in enumerate(plateaus, start=1):
        start_s = starts_s[plateau.take]
        a, b = start_s + plateau.start_s, start_s + plateau.end_s
        axes.axvspan(a, b, color=_PLATEAU, lw=0, zorder=1)
        axes.plot([a, b], [plateau.spindle_rpm] * 2, color=INK, lw=3.2, zorder=4)
        axes.annotate(
            f"{plateau.spindle_rpm:,.0f}",
            ((a + b) / 2, plateau.spindle_rpm),
            xytext=(0, 7),
            textcoords="offset points",
            ha="center",
            fontsize=8.5,
            path_effects=[patheffects.withStroke(linewidth=3, foreground=PAPER)],
            zorder=5,
        )
        axes.annotate(
            labels[number - 1] if labels is not None else f"#{number}",
            ((a + b) / 2, 0),
            xycoords=("data", "axes fraction"),
            xytext=(0, 5),
            textcoords="offset points",
            ha="center",
            fontsize=12 if labels is not None else 10,
            fontweight="bold",
        )
    if labels is not None:
        axes.annotate(
            "setting",
            (0, 0),
            xycoords="axes fraction",
            xytext=(4, 6),
            textcoords="offset points",
            fontsize=8,
            color=SOFT_INK,
        )


def _starts(tracks: tuple[SpindleTrack, ...]) -> list[float]:
    """Where each take begins on the common time axis, and where the last ends."""
    starts = [0.0]
    for track in tracks:
        length_s = float(track.time_s[-1]) if len(track.time_s) else 1.0
        starts.append(starts[-1] + length_s + _BREAK_S)
    return [*starts[:-1], starts[-1] - _BREAK_S]


def _draw_curve(axes: Axes, calibration: Calibration) -> None:
    curve = calibration.curve
    first, last = curve.knots[0].position, curve.knots[-1].position
    place = np.linspace(first, last, 400)
    speeds = [curve.speed_at(float(position)) for position in place]
    speed = np.array([s.spindle_rpm if s else np.nan for s in speeds])
    u95 = np.array([s.spindle_rpm_u95 if s else np.nan for s in speeds])
    room = 0.09 * (last - first)
    axes.set_xlim(first - room, last + room)
    axes.margins(y=0.1)
    axes.fill_between(place, speed - u95, speed + u95, color=_PLATEAU, lw=0, zorder=1)
    axes.plot(place, speed, color=INK, lw=2.0, zorder=3)
    axes.plot(
        [point.setting.position for point in calibration.points],
        [point.plateau.spindle_rpm for point in calibration.points],
        ls="",
        marker="o",
        ms=7,
        mfc=PAPER,
        mec=INK,
        mew=1.6,
        zorder=4,
    )
    _draw_plate(axes, calibration.plate_range_rpm)
    low_rpm, high_rpm = axes.get_ylim()
    for knot in curve.knots:
        # Above the curve, or below it where a line of the plate would run through the figure.
        to_plate_rpm = np.array(calibration.plate_range_rpm or ()) - knot.spindle_rpm
        share = to_plate_rpm / (high_rpm - low_rpm)
        below = bool(np.any((share > 0) & (share < _LABEL_SHARE)))
        axes.annotate(
            f"{knot.spindle_rpm:,.0f}",
            (knot.position, knot.spindle_rpm),
            xytext=(7, -7) if below else (-7, 7),
            textcoords="offset points",
            ha="left" if below else "right",
            va="top" if below else "baseline",
            fontsize=9,
            path_effects=[patheffects.withStroke(linewidth=3, foreground=PAPER)],
            zorder=5,
        )
    axes.grid(axis="y", color=RULE, lw=0.6)
    axes.set_axisbelow(True)
    axes.yaxis.set_major_formatter(FuncFormatter(lambda rpm, _: f"{rpm:,.0f}"))
    axes.xaxis.set_major_locator(FixedLocator([knot.position for knot in curve.knots]))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda at, _: _label(curve, at)))
    axes.set_xlabel("dial setting")
    axes.set_ylabel("spindle speed running free, rpm")
    axes.annotate(
        "grey: where the speed lies, 95 times in 100",
        (1, 1),
        xycoords="axes fraction",
        xytext=(0, 6),
        textcoords="offset points",
        ha="right",
        fontsize=8.5,
        color=SOFT_INK,
    )


def _label(curve: DialCurve, position: float) -> str:
    marks: Marks = curve.marks
    return setting_at(position, marks=marks).label


def _draw_plate(axes: Axes, plate_range_rpm: tuple[float, float] | None) -> None:
    if plate_range_rpm is None:
        return
    for plate_rpm, side, ha in zip(plate_range_rpm, (1, 0), ("right", "left"), strict=True):
        axes.axhline(plate_rpm, color=SOFT_INK, lw=1.0, ls=(0, (5, 3)), zorder=2)
        axes.annotate(
            f"plate {plate_rpm:,.0f}",
            (side, plate_rpm),
            xycoords=("axes fraction", "data"),
            xytext=(4 - 8 * side, 3),
            textcoords="offset points",
            fontsize=8.5,
            color=SOFT_INK,
            ha=ha,
        )
