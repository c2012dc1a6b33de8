"""Every pass against the band, with how sure it is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter, MaxNLocator

from analysis.coaching.summary import Review
from analysis.coaching.verdict import Verdict
from analysis.coaching.wording import Units, say_seconds
from analysis.cutting.bands import Band
from analysis.pictures.style import INK, LOOKS, PAPER, say_on, shown

MOST_ROWS = 30
_BAND_TINT = "#d9ece8"
_HATCH_INK = "#dfe2e5"


@dataclass(frozen=True, slots=True)
class _Mark:
    """One pass in the picture; lengths in the person's units."""

    number: int
    time_s: float
    at: float
    u95: float
    verdict: Verdict | None


def draw_against_band(axes: Axes, review: Review, *, units: Units) -> None:
    """Draw the chip thickness of each judged pass, with a bar spanning its 95 % interval.

    The band is tinted; on either side the ground is hatched and named for what happens there.
    Up to 30 passes have a row each, with time and verdict in words; more stand side by side in
    the order in which they were cut.
    """
    marks = _marks(review, units)
    band = review.band
    if band is None or not marks:
        axes.set_axis_off()
        say_on(axes, "no pass could be held against a band")
    elif is_crowded(review):
        _draw_crowd(axes, marks, band, units)
    else:
        _draw_rows(axes, marks, band, units)


def is_crowded(review: Review) -> bool:
    """Whether there are too many passes for a row each."""
    return len(review.passes) > MOST_ROWS


def _draw_rows(axes: Axes, marks: list[_Mark], band: Band, units: Units) -> None:
    axes.set_xlim(*_limits(band, marks, units))
    axes.set_ylim(len(marks) + 0.5, 0.35)
    for start, end, verdict in _ground(axes.get_xlim(), band, units):
        axes.axvspan(start, end, zorder=0, **_ground_style(verdict))
        axes.annotate(
            LOOKS[verdict].word,
            ((start + end) / 2, 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(0, 3),
            textcoords="offset points",
            ha="center",
            fontsize=9,
            fontweight="bold",
            color=LOOKS[verdict].colour,
        )
    for limit_mm in (band.low_mm, band.high_mm):
        axes.axvline(shown(limit_mm, units), color=INK, lw=1.0, zorder=1)
    for row, mark in enumerate(marks, start=1):
        _draw_mark(axes, mark.at, row, mark, size=10, along_x=True)
        axes.annotate(
            LOOKS[mark.verdict].word,
            (1.0, row),
            xycoords=("axes fraction", "data"),
            xytext=(8, 0),
            textcoords="offset points",
            va="center",
            fontweight="bold",
            color=LOOKS[mark.verdict].colour,
        )
    axes.set_yticks(
        range(1, len(marks) + 1),
        [f"pass {mark.number}, {say_seconds(mark.time_s)}" for mark in marks],
    )
    axes.tick_params(axis="y", length=0)
    axes.spines["left"].set_visible(False)
    axes.xaxis.set_major_locator(MaxNLocator(7, steps=[1, 2, 5, 10]))
    axes.xaxis.set_major_formatter(FuncFormatter(_plain))
    axes.set_xlabel(f"chip thickness, {units.value}")


def _draw_crowd(axes: Axes, marks: list[_Mark], band: Band, units: Units) -> None:
    axes.set_xlim(marks[0].number - 1, marks[-1].number + 1)
    axes.set_ylim(*_limits(band, marks, units))
    for start, end, verdict in _ground(axes.get_ylim(), band, units):
        axes.axhspan(start, end, zorder=0, **_ground_style(verdict))
        axes.annotate(
            LOOKS[verdict].word,
            (1.0, (start + end) / 2),
            xycoords=("axes fraction", "data"),
            xytext=(8, 0),
            textcoords="offset points",
            va="center",
            fontweight="bold",
            color=LOOKS[verdict].colour,
        )
    for limit_mm in (band.low_mm, band.high_mm):
        axes.axhline(shown(limit_mm, units), color=INK, lw=1.0, zorder=1)
    for mark in marks:
        _draw_mark(axes, mark.number, mark.at, mark, size=5, along_x=False)
    axes.xaxis.set_major_locator(MaxNLocator(10, integer=True))
    axes.yaxis.set_major_formatter(FuncFormatter(_plain))
    axes.set_xlabel("pass")
    axes.set_ylabel(f"chip thickness, {units.value}")


def _draw_mark(axes: Axes, x: float, y: float, mark: _Mark, *, size: float, along_x: bool) -> None:
    look = LOOKS[mark.verdict]
    axes.plot(
        x,
        y,
        marker=look.marker,
        ms=size,
        color=look.colour,
        mfc=look.colour if look.filled else PAPER,
        mew=0.18 * size,
        zorder=3,
    )
    # On top of the marker, so that a narrow interval is seen too.
    axes.errorbar(
        x,
        y,
        xerr=mark.u95 if along_x else None,
        yerr=None if along_x else mark.u95,
        fmt="none",
        ecolor=INK,
        elinewidth=0.14 * size,
        capsize=0.7 * size,
        zorder=4,
    )


def _marks(review: Review, units: Units) -> list[_Mark]:
    return [
        _Mark(
            number=number,
            time_s=coached.reading.moving_time_s,
            at=shown(coached.reading.chip_thickness_mm, units),
            u95=shown(coached.reading.chip_thickness_u95_mm, units),
            verdict=coached.reading.verdict,
        )
        for number, coached in enumerate(review.passes, start=1)
        if coached.reading.chip_thickness_mm is not None
        and coached.reading.chip_thickness_u95_mm is not None
    ]


def _ground(
    limits: tuple[float, float], band: Band, units: Units
) -> tuple[tuple[float, float, Verdict], ...]:
    bottom, top = shown(band.low_mm, units), shown(band.high_mm, units)
    return (
        (limits[0], bottom, Verdict.RUBBING),
        (bottom, top, Verdict.IN_THE_BAND),
        (top, limits[1], Verdict.OVERLOADING),
    )


def _ground_style(verdict: Verdict) -> dict[str, Any]:
    if verdict is Verdict.IN_THE_BAND:
        return {"facecolor": _BAND_TINT, "lw": 0}
    hatch = "...." if verdict is Verdict.RUBBING else "////"
    return {"facecolor": PAPER, "edgecolor": _HATCH_INK, "hatch": hatch, "lw": 0}


def _plain(value: float, _position: int | None) -> str:
    return f"{value:g}"


def _limits(band: Band, marks: list[_Mark], units: Units) -> tuple[float, float]:
    """Show the band with room on both sides for a word, and every pass."""
    bottom, top = shown(band.low_mm, units), shown(band.high_mm, units)
    width = top - bottom
    lowest = min(mark.at - mark.u95 for mark in marks) - 0.08 * width
    highest = max(mark.at + mark.u95 for mark in marks) + 0.08 * width
    return max(0.0, min(lowest, bottom - 0.35 * width)), max(highest, top + 0.35 * width)
