"""Bits, routers and materials that are kept by name, as far as a review needs them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from analysis.cutting.bands import MaterialClass
    from analysis.dial.curve import DialCurve
    from analysis.hearing.voice import Voices
    from listen.store.things import BitFacts


@dataclass(frozen=True, slots=True, eq=False)
class KeptRouter:
    """A router's plate; how it sounds and what its dial does, if it has been calibrated."""

    plate_range_rpm: tuple[float, float] | None
    voices: Voices | None = None
    dial: DialCurve | None = None


def kept_bit(name: str) -> BitFacts:
    """Find a bit by name; the store's own error says which there are."""
    from listen.store.names import bit_named, name_store

    with name_store() as store:
        return bit_named(store, name)


def kept_router(name: str) -> KeptRouter:
    """Find a router by name, with what its calibration tells."""
    from listen.store.names import name_store, router_named

    with name_store() as store:
        facts = router_named(store, name)
        calibration = store.calibration(name)
    if calibration is None:
        return KeptRouter(facts.plate_range_rpm)
    from analysis.dial.keeping import calibration_from_json

    made = calibration_from_json(calibration.calibration)
    plate_range_rpm = facts.plate_range_rpm or made.plate_range_rpm
    return KeptRouter(plate_range_rpm, made.voices, made.curve)


def kept_material(name: str) -> MaterialClass | None:
    """Tell the class of a material of the user's own; None if none is kept by that name."""
    from listen.store.names import name_store, own_material

    with name_store() as store:
        facts = own_material(store, name)
    return None if facts is None else facts.kind
