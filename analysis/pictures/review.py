"""The pictures of a review: each alone for a page, or all on one sheet."""

from __future__ import annotations

from matplotlib.axes import Axes
from matplotlib.figure import Figure, FigureBase

from analysis.coaching.summary import Review
from analysis.coaching.wording import Units
from analysis.cutting.window import Window
from analysis.hearing.listener import Hearing
from analysis.pictures.against_band import draw_against_band, is_crowded
from analysis.pictures.spectrogram import draw_spectrogram
from analysis.pictures.style import drawing
from analysis.pictures.timeline import draw_timeline, rows_of
from analysis.pictures.window import draw_window

_WIDTH_IN = 8.4
_WINDOW_IN = 4.2
_NARROW_IN = 6.2  # the picture to read on a phone
_ROW_IN = 0.36


def spectrogram_figure(hearing: Hearing, *, flutes: int | None) -> Figure:
    """Draw the sound with the spindle's track on it."""
    with drawing():
        figure = Figure(figsize=(_WIDTH_IN, 3.9), layout="constrained")
        axes = figure.subplots()
        draw_spectrogram(axes, hearing, flutes=flutes)
        return figure


def timeline_figure(hearing: Hearing, review: Review) -> Figure:
    """Draw the passes along time."""
    with drawing():
        rows = rows_of(hearing)
        figure = Figure(figsize=(_WIDTH_IN, _timeline_height(rows)), layout="constrained")
        draw_timeline(_as_rows(figure, rows), hearing, review)
        return figure


def against_band_figure(review: Review, *, units: Units) -> Figure:
    """Draw every pass against the band."""
    with drawing():
        figure = Figure(figsize=(_NARROW_IN, _band_height(review)), layout="constrained")
        draw_against_band(figure.subplots(), review, units=units)
        return figure


def review_sheet(
    hearing: Hearing,
    review: Review,
    *,
    flutes: int | None,
    units: Units,
    title: str,
    window: Window | None = None,
) -> Figure:
    """Draw all on one sheet; the window of speed and feed with them if it is known."""
    with drawing():
        rows = rows_of(hearing)
        heights = [3.4, _timeline_height(rows), _band_height(review)]
        if window is not None:
            heights.append(_WINDOW_IN)
        figure = Figure(figsize=(_WIDTH_IN, sum(heights) + 1.4), layout="constrained")
        figure.suptitle(title, x=0.012, ha="left", fontsize=14, fontweight="bold")
        grid = figure.add_gridspec(len(heights), 1, height_ratios=heights)
        top, middle, bottom, *last = (
            figure.add_subfigure(grid[row, 0]) for row in range(len(heights))
        )
        sound, band = top.subplots(), bottom.subplots()
        draw_spectrogram(sound, hearing, flutes=flutes)
        sound.set_title("What was heard")
        passes = _as_rows(middle, rows)
        draw_timeline(passes, hearing, review)
        passes[0].set_title("The passes")
        draw_against_band(band, review, units=units)
        band.set_title("Every pass against the band", pad=20)
        if window is not None:
            axes = last[0].subplots()
            draw_window(axes, window, units=units, passes=review.passes)
            axes.set_title("Speed and feed")
        return figure


def _as_rows(figure: FigureBase, rows: int) -> list[Axes]:
    return list(figure.subplots(rows, 1, squeeze=False)[:, 0])


def _timeline_height(rows: int) -> float:
    return 2.7 if rows == 1 else 0.6 + 1.35 * rows


def _band_height(review: Review) -> float:
    return 3.2 if is_crowded(review) else max(1.7, 1.15 + _ROW_IN * len(review.passes))
