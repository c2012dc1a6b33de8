"""The pictures of a review: each alone for a page, or all on one sheet."""

from __future__ import annotations

from matplotlib.figure import Figure

from analysis.coaching.summary import Review
from analysis.coaching.wording import Units
from analysis.hearing.listener import Hearing
from analysis.pictures.against_band import draw_against_band
from analysis.pictures.spectrogram import draw_spectrogram
from analysis.pictures.style import drawing
from analysis.pictures.timeline import draw_timeline

_WIDTH_IN = 8.4
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
        figure = Figure(figsize=(_WIDTH_IN, 2.7), layout="constrained")
        draw_timeline(figure.subplots(), hearing, review)
        return figure


def against_band_figure(review: Review, *, units: Units) -> Figure:
    """Draw every pass against the band."""
    with drawing():
        figure = Figure(figsize=(_NARROW_IN, _band_height(review)), layout="constrained")
        draw_against_band(figure.subplots(), review, units=units)
        return figure


def review_sheet(
    hearing: Hearing, review: Review, *, flutes: int | None, units: Units, title: str
) -> Figure:
    """Draw all three on one sheet, spectrogram and passes sharing their time axis."""
    with drawing():
        heights = [3.4, 2.4, _band_height(review)]
        figure = Figure(figsize=(_WIDTH_IN, sum(heights) + 1.6), layout="constrained")
        figure.suptitle(title, x=0.012, ha="left", fontsize=14, fontweight="bold")
        sound, passes, band = figure.subplots(3, 1, height_ratios=heights)
        draw_spectrogram(sound, hearing, flutes=flutes)
        sound.set_title("What was heard")
        draw_timeline(passes, hearing, review)
        passes.set_title("The passes")
        draw_against_band(band, review, units=units)
        band.set_title("Every pass against the band", pad=20)
        return figure


def _band_height(review: Review) -> float:
    return max(1.7, 1.15 + _ROW_IN * min(len(review.passes), 60))
