"""Every pass against the band, with how sure it is."""

from __future__ import annotations

from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter, MaxNLocator

from analysis.coaching.summary import CoachedPass, Review
from analysis.coaching.verdict import Verdict
from analysis.coaching.wording import Units, say_seconds
from analysis.cutting.bands import Band
from analysis.pictures.style import INK, LOOKS, PAPER, say_on, shown

_BAND_TINT = "#d9ece8"


def draw_against_band(axes: Axes, review: Review, *, units: Units) -> None:
    """Draw chip thickness of each judged pass as a row, a bar spanning its 95 % interval.

    The band is tinted; on either side the ground is hatched and named for what happens there.
    """
    rows = [
        (number, coached)
        for number, coached in enumerate(review.passes, start=1)
        if coached.reading.chip_thickness_mm is not None
    ]
    band = review.band
    if band is None or not rows:
        axes.set_axis_off()
        say_on(axes, "no pass could be held against a band")
        return
    low, high = _limits(band, [coached for _, coached in rows], units)
    axes.set_xlim(low, high)
    axes.set_ylim(len(rows) + 0.5, 0.35)
    _draw_ground(axes, band, units)
    for row, (_, coached) in enumerate(rows, start=1):
        _draw_row(axes, row, coached, units)
    axes.set_yticks(range(1, len(rows) + 1), [_row_name(*row) for row in rows])
    axes.tick_params(axis="y", length=0)
    axes.spines["left"].set_visible(False)
    axes.xaxis.set_major_locator(MaxNLocator(7, steps=[1, 2, 5, 10]))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    axes.set_xlabel(f"chip thickness, {units.value}")


def _row_name(number: int, coached: CoachedPass) -> str:
    return f"pass {number}, {say_seconds(coached.reading.moving_time_s)}"


def _draw_ground(axes: Axes, band: Band, units: Units) -> None:
    low, high = axes.get_xlim()
    bottom, top = shown(band.low_mm, units), shown(band.high_mm, units)
    for start, end, hatch, verdict in (
        (low, bottom, "....", Verdict.RUBBING),
        (top, high, "////", Verdict.OVERLOADING),
    ):
        axes.axvspan(start, end, facecolor=PAPER, edgecolor="#dfe2e5", hatch=hatch, lw=0, zorder=0)
        _name_ground(axes, (start + end) / 2, verdict)
    axes.axvspan(bottom, top, facecolor=_BAND_TINT, lw=0, zorder=0)
    _name_ground(axes, (bottom + top) / 2, Verdict.IN_THE_BAND)
    for limit in (bottom, top):
        axes.axvline(limit, color=INK, lw=1.0, zorder=1)


def _name_ground(axes: Axes, at: float, verdict: Verdict) -> None:
    look = LOOKS[verdict]
    axes.annotate(
        look.word,
        (at, 1.0),
        xycoords=("data", "axes fraction"),
        xytext=(0, 3),
        textcoords="offset points",
        ha="center",
        fontsize=9,
        fontweight="bold",
        color=look.colour,
    )


def _draw_row(axes: Axes, row: int, coached: CoachedPass, units: Units) -> None:
    reading = coached.reading
    thickness_mm, u95_mm = reading.chip_thickness_mm, reading.chip_thickness_u95_mm
    if thickness_mm is None or u95_mm is None:
        return
    look = LOOKS[reading.verdict]
    at = shown(thickness_mm, units)
    axes.plot(
        at,
        row,
        marker=look.marker,
        ms=10,
        color=look.colour,
        mfc=look.colour if look.filled else PAPER,
        mew=1.8,
        zorder=3,
    )
    # On top of the marker, so that a narrow interval is seen too.
    axes.errorbar(
        at,
        row,
        xerr=shown(u95_mm, units),
        fmt="none",
        ecolor=INK,
        elinewidth=1.4,
        capsize=7,
        zorder=4,
    )
    axes.annotate(
        look.word,
        (1.0, row),
        xycoords=("axes fraction", "data"),
        xytext=(8, 0),
        textcoords="offset points",
        va="center",
        fontweight="bold",
        color=look.colour,
    )


def _limits(band: Band, passes: list[CoachedPass], units: Units) -> tuple[float, float]:
    """Show the band with room on both sides for a word, and every pass."""
    ends_mm = [band.low_mm, band.high_mm]
    for coached in passes:
        thickness_mm, u95_mm = (
            coached.reading.chip_thickness_mm,
            coached.reading.chip_thickness_u95_mm,
        )
        if thickness_mm is not None and u95_mm is not None:
            ends_mm += [thickness_mm - u95_mm, thickness_mm + u95_mm]
    width_mm = band.high_mm - band.low_mm
    low_mm = max(0.0, min(min(ends_mm) - 0.08 * width_mm, band.low_mm - 0.35 * width_mm))
    high_mm = max(max(ends_mm) + 0.08 * width_mm, band.high_mm + 0.35 * width_mm)
    return shown(low_mm, units), shown(high_mm, units)
