"""Advice before the cut: will this bit do, and what could go wrong.

Common practice of the trade, worked out for the job at hand. Nothing here replaces the maker's
instructions, local rules or training.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum

from analysis.coaching.direction import (
    CLIMB_CUT,
    FEED_DIRECTION,
    FIBRES,
    INSIDE,
    OUTSIDE,
    template_side,
)
from analysis.coaching.wording import Units, say_size
from analysis.cutting.bands import is_buried
from analysis.cutting.limits import usual_top_speed
from analysis.cutting.tools import BitStyle, Grain, Guide, Job, Mounting, Sharpness

THICK_TRIM_MM = 3.2
_LARGE_BIT_MM = 25.4
_TABLE_BIT_MM = 40.0
_SMALL_BIT_MM = 6.35
_STIFF_BIT_MM = 12.7
_LARGE_ROUTER_W = 1500.0

CAUTIONS = (
    "Unplug the router before you touch the bit.",
    "Wear eye, ear and dust protection; clamp the work and the template.",
    "The makers' instructions, local rules and your training come before these figures.",
)


class Weight(Enum):
    """How much a note matters."""

    STOP = "stop"
    CAUTION = "caution"
    TIP = "tip"


@dataclass(frozen=True, slots=True)
class Note:
    """One piece of advice before the cut."""

    weight: Weight
    topic: str
    text: str


def largest_bit(inside_radius_mm: float) -> float:
    """Diameter of the largest bit that reaches an inside corner, mm: twice its radius.

    >>> largest_bit(6.35)
    12.7
    """
    return 2 * inside_radius_mm


def notes_before(job: Job, units: Units) -> tuple[Note, ...]:
    """Everything to know before the cut, what stops the job first."""
    return sorted_notes(
        (
            *_corner(job, units),
            *_size(job, units),
            *_speed(job),
            *_depth_of_trim(job, units),
            *_fibres(job),
            *_grain(job),
            *_edge(job),
            *_direction(job),
        )
    )


def sorted_notes(notes: tuple[Note, ...]) -> tuple[Note, ...]:
    """The gravest first, otherwise in their order."""
    order = list(Weight)
    return tuple(sorted(notes, key=lambda note: order.index(note.weight)))


def _corner(job: Job, units: Units) -> Iterator[Note]:
    radius_mm = job.work.inside_radius_mm
    if radius_mm is None:
        return
    largest_mm = largest_bit(radius_mm)
    if job.bit.diameter_mm > largest_mm * (1 + 1e-9):
        yield Note(
            Weight.STOP,
            "inside corners",
            f"This bit cannot reach the inside corners: a radius of {say_size(radius_mm, units)} "
            f"takes a bit of {say_size(largest_mm, units)} at most. Use it on the straight "
            "stretches only, and a smaller one in the corners.",
        )
    else:
        yield Note(
            Weight.TIP,
            "inside corners",
            f"Reaches the inside corners (largest bit that does: {say_size(largest_mm, units)}). "
            "Keep moving in them: the bit cuts over a longer arc there, and burns if it stops.",
        )


def _size(job: Job, units: Units) -> Iterator[Note]:
    bit, router = job.bit, job.router
    size = say_size(bit.diameter_mm, units)
    if router.mounting is Mounting.HAND and bit.diameter_mm >= _TABLE_BIT_MM:
        yield Note(
            Weight.STOP,
            "large bit",
            f"A {size} bit belongs in a router table, with a fence or a starting pin, "
            "not in a hand-held router.",
        )
    elif router.mounting is Mounting.HAND and bit.diameter_mm >= _LARGE_BIT_MM:
        yield Note(
            Weight.CAUTION,
            "large bit",
            f"A {size} bit is much for a hand-held router: take it in several light passes, "
            "or use a table.",
        )
    if (
        bit.diameter_mm <= _SMALL_BIT_MM
        and router.input_power_w is not None
        and router.input_power_w >= _LARGE_ROUTER_W
    ):
        yield Note(
            Weight.CAUTION,
            "small bit",
            f"A large router does not slow down or shake before a {size} bit snaps: feed by the "
            "seconds, not by feel, and push with the fingers.",
        )
    radius_mm = job.work.inside_radius_mm
    if bit.diameter_mm < _STIFF_BIT_MM * 0.75 and (
        radius_mm is None or largest_bit(radius_mm) >= _STIFF_BIT_MM
    ):
        # Stiffness goes with the fourth power of the diameter, strength with the third.
        ratio = _STIFF_BIT_MM / bit.diameter_mm
        yield Note(
            Weight.TIP,
            "stiffness",
            f"A {say_size(_STIFF_BIT_MM, units)} bit is {ratio**4:.0f} times as stiff as this one "
            f"and {ratio**3:.0f} times as strong: take it wherever the corners allow.",
        )
    if (
        bit.stick_out_mm is not None
        and bit.shank_mm is not None
        and bit.stick_out_mm > 5 * bit.shank_mm
    ):
        yield Note(
            Weight.CAUTION,
            "stick-out",
            "The bit stands far out of the collet: push it in to within 3 mm of the bottom, "
            "if the cut allows.",
        )


def _speed(job: Job) -> Iterator[Note]:
    bit, plate_rpm = job.bit, job.router.plate_range_rpm
    if plate_rpm is None:
        return
    if bit.max_rpm is not None:
        if plate_rpm[1] > bit.max_rpm:
            yield Note(
                Weight.CAUTION,
                "marked maximum",
                f"This router can turn faster than the bit may ({bit.max_rpm:,.0f} rpm): set the "
                "dial before you switch on.",
            )
        return
    usual_rpm = usual_top_speed(bit_diameter_mm=bit.diameter_mm)
    if plate_rpm[0] > usual_rpm:
        yield Note(
            Weight.STOP,
            "speed",
            f"This router's slowest speed is above what a bit of this diameter usually bears "
            f"({usual_rpm:,.0f} rpm).",
        )
    elif plate_rpm[1] > usual_rpm:
        yield Note(
            Weight.CAUTION,
            "speed",
            f"Bits of this diameter usually run at {usual_rpm:,.0f} rpm at most, and this router "
            "goes faster: read the marking on the shank, and set the dial before you switch on.",
        )


def _depth_of_trim(job: Job, units: Units) -> Iterator[Note]:
    allowance_mm, diameter_mm = job.work.trim_allowance_mm, job.bit.diameter_mm
    if is_buried(trim_allowance_mm=allowance_mm, bit_diameter_mm=diameter_mm):
        yield Note(
            Weight.CAUTION,
            "buried bit",
            "The bit is buried: both sides cut, chips cannot get out and the router wanders. "
            "Go down in steps of half the bit's diameter at most, "
            "or saw the waste away first and trim.",
        )
    elif allowance_mm > min(THICK_TRIM_MM, diameter_mm / 2):
        yield Note(
            Weight.CAUTION,
            "thick trim",
            f"{say_size(allowance_mm, units)} is a thick trim: saw the waste away to within "
            f"{say_size(_leave(units), units)} of the line first. A thin, even trim cuts cleaner, "
            "steers easier and throws less.",
        )
    elif allowance_mm > _leave(units) * 1.3:
        yield Note(
            Weight.TIP,
            "allowance",
            f"Sawing closer to the line, to within {say_size(_leave(units), units)}, makes it "
            "easier.",
        )


def _leave(units: Units) -> float:
    """The trim to leave, a round figure in the user's units."""
    return 25.4 / 16 if units is Units.INCH else 1.5


def _fibres(job: Job) -> Iterator[Note]:
    bit, mounting = job.bit, job.router.mounting
    fibres = FIBRES[bit.style, mounting]
    article = "An" if bit.style.value.startswith("u") else "A"
    if fibres.lifts_work:
        yield Note(
            Weight.CAUTION,
            "lift",
            f"{article} {bit.style.value} bit {mounting.value} {fibres.pull}: "
            + (
                "clamp the work down."
                if mounting is Mounting.HAND
                else "use an up-cut bit there, or hold the work down with more than hands."
            ),
        )
    if bit.style is BitStyle.COMPRESSION:
        yield Note(
            Weight.TIP,
            "fibres",
            "A compression bit leaves both faces clean once the up-cut part at its tip is wholly "
            "inside the wood.",
        )
        return
    text = f"Pushes the fibres {fibres.pushed}: {fibres.clean_face} comes out clean."
    if fibres.template is None:
        text = "Pushes the fibres straight across: the side against the template comes out clean."
    if fibres.template is not None:
        where = template_side(fibres.template, mounting)
        text += f" A template {where} backs the fibres on the other one"
        if bit.guide in (Guide.NONE, fibres.template):
            text += "."
        else:
            text += f", but this bit's bearing puts it {template_side(bit.guide, mounting)}: "
            text += "turn the show face towards the clean side."
    elif bit.guide is not Guide.NONE:
        text += " Lay the show face against it."
    yield Note(Weight.TIP, "fibres and template", text)


def _grain(job: Job) -> Iterator[Note]:
    if not job.work.material.grained:
        return
    if job.work.grain is Grain.AGAINST:
        yield Note(
            Weight.CAUTION,
            "grain",
            "Fibres that run out into the cut tear: turn the piece and its template over if you "
            "can, or take the last half millimetre in a pass of its own.",
        )
    elif job.work.grain is Grain.END:
        yield Note(
            Weight.CAUTION,
            "end grain",
            "End grain takes more than twice the force and splits out where the bit leaves: back "
            "that corner with scrap, and cut end grain before long grain.",
        )
    else:
        yield Note(
            Weight.TIP,
            "grain",
            "Where the fibres run out into the cut, on curves above all, go lighter: that is "
            "where it tears.",
        )


def _edge(job: Job) -> Iterator[Note]:
    if job.bit.sharpness is Sharpness.DULL:
        yield Note(
            Weight.CAUTION,
            "dull edge",
            "A dull edge rubs at feeds where a fresh one cuts, pushes harder and burns: sharpen "
            "or replace it first.",
        )


def _direction(job: Job) -> Iterator[Note]:
    mounting = job.router.mounting
    yield Note(
        Weight.CAUTION,
        "feed direction",
        f"On {OUTSIDE} {FEED_DIRECTION[mounting, OUTSIDE]}; in {INSIDE} "
        f"{FEED_DIRECTION[mounting, INSIDE]}. {CLIMB_CUT}",
    )
