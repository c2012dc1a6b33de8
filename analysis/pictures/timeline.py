"""The passes along time: when each was cut, where it stood still, how far the spindle sagged."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle
from matplotlib.ticker import FuncFormatter

from analysis.coaching.summary import CoachedPass, Review
from analysis.hearing.listener import Hearing
from analysis.hearing.passes import Span
from analysis.pictures.style import INK, LOOKS, PAPER, SOFT_INK, SPINDLE, clock, say_on

_HEADROOM = 0.02
_ROOM_FOR_A_NUMBER = 0.012  # of the picture's width


def draw_timeline(axes: Axes, hearing: Hearing, review: Review) -> None:
    """Draw the spindle's speed over time, and each pass as a block across it.

    A block carries its number and its verdict's marker; dwells are cross-hatched and lift-offs
    left white, both named in the key. A pass cut off by the take is drawn with a dashed border.
    """
    track = hearing.track
    speed_rpm = track.spindle_rpm
    running = np.isfinite(speed_rpm)
    axes.set_xlim(0, hearing.duration_s)
    axes.xaxis.set_major_formatter(FuncFormatter(clock))
    if not running.any():
        say_on(axes, "no router heard")
        return
    low_rpm, high_rpm = _speed_window(speed_rpm[running])
    axes.set_ylim(low_rpm, high_rpm)
    axes.yaxis.set_major_formatter(FuncFormatter(lambda rpm, _: f"{rpm:,.0f}"))
    axes.set_ylabel("spindle speed, rpm")
    for number, coached in enumerate(review.passes, start=1):
        _draw_pass(axes, number, coached)
    axes.plot(track.time_s, speed_rpm, color=SPINDLE, lw=1.6, zorder=4)
    if track.idle_rpm is not None:
        axes.axhline(track.idle_rpm, color=SOFT_INK, lw=0.8, ls=(0, (2, 3)), zorder=1)
        axes.annotate(
            "running free",
            (1.0, track.idle_rpm),
            xycoords=("axes fraction", "data"),
            xytext=(4, 0),
            textcoords="offset points",
            va="center",
            fontsize=8,
            color=SOFT_INK,
        )
    _key(axes, review)


def _draw_pass(axes: Axes, number: int, coached: CoachedPass) -> None:
    reading = coached.reading
    look = LOOKS[reading.verdict]
    low_rpm, high_rpm = axes.get_ylim()
    height = high_rpm - low_rpm

    def block(span: Span, **style: Any) -> None:
        corner = (span.start_s, low_rpm)
        axes.add_patch(Rectangle(corner, span.length_s, height * 0.86, **style))

    whole = Span(reading.entry_s, reading.exit_s)
    block(whole, facecolor=look.colour, alpha=0.22, lw=0, zorder=2)
    for span in reading.dwells:
        block(span, facecolor="none", edgecolor=INK, hatch="xxxx", lw=0.6, zorder=3)
    for span in reading.liftoffs:
        block(span, facecolor=PAPER, edgecolor=SOFT_INK, lw=0.6, zorder=3)
    border = (0, (3, 2)) if not reading.complete else "solid"
    block(whole, fill=False, edgecolor=look.colour, lw=1.2, ls=border, zorder=3)
    middle_s = (reading.entry_s + reading.exit_s) / 2
    axes.plot(
        middle_s,
        low_rpm + height * 0.955,
        marker=look.marker,
        ms=7,
        color=look.colour,
        mfc=look.colour if look.filled else PAPER,
        mew=1.6,
        clip_on=False,
        zorder=5,
    )
    if whole.length_s < _ROOM_FOR_A_NUMBER * axes.get_xlim()[1]:
        return
    axes.text(
        middle_s,
        low_rpm + height * 0.045,
        str(number),
        ha="center",
        fontweight="bold",
        bbox={"boxstyle": "round,pad=0.15", "facecolor": PAPER, "edgecolor": "none"},
        zorder=5,
    )


def _speed_window(speed_rpm: np.ndarray[tuple[int], np.dtype[np.float64]]) -> tuple[float, float]:
    """Limits that show the sag: starting and coasting may run out of the picture."""
    middle = float(np.median(speed_rpm))
    kept = speed_rpm[speed_rpm > 0.6 * middle]
    low, high = np.percentile(kept, [4, 99.8])
    room = max(high - low, _HEADROOM * middle)
    return float(low - 0.45 * room), float(high + 0.45 * room)


def _key(axes: Axes, review: Review) -> None:
    verdicts = list(dict.fromkeys(coached.reading.verdict for coached in review.passes))
    handles: list[Artist] = [
        axes.plot(
            [], [], ls="", marker=look.marker, ms=7, color=look.colour, label=look.word, mew=1.6,
            mfc=look.colour if look.filled else PAPER,
        )[0]
        for look in (LOOKS[verdict] for verdict in verdicts)
    ]  # fmt: skip
    if any(coached.reading.dwells for coached in review.passes):
        handles.append(
            Rectangle((0, 0), 1, 1, fc=PAPER, ec=INK, hatch="xxxx", lw=0.6, label="stood still")
        )
    if any(coached.reading.liftoffs for coached in review.passes):
        handles.append(Rectangle((0, 0), 1, 1, fc=PAPER, ec=SOFT_INK, lw=0.6, label="lifted off"))
    if handles:
        axes.legend(
            handles=handles,
            loc="upper left",
            bbox_to_anchor=(0.0, -0.17),
            ncols=len(handles),
            frameon=False,
            fontsize=8.5,
            handletextpad=0.4,
            columnspacing=1.2,
            borderaxespad=0.0,
        )
