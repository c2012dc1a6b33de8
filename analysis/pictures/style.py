"""The look that all pictures share: dark ink on light paper, legible without colour.

A verdict is always three things at once: a word, a marker and a colour. The colours also
differ in lightness, and shaded areas carry a hatch, so a photocopy says the same.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap

from analysis.coaching.verdict import Verdict
from analysis.coaching.wording import Units

INK = "#1f2328"
SOFT_INK = "#5d646c"
RULE = "#c9ced3"
PAPER = "#ffffff"
SPINDLE = "#d1490c"

MM_PER_INCH = 25.4

QUIET_TO_LOUD = LinearSegmentedColormap.from_list(
    "ink", ["#ffffff", "#e3e9ee", "#a9b9c6", "#5f7a8f", "#274760", "#0b1d2c"]
)
"""White where it is quiet, blue-black where it is loud: darkness grows evenly with level."""


@dataclass(frozen=True, slots=True)
class Look:
    """How a verdict is drawn."""

    word: str
    marker: str
    colour: str
    filled: bool


LOOKS: dict[Verdict | None, Look] = {
    Verdict.RUBBING: Look("rubbing", "v", "#9a6a0b", True),
    Verdict.IN_THE_BAND: Look("in the band", "o", "#13756b", True),
    Verdict.OVERLOADING: Look("overloading", "^", "#7c1f4f", True),
    Verdict.UNSURE: Look("unsure", "D", "#4b5259", False),
    None: Look("not judged", "|", "#8d949b", False),
}

_SETTINGS: dict[Any, Any] = {
    "font.family": "DejaVu Sans",
    "font.size": 9.5,
    "text.color": INK,
    "axes.edgecolor": SOFT_INK,
    "axes.labelcolor": INK,
    "axes.titlesize": 11.5,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.titlepad": 10,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "xtick.color": SOFT_INK,
    "ytick.color": SOFT_INK,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "figure.facecolor": PAPER,
    "axes.facecolor": PAPER,
    "savefig.facecolor": PAPER,
    "hatch.linewidth": 0.7,
    "svg.fonttype": "path",
    "svg.hashsalt": "toothbeat",
    "pdf.fonttype": 42,
}


@contextmanager
def drawing() -> Iterator[None]:
    """Draw inside with the shared settings, and leave matplotlib's own as they were."""
    with mpl.rc_context(_SETTINGS):
        yield


def shown(value_mm: float, units: Units) -> float:
    """Convert a length to the number shown in the person's units."""
    return value_mm / MM_PER_INCH if units is Units.INCH else value_mm


def clock(time_s: float, _position: int | None = None) -> str:
    """Tell a time of the take as 0:07 or 1:00:00, for a label or a tick.

    >>> clock(67.0)
    '1:07'
    """
    minutes, seconds = divmod(round(time_s), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02}:{seconds:02}" if hours else f"{minutes}:{seconds:02}"


def say_on(axes: Axes, text: str) -> None:
    """Write a sentence in the middle of an empty picture, in place of data."""
    axes.text(0.5, 0.5, text, transform=axes.transAxes, ha="center", va="center", color=SOFT_INK)
