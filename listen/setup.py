"""From what the person typed to the set-up of the cut."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from analysis.coaching.reading import CutSetup
from analysis.coaching.wording import Units
from analysis.cutting.bands import Band, given_band
from analysis.cutting.materials import material_named
from analysis.errors import InputError, ToothbeatError
from listen.kept import KeptRouter, kept_bit, kept_material, kept_router
from listen.units import Length, show_length

if TYPE_CHECKING:
    from analysis.hearing.voice import Voices
    from listen.store.things import BitFacts


class SetupError(ToothbeatError):
    """Values that are each possible and together are not."""


@dataclass(frozen=True, slots=True, eq=False)
class Bench:
    """The cut, the units in which the person thinks of it, and what was told by name."""

    cut: CutSetup
    units: Units
    bit: str | None = None
    router: str | None = None
    voices: Voices | None = None


def lay_out(
    *,
    edge: Length | None,
    bit: Length | str | None,
    flutes: int | None,
    trim: Length | str | None,
    material: str | None,
    band: tuple[Length, Length] | None,
    plate_range_rpm: tuple[float, float] | None,
    max_rpm: float | None,
    router: str | None = None,
) -> Bench:
    """Put the options together; what is typed comes before what is kept by name.

    Figures are shown in the units of the first of edge, bit, trim and band that was given;
    millimetres if none was.

    Raises
    ------
    SetupError
        If the trim is wider than the bit, or "buried" without a bit.
    NamingError
        If nothing is kept by a name that was given.
    """
    facts = kept_bit(bit) if isinstance(bit, str) else None
    size = _size(facts) if facts is not None else bit
    assert not isinstance(size, str)
    machine = kept_router(router) if router is not None else KeptRouter(None)
    width = _trim(trim, size)
    told = [length for length in (edge, size, width, band and band[0]) if length is not None]
    return Bench(
        cut=CutSetup(
            edge_length_mm=_mm(edge),
            bit_diameter_mm=_mm(size),
            flutes=flutes or (facts.flutes if facts else None),
            trim_allowance_mm=_mm(width),
            material=_material(material),
            band=_band(band, facts),
            bit_max_rpm=max_rpm or (facts.max_rpm if facts else None),
            plate_range_rpm=plate_range_rpm or machine.plate_range_rpm,
            dial=machine.dial,
        ),
        units=told[0].units if told else Units.MM,
        bit=bit if isinstance(bit, str) else None,
        router=router,
        voices=machine.voices,
    )


def _size(facts: BitFacts) -> Length:
    return Length(Fraction(str(facts.diameter_mm)), facts.units or Units.MM)


def _trim(trim: Length | str | None, bit: Length | None) -> Length | None:
    if isinstance(trim, str):
        if bit is None:
            raise SetupError("A buried cut is as wide as the bit: give its diameter with --bit.")
        return bit
    if bit is not None and trim is not None and trim.mm > bit.mm:
        raise SetupError(
            f"A trim of {show_length(trim.mm, trim.units)} is wider than the bit, "
            f"{show_length(bit.mm, bit.units)}. Check --trim and --bit."
        )
    return trim


def _band(band: tuple[Length, Length] | None, facts: BitFacts | None) -> Band | None:
    if band is not None:
        return given_band(low_mm=float(band[0].mm), high_mm=float(band[1].mm))
    if facts is None or facts.band_low_mm is None or facts.band_high_mm is None:
        return None
    return given_band(low_mm=facts.band_low_mm, high_mm=facts.band_high_mm)


def _material(name: str | None) -> str | None:
    """Name it as the table does; a material of the user's own is as good as its class here."""
    if name is None:
        return None
    try:
        return material_named(name).name
    except InputError:
        kind = kept_material(name)
        if kind is None:
            raise
        return kind.value


def bench_of(told: Mapping[str, Any]) -> Bench:
    """Set up from the `setup` object of a take's truth file, or of a review's JSON."""
    plate_rpm = told.get("plate_range_rpm")
    return Bench(
        cut=CutSetup(
            edge_length_mm=told["edge_length_mm"],
            bit_diameter_mm=told["bit_diameter_mm"],
            flutes=told["flutes"],
            trim_allowance_mm=told["trim_allowance_mm"],
            material=told["material"],
            plate_range_rpm=(plate_rpm[0], plate_rpm[1]) if plate_rpm else None,
        ),
        units=Units(told.get("units", Units.MM.value)),
    )


def _mm(length: Length | None) -> float | None:
    return None if length is None else float(length.mm)
