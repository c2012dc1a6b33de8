"""From what the person typed to the set-up of the cut."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from analysis.coaching.reading import CutSetup
from analysis.coaching.wording import Units
from analysis.cutting.bands import given_band
from analysis.errors import ToothbeatError
from listen.units import Length, show_length


class SetupError(ToothbeatError):
    """Values that are each possible and together are not."""


@dataclass(frozen=True, slots=True)
class Bench:
    """The cut, and the units in which the person thinks of it."""

    cut: CutSetup
    units: Units


def lay_out(
    *,
    edge: Length | None,
    bit: Length | None,
    flutes: int | None,
    trim: Length | str | None,
    material: str | None,
    band: tuple[Length, Length] | None,
    plate_range_rpm: tuple[float, float] | None,
    max_rpm: float | None,
) -> Bench:
    """Put the options together.

    Figures are shown in the units of the first of edge, bit, trim and band that was given;
    millimetres if none was.

    Raises
    ------
    SetupError
        If the trim is wider than the bit, or "buried" without a bit.
    """
    if isinstance(trim, str):
        if bit is None:
            raise SetupError("A buried cut is as wide as the bit: give its diameter with --bit.")
        trim = bit
    if bit is not None and trim is not None and trim.mm > bit.mm:
        raise SetupError(
            f"A trim of {show_length(trim.mm, trim.units)} is wider than the bit, "
            f"{show_length(bit.mm, bit.units)}. Check --trim and --bit."
        )
    told = [length for length in (edge, bit, trim, band and band[0]) if length is not None]
    return Bench(
        cut=CutSetup(
            edge_length_mm=_mm(edge),
            bit_diameter_mm=_mm(bit),
            flutes=flutes,
            trim_allowance_mm=_mm(trim),
            material=material,
            band=given_band(low_mm=float(band[0].mm), high_mm=float(band[1].mm)) if band else None,
            bit_max_rpm=max_rpm,
            plate_range_rpm=plate_range_rpm,
        ),
        units=told[0].units if told else Units.MM,
    )


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
