"""The card to tape on a router: setting to speed, at its true size, black on white."""

from __future__ import annotations

from dataclasses import dataclass

from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle

from analysis.dial.curve import DialCurve
from analysis.pictures.style import MM_PER_INCH, drawing

CARD_MM = (74.0, 52.0)  # ISO 216 A8, lying
SHEET_MM = (210.0, 297.0)  # A4
CARD_AT_MM = (20.0, 225.0)  # lower left corner on the sheet: inside any printer's margins
MOST_ROWS = 8
RULER_MM = 50.0
PNG_DPI = 300
BLACK = "black"


@dataclass(frozen=True, slots=True)
class CardText:
    """What a card says besides the curve: the router's name and the day of calibration."""

    router: str
    made_on: str


def card_figure(curve: DialCurve, text: CardText) -> Figure:
    """Draw the card alone, its page exactly CARD_MM."""
    with drawing():
        figure = Figure(figsize=(CARD_MM[0] / MM_PER_INCH, CARD_MM[1] / MM_PER_INCH))
        _Card(figure, page_mm=CARD_MM, corner_mm=(0.0, 0.0)).draw(curve, text)
        return figure


def card_sheet(curve: DialCurve, text: CardText) -> Figure:
    """Draw the card on a sheet to print, with a line to check that it came out at true size."""
    with drawing():
        figure = Figure(figsize=(SHEET_MM[0] / MM_PER_INCH, SHEET_MM[1] / MM_PER_INCH))
        card = _Card(figure, page_mm=SHEET_MM, corner_mm=CARD_AT_MM)
        card.draw(curve, text)
        card.write(
            0, -9, f"This line is {RULER_MM:.0f} mm long if printed at true size (100 %).", 8
        )
        for x_mm in (0.0, RULER_MM):
            card.line((x_mm, -14.5), (x_mm, -11.5), 0.6)
        card.line((0, -13), (RULER_MM, -13), 0.8)
        card.write(0, -22, "Cut along the border and tape the card beside the dial.", 8)
        card.write(
            0,
            -27,
            "Switch off and pull the plug first. Keep it off the air slots, and the tape off "
            "moving parts.",
            8,
        )
        return figure


class _Card:
    """Draws in millimetres from the card's lower left corner."""

    def __init__(
        self, figure: Figure, *, page_mm: tuple[float, float], corner_mm: tuple[float, float]
    ) -> None:
        self._figure = figure
        self._page_mm = page_mm
        self._corner_mm = corner_mm

    def _at(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        return (
            (self._corner_mm[0] + x_mm) / self._page_mm[0],
            (self._corner_mm[1] + y_mm) / self._page_mm[1],
        )

    def write(
        self,
        x_mm: float,
        y_mm: float,
        words: str,
        size: float,
        *,
        bold: bool = False,
        ha: str = "left",
    ) -> None:
        x, y = self._at(x_mm, y_mm)
        self._figure.text(
            x, y, words, fontsize=size, fontweight="bold" if bold else "normal",
            ha=ha, va="baseline", color=BLACK,
        )  # fmt: skip

    def line(
        self, start_mm: tuple[float, float], end_mm: tuple[float, float], width: float
    ) -> None:
        (x0, y0), (x1, y1) = self._at(*start_mm), self._at(*end_mm)
        self._figure.add_artist(Line2D([x0, x1], [y0, y1], lw=width, color=BLACK))

    def box(self, x_mm: float, y_mm: float, size_mm: tuple[float, float], width: float) -> None:
        x, y = self._at(x_mm, y_mm)
        w, h = size_mm[0] / self._page_mm[0], size_mm[1] / self._page_mm[1]
        self._figure.add_artist(Rectangle((x, y), w, h, fill=False, lw=width, ec=BLACK))

    def draw(self, curve: DialCurve, text: CardText) -> None:
        width, height = CARD_MM
        self.box(0.3, 0.3, (width - 0.6, height - 0.6), 0.6)
        self.write(3.5, height - 6.2, _short(text.router, 22), 9.5, bold=True)
        self.write(width - 3.5, height - 6.2, f"heard {text.made_on}", 6.5, ha="right")
        self.line((3.5, height - 8.2), (width - 3.5, height - 8.2), 0.9)
        self._table(curve, top_mm=height - 8.6, bottom_mm=12.5)
        self.box(3.5, 3.0, (width - 7.0, 8.2), 0.9)
        self.write(5.2, 6.0, "Never above this bit's mark:", 7.2, bold=True)
        self.line((48.0, 5.2), (width - 12.5, 5.2), 0.5)
        self.write(width - 5.2, 6.0, "rpm", 7.2, ha="right")

    def _table(self, curve: DialCurve, *, top_mm: float, bottom_mm: float) -> None:
        rows = _rows(curve)
        columns = 1 if len(rows) <= 4 else 2
        per_column = -(-len(rows) // columns)
        pitch = min(9.0, (top_mm - bottom_mm) / (per_column + 0.9))
        size = min(15.0, pitch / 0.3528 * 0.68)
        width = (CARD_MM[0] - 7.0) / 2
        for column in range(columns):
            left = 3.5 + column * width
            self.write(left + 8.5, top_mm - 2.8, "dial", 6.0, ha="right")
            self.write(left + width - 3.0, top_mm - 2.8, "rpm, running free", 6.0, ha="right")
            for row, (label, speed) in enumerate(
                rows[column * per_column : (column + 1) * per_column]
            ):
                y = top_mm - 2.8 - (row + 0.92) * pitch
                self.write(left + 8.5, y, label, size, bold=True, ha="right")
                self.write(left + width - 3.0, y, speed, size, ha="right")
        if columns == 2:
            middle = CARD_MM[0] / 2
            self.line((middle, bottom_mm + 0.8), (middle, top_mm - 1.0), 0.4)


def _rows(curve: DialCurve) -> list[tuple[str, str]]:
    """Label and speed of every setting, or of MOST_ROWS spread evenly if there are more."""
    knots = curve.knots
    if len(knots) > 2 * MOST_ROWS:
        step = (len(knots) - 1) / (2 * MOST_ROWS - 1)
        knots = tuple(knots[round(i * step)] for i in range(2 * MOST_ROWS))
    return [
        (knot.label, f"{round(knot.spindle_rpm, -1 if again(curve) else 0):,.0f}") for knot in knots
    ]


def again(curve: DialCurve) -> bool:
    """Whether the dial's own repeatability makes single rpm meaningless."""
    return curve.repeatability_percent is None or curve.repeatability_percent > 0.02


def _short(text: str, most: int) -> str:
    return text if len(text) <= most else text[: most - 1] + "…"
