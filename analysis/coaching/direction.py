"""Which way to feed, and which way a bit pushes the fibres.

Common practice; a router bit turns clockwise seen from the motor's side towards the wood.
"""

from __future__ import annotations

from dataclasses import dataclass

from analysis.cutting.tools import BitStyle, Guide, Mounting

OUTSIDE, INSIDE = "outside edges", "inside cut-outs"

FEED_DIRECTION = {
    (Mounting.HAND, OUTSIDE): "move the router anticlockwise round the piece (left to right "
    "with the edge facing you)",
    (Mounting.HAND, INSIDE): "move the router clockwise round the opening",
    (Mounting.TABLE, OUTSIDE): "move the work right to left in front of the bit, against its turn",
    (Mounting.TABLE, INSIDE): "move the work so that the bit travels anticlockwise round the "
    "opening, seen from above",
}
CLIMB_CUT = (
    "Never feed the other way (a climb cut): the bit then pulls router or work along by itself "
    "and out of your hands."
)


@dataclass(frozen=True, slots=True)
class Fibres:
    """What a bit style does in a router held that way.

    Attributes
    ----------
    pushed : str
        Which way fibres and chips go.
    work : str
        What that does to the work.
    pull : str
        The same as a sentence's verb.
    clean_face : str
        Where the edge comes out clean without help.
    template : Guide or None
        The bearing that puts the template under the fibres that are pushed; None if either.
    lifts_work : bool
        Whether the bit tries to lift the work off its support.
    """

    pushed: str
    work: str
    pull: str
    clean_face: str
    template: Guide | None
    lifts_work: bool


_TOWARDS = "towards the router"
_AWAY = "away from the router"
_NEUTRAL = "neither lifts nor presses"
_ACROSS = Fibres("straight across", "left alone", _NEUTRAL, "at the template", None, False)
_MIDDLE = Fibres("to the middle", "left alone", _NEUTRAL, "both", None, False)

FIBRES: dict[tuple[BitStyle, Mounting], Fibres] = {
    (BitStyle.UP_CUT, Mounting.HAND): Fibres(
        _TOWARDS,
        "lifted",
        "draws the work up and the router down",
        "the underside",
        Guide.SHANK,
        True,
    ),
    (BitStyle.UP_CUT, Mounting.TABLE): Fibres(
        _TOWARDS,
        "held down",
        "draws the work down onto the table",
        "the upper side",
        Guide.SHANK,
        False,
    ),
    (BitStyle.DOWN_CUT, Mounting.HAND): Fibres(
        _AWAY,
        "held down",
        "presses the work down, pushes the router up",
        "the upper side",
        Guide.TIP,
        False,
    ),
    (BitStyle.DOWN_CUT, Mounting.TABLE): Fibres(
        _AWAY, "lifted", "lifts the work off the table", "the underside", Guide.TIP, True
    ),
    **{(BitStyle.COMPRESSION, mounting): _MIDDLE for mounting in Mounting},
    **{(BitStyle.STRAIGHT, mounting): _ACROSS for mounting in Mounting},
    **{(BitStyle.PROFILE, mounting): _ACROSS for mounting in Mounting},
}


def template_side(guide: Guide, mounting: Mounting) -> str:
    """Where a bearing puts the template: on top of the work or underneath it."""
    near_router = guide is Guide.SHANK
    return "on top" if near_router is (mounting is Mounting.HAND) else "underneath"
