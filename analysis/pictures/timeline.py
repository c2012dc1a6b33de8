"""The passes along time: when each was cut, where it stood still, how far the spindle sagged."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle
from matplotlib.ticker import FuncFormatter, MaxNLocator

from analysis.coaching.summary import CoachedPass, Review
from analysis.hearing.listener import Hearing
from analysis.hearing.passes import Span
from analysis.hearing.spindle import SpindleTrack
from analysis.pictures.style import INK, LOOKS, PAPER, SOFT_INK, SPINDLE, clock, say_on

_HEADROOM = 0.02
_ROW_S = 180.0
_MOST_ROWS = 24
_ROOM_FOR_A_NUMBER = 0.012  # of the picture's width


def rows_of(hearing: Hearing) -> int:
    """How many lines the take is broken into, as a score is: three minutes each, up to 24."""
    return max(1, math.ceil(hearing.duration_s / _row_length_s(hearing)))


def _row_length_s(hearing: Hearing) -> float:
    minutes = math.ceil(hearing.duration_s / _MOST_ROWS / 60)
    return max(_ROW_S, 60.0 * minutes)


def draw_timeline(rows: Sequence[Axes], hearing: Hearing, review: Review) -> None:
    """Draw the spindle's speed over time, and each pass as a block across it.

    A block carries its number and its verdict's marker; dwells are cross-hatched and lift-offs
    left white, both named in the key. A pass cut off by the take is drawn with a dashed border.
    The take runs on from one of `rows` to the next; there are as many as `rows_of` says.
    """
    running = hearing.track.spindle_rpm[np.isfinite(hearing.track.spindle_rpm)]
    length_s = hearing.duration_s if len(rows) == 1 else _row_length_s(hearing)
    for row, axes in enumerate(rows):
        axes.set_xlim(row * length_s, (row + 1) * length_s)
        axes.xaxis.set_major_formatter(FuncFormatter(clock))
        if running.size == 0:
            say_on(axes, "no router heard")
            continue
        axes.set_ylim(*_speed_window(running))
        _draw_row(axes, hearing.track, review)
    rows[len(rows) // 2].set_ylabel("spindle speed, rpm")
    if running.size:
        _key(rows[-1], review)


def _draw_row(axes: Axes, track: SpindleTrack, review: Review) -> None:
    start_s, end_s = axes.get_xlim()
    axes.yaxis.set_major_formatter(FuncFormatter(lambda rpm, _: f"{rpm:,.0f}"))
    axes.yaxis.set_major_locator(MaxNLocator(5))
    for number, coached in enumerate(review.passes, start=1):
        if coached.reading.exit_s > start_s and coached.reading.entry_s < end_s:
            _draw_pass(axes, number, coached)
    here = (track.time_s >= start_s) & (track.time_s <= end_s)
    axes.plot(track.time_s[here], track.spindle_rpm[here], color=SPINDLE, lw=1.6, zorder=4)
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
    start_s, end_s = axes.get_xlim()
    seen = Span(max(reading.entry_s, start_s), min(reading.exit_s, end_s))
    middle_s = (seen.start_s + seen.end_s) / 2
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
    if seen.length_s < _ROOM_FOR_A_NUMBER * (end_s - start_s):
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
