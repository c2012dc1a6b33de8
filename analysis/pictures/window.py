"""The window of speed and feed, with every limit as a named line."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Polygon
from matplotlib.ticker import FuncFormatter, MultipleLocator

from analysis.coaching.explaining import say_limit
from analysis.coaching.plan import Plan
from analysis.coaching.summary import CoachedPass, Review
from analysis.coaching.wording import Units
from analysis.cutting.limits import Bound, Limit
from analysis.cutting.window import Window
from analysis.pictures.direction import draw_direction
from analysis.pictures.style import INK, LOOKS, MM_PER_INCH, PAPER, SOFT_INK, SPINDLE, drawing

_WINDOW_TINT = "#e4eeec"
_BEYOND_RPM = 1_500.0
_LEAST_TOP_MM_S, _MOST_TOP_MM_S = 50.0, 135.0
_LABEL_GAP = 0.052
"""Least distance between two labels, as a share of the height."""
_SPEED_BOUNDS = (Bound.LEAST_SPEED, Bound.MOST_SPEED)
_FEED_BOUNDS = (Bound.LEAST_FEED, Bound.MOST_FEED)


def plan_sheet(plan: Plan, *, units: Units, title: str) -> Figure:
    """Draw a plan: the window with the advised cut, and which way to feed."""
    with drawing():
        figure = Figure(figsize=(11, 6.2), layout="constrained")
        left, right = figure.subfigures(1, 2, squeeze=False, width_ratios=[2.75, 1])[0]
        axes = left.subplots()
        axes.set_title(title)
        draw_window(axes, plan.window, units=units, plan=plan)
        mounting = plan.job.router.mounting
        right.suptitle(f"Which way to feed, {mounting.value}", fontsize=11, fontweight="bold")
        for below, inside in zip(right.subplots(2, 1), (False, True), strict=True):
            draw_direction(below, mounting, inside=inside)
        return figure


def window_figure(window: Window, review: Review, *, units: Units) -> Figure:
    """Draw the passes of a review as points in their window."""
    with drawing():
        figure = Figure(figsize=(8.4, 4.6), layout="constrained")
        draw_window(figure.subplots(), window, units=units, passes=review.passes)
        return figure


def draw_window(
    axes: Axes,
    window: Window,
    *,
    units: Units,
    plan: Plan | None = None,
    passes: Sequence[CoachedPass] = (),
) -> None:
    """Draw feed against spindle speed.

    Lines that lie outside the picture are named under it. With a plan, the advised feeds are
    a bar at the speed to start at and a thinner one at the speed to work up to. Passes are
    marked as everywhere: a marker, a colour and a word in the legend for each verdict.
    """
    low_rpm, high_rpm = _speed_view(window, passes)
    top_mm_s = _top_feed(window, passes)
    axes.set_xlim(low_rpm, high_rpm)
    axes.set_ylim(0, _feed(top_mm_s, units))
    if window.is_open:
        axes.add_patch(
            Polygon(
                [(rpm, _feed(feed, units)) for rpm, feed in window.corners],
                facecolor=_WINDOW_TINT,
                edgecolor="#9fb8b3",
                hatch="///",
                lw=0,
                zorder=1,
            )
        )
    hidden = _draw_limits(axes, window, units, top_mm_s)
    if plan is not None:
        _draw_advice(axes, plan, units)
    _draw_passes(axes, passes, units)
    axes.xaxis.set_major_locator(MultipleLocator(2_000))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda rpm, _: f"{rpm:,.0f}"))
    axes.set_xlabel("\n".join(("spindle speed, rpm", *_far_off(hidden))))
    axes.set_ylabel("feed, in/min" if units is Units.INCH else "feed, mm/s")
    if not window.is_open:
        axes.text(
            0.5,
            0.5,
            "no speed and feed keep every limit",
            transform=axes.transAxes,
            ha="center",
            fontweight="bold",
            bbox={"facecolor": PAPER, "edgecolor": INK, "boxstyle": "round,pad=0.5"},
            zorder=6,
        )


def _far_off(hidden: list[str]) -> list[str]:
    if not hidden:
        return []
    return textwrap.wrap(f"too far off to show: {', '.join(hidden)}", 72)


def _feed(feed_mm_s: float, units: Units) -> float:
    return feed_mm_s * 60 / MM_PER_INCH if units is Units.INCH else feed_mm_s


def _speed_view(window: Window, passes: Sequence[CoachedPass]) -> tuple[float, float]:
    """From below the slowest speed in sight to above the fastest."""
    least, most = (window.tightest(bound) for bound in _SPEED_BOUNDS)
    speeds = [limit.value for limit in window.limits if limit.name.startswith("router's")]
    speeds += [limit.value for limit in (least, most) if limit is not None]
    speeds += [p.reading.spindle_rpm for p in passes]
    low_rpm = min(speeds) if least is not None else min(8_000.0, *speeds)
    return max(0.0, low_rpm - _BEYOND_RPM), max(speeds) + _BEYOND_RPM


def _top_feed(window: Window, passes: Sequence[CoachedPass]) -> float:
    """High enough for the window and the passes, with room above."""
    top_mm_s = 1.4 * max((feed for _, feed in window.corners), default=_MOST_TOP_MM_S)
    top_mm_s = min(max(top_mm_s, _LEAST_TOP_MM_S), _MOST_TOP_MM_S)
    feeds = (p.reading.feed_mm_s for p in passes if p.reading.feed_mm_s is not None)
    return max([top_mm_s, *(1.1 * feed for feed in feeds)])


def _draw_limits(axes: Axes, window: Window, units: Units, top_mm_s: float) -> list[str]:
    """Draw the lines that are in sight, and return the names of the others."""
    low_rpm, high_rpm = axes.get_xlim()
    hidden = []
    upright: dict[tuple[float, bool], list[str]] = {}
    right: list[tuple[float, str]] = []
    for limit in window.limits:
        if limit.bound in _SPEED_BOUNDS:
            if low_rpm < limit.value < high_rpm:
                upright.setdefault((limit.value, limit.bound.is_least), []).append(limit.name)
            else:
                hidden.append(limit.name)
            continue
        slow, fast = (
            limit.feed_at(spindle_rpm=rpm, flutes=window.flutes) or 0.0
            for rpm in (low_rpm, high_rpm)
        )
        if slow >= top_mm_s:
            hidden.append(limit.name)
            continue
        style = "-" if limit.bound.is_least else (0, (7, 2))
        axes.plot(
            [low_rpm, high_rpm],
            [_feed(slow, units), _feed(fast, units)],
            color=INK,
            lw=1.5,
            ls=style,
            zorder=3,
        )
        if fast <= top_mm_s:
            right.append((fast, _label(limit, units)))
        else:
            # The line leaves through the top: name it there.
            at_top = low_rpm + (high_rpm - low_rpm) * (top_mm_s - slow) / (fast - slow)
            _label_top(axes, at_top, _label(limit, units))
    _label_right(axes, right, units, top_mm_s)
    for (rpm, is_least), names in upright.items():
        axes.axvline(rpm, color=INK, lw=1.5, ls=(0, (2, 2)), zorder=3)
        axes.annotate(
            " and ".join(names),
            (rpm, 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(-3 if is_least else 4, -6),
            textcoords="offset points",
            rotation=90,
            ha="right" if is_least else "left",
            va="top",
            fontsize=8.5,
            color=SOFT_INK,
            bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 1.0, "alpha": 0.8},
            zorder=4,
        )
    return hidden


def _label(limit: Limit, units: Units) -> str:
    if limit.bound in _FEED_BOUNDS:
        return limit.name
    return f"{limit.name}\n{say_limit(limit, units)}"


def _label_right(
    axes: Axes, labels: list[tuple[float, str]], units: Units, top_mm_s: float
) -> None:
    """Name the lines at the right edge, each near its line, none over another."""
    least = 0.0
    for feed_mm_s, text in sorted(labels):
        at = max(feed_mm_s / top_mm_s, least + _LABEL_GAP * (1 + text.count("\n")) / 2)
        least = at + _LABEL_GAP * (1 + text.count("\n")) / 2
        axes.annotate(
            text,
            (1.0, _feed(feed_mm_s, units)),
            xycoords=("axes fraction", "data"),
            xytext=(1.03, at),
            textcoords="axes fraction",
            va="center",
            fontsize=8.5,
            linespacing=1.05,
            arrowprops={"arrowstyle": "-", "color": SOFT_INK, "lw": 0.7, "shrinkA": 1},
            annotation_clip=False,
        )


def _label_top(axes: Axes, rpm: float, text: str) -> None:
    axes.annotate(
        text,
        (rpm, 1.0),
        xycoords=("data", "axes fraction"),
        xytext=(-16, -4),
        textcoords="offset points",
        ha="right",
        va="top",
        fontsize=8.5,
        linespacing=1.05,
        bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 1.0, "alpha": 0.8},
        zorder=4,
    )


def _draw_advice(axes: Axes, plan: Plan, units: Units) -> None:
    for row, width, word in (
        (plan.work_up_to, 3.0, "work up to here"),
        (plan.start, 7.0, "start here"),
    ):
        if row is None or row.aim is None:
            continue
        if word.startswith("work") and plan.start is not None and row == plan.start:
            continue
        ends = [_feed(row.aim.low_mm_s, units), _feed(row.aim.high_mm_s, units)]
        axes.plot(
            [row.spindle_rpm] * 2, ends, color=SPINDLE, lw=width, solid_capstyle="butt", zorder=5
        )
        axes.annotate(
            word,
            (row.spindle_rpm, ends[1]),
            xytext=(0, 26),
            textcoords="offset points",
            ha="center",
            va="bottom",
            fontsize=9,
            fontweight="bold",
            color=INK,
            bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 1.5, "alpha": 0.9},
            arrowprops={"arrowstyle": "-", "color": SPINDLE, "lw": 1.2, "shrinkA": 0, "shrinkB": 0},
            zorder=5,
        )


def _draw_passes(axes: Axes, passes: Sequence[CoachedPass], units: Units) -> None:
    told = set()
    for number, coached in enumerate(passes, start=1):
        reading = coached.reading
        if reading.feed_mm_s is None:
            continue
        look = LOOKS[reading.verdict]
        at = (reading.spindle_rpm, _feed(reading.feed_mm_s, units))
        axes.plot(
            *at,
            marker=look.marker,
            ms=9,
            ls="none",
            color=look.colour,
            mfc=look.colour if look.filled else PAPER,
            mew=1.6,
            zorder=6,
            label=None if look.word in told else look.word,
        )
        told.add(look.word)
        axes.annotate(
            str(number),
            at,
            xytext=(7, 3),
            textcoords="offset points",
            fontsize=8.5,
            fontweight="bold",
            zorder=7,
        )
    if told:
        axes.legend(loc="lower right", fontsize=8.5, framealpha=0.9, ncols=len(told))
