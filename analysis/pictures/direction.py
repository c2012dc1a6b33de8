"""Which way to feed, drawn: outside edges and inside cut-outs, seen from above."""

from __future__ import annotations

import math

from matplotlib.axes import Axes
from matplotlib.patches import Arc, Circle, FancyArrowPatch, Rectangle

from analysis.cutting.tools import Mounting
from analysis.pictures.style import INK, PAPER

_WOOD = "#e9e2d6"
_HALF_WORK = (1.3, 0.78)
_HALF_OPENING = (1.0, 0.42)
_BIT_RADIUS, _TURN_RADIUS = 0.12, 0.23
Point = tuple[float, float]


def draw_direction(axes: Axes, mounting: Mounting, *, inside: bool) -> None:
    """Draw the work seen from above, the bit and its turn, and what travels where.

    Hand-held, the bit turns clockwise seen from above and the router travels (thin arrows). In
    a table the bit turns anticlockwise seen from above and the work travels (a broad arrow).
    """
    axes.set_xlim(-1.75, 1.75)
    axes.set_ylim(-1.35, 1.2)
    axes.set_aspect("equal")
    axes.set_axis_off()
    axes.set_title(
        "in a cut-out" if inside else "round the outside", fontsize=9, pad=2, loc="center"
    )
    _rectangle(axes, _HALF_WORK, _WOOD)
    if inside:
        _rectangle(axes, _HALF_OPENING, PAPER)
    if mounting is Mounting.HAND:
        _draw_path_of_router(axes, inside=inside)
    else:
        _draw_work_on_table(axes, inside=inside)


def _draw_path_of_router(axes: Axes, *, inside: bool) -> None:
    """Round the outside anticlockwise, round an opening clockwise."""
    clear = -0.21 if inside else 0.21
    half = _HALF_OPENING if inside else _HALF_WORK
    x, y = half[0] + clear, half[1] + clear
    reach = (0.9 if inside else 0.62) * x
    ahead = -1.0 if inside else 1.0
    _thin_arrow(axes, (0.29 * ahead, -y), (reach * ahead, -y))
    _thin_arrow(axes, (reach * ahead, y), (-reach * ahead, y))
    if not inside:
        _thin_arrow(axes, (x, -0.5), (x, 0.5))
        _thin_arrow(axes, (-x, 0.5), (-x, -0.5))
    touching = _BIT_RADIUS if not inside else -_BIT_RADIUS
    _bit(axes, (0.0, -(half[1] + touching)), clockwise=True)
    _say(axes, "the router travels")


def _draw_work_on_table(axes: Axes, *, inside: bool) -> None:
    """The wood between you and the bit travels from right to left."""
    if inside:
        _bit(axes, (0.0, -_HALF_OPENING[1] + _BIT_RADIUS), clockwise=False)
        _broad_arrow(axes, (0.6, -0.655), (-0.6, -0.655))
    else:
        _bit(axes, (0.0, _HALF_WORK[1] + _BIT_RADIUS), clockwise=False)
        _broad_arrow(axes, (0.75, 0.1), (-0.75, 0.1))
    _say(axes, "you stand here, the work travels")


def _bit(axes: Axes, at: Point, *, clockwise: bool) -> None:
    """A bit with an arrow round it."""
    axes.add_patch(Circle(at, _BIT_RADIUS, color=INK, lw=0, zorder=5))
    start, end = (50, 350) if clockwise else (10, 310)
    size = 2 * _TURN_RADIUS
    axes.add_patch(Arc(at, size, size, theta1=start, theta2=end, color=INK, lw=1.4, zorder=5))
    tip_deg = start if clockwise else end
    tip = math.radians(tip_deg)
    # A triangle points up before it is turned; the arrow's head lies along the circle.
    pointing = tip_deg - 180 if clockwise else tip_deg
    axes.plot(
        at[0] + _TURN_RADIUS * math.cos(tip),
        at[1] + _TURN_RADIUS * math.sin(tip),
        marker=(3, 0, pointing),
        ms=7,
        color=INK,
        mew=0,
        zorder=6,
    )


def _rectangle(axes: Axes, half: Point, colour: str) -> None:
    axes.add_patch(
        Rectangle(
            (-half[0], -half[1]), 2 * half[0], 2 * half[1], facecolor=colour, edgecolor=INK, lw=1.2
        )
    )


def _thin_arrow(axes: Axes, start: Point, end: Point) -> None:
    axes.add_patch(
        FancyArrowPatch(
            start, end, arrowstyle="-|>", mutation_scale=14, color=INK, lw=1.8, zorder=4
        )
    )


def _broad_arrow(axes: Axes, start: Point, end: Point) -> None:
    axes.add_patch(
        FancyArrowPatch(
            start,
            end,
            arrowstyle="simple,head_width=11,head_length=10,tail_width=4",
            facecolor=PAPER,
            edgecolor=INK,
            lw=1.3,
            zorder=4,
        )
    )


def _say(axes: Axes, text: str) -> None:
    axes.text(0, -1.28, text, ha="center", fontsize=8, color=INK)
