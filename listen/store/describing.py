"""Kept things in words."""

from __future__ import annotations

from enum import Enum

from analysis.coaching.wording import Units
from listen.store.things import BitFacts, Facts, MaterialFacts, RouterFacts
from listen.units import show_length


def describe(facts: Facts) -> str:
    """One line.

    >>> describe(BitFacts(diameter_mm=12.7, flutes=2, units=Units.INCH))
    '1/2 in, 2 flutes'
    """
    if isinstance(facts, BitFacts):
        parts = [
            show_length(facts.diameter_mm, facts.units or Units.MM),
            facts.style.value if facts.style else "",
            _flutes(facts.flutes),
            f"at most {facts.max_rpm:,.0f} rpm" if facts.max_rpm else "",
        ]
    elif isinstance(facts, RouterFacts):
        parts = [
            f"{facts.low_rpm:,.0f} to {facts.high_rpm:,.0f} rpm"
            if facts.low_rpm and facts.high_rpm
            else "",
            f"{facts.input_power_w:g} W" if facts.input_power_w else "",
            facts.mounting.value if facts.mounting else "",
        ]
    else:
        parts = [facts.kind.value, f"{facts.density_kg_m3:g} kg/m3"]
    return ", ".join(part for part in parts if part) or "nothing told yet"


def facts_lines(facts: Facts) -> list[str]:
    """One line for each fact that is told."""
    rows: list[tuple[str, object]] = []
    if isinstance(facts, BitFacts):
        units = facts.units or Units.MM

        def size(value_mm: float | None) -> str | None:
            return None if value_mm is None else show_length(value_mm, units)

        rows = [
            ("diameter", size(facts.diameter_mm)),
            ("flutes", facts.flutes),
            ("style", facts.style),
            ("body", facts.body),
            ("guide", facts.guide),
            ("edges", facts.sharpness),
            ("shank", size(facts.shank_mm)),
            ("cutting length", size(facts.cutting_length_mm)),
            ("stick-out", size(facts.stick_out_mm)),
            ("marked maximum", _rpm(facts.max_rpm)),
        ]
        if facts.band_low_mm and facts.band_high_mm:
            low, high = size(facts.band_low_mm), size(facts.band_high_mm)
            rows.append(("printed chip load", f"{low} to {high}"))
    elif isinstance(facts, RouterFacts):
        rows = [
            ("slowest", _rpm(facts.low_rpm)),
            ("fastest", _rpm(facts.high_rpm)),
            ("input power", f"{facts.input_power_w:g} W" if facts.input_power_w else None),
            ("mounting", facts.mounting),
            ("mains", f"{facts.mains_hz:g} Hz" if facts.mains_hz else None),
        ]
    elif isinstance(facts, MaterialFacts):
        rows = [
            ("kind", facts.kind),
            ("density", f"{facts.density_kg_m3:g} kg/m3"),
            ("side hardness", f"{facts.hardness_n:g} N" if facts.hardness_n else None),
        ]
    rows.append(("note", facts.note))
    return [
        f"{label:<22} {value.value if isinstance(value, Enum) else value}"
        for label, value in rows
        if value is not None
    ]


def _rpm(speed_rpm: float | None) -> str | None:
    return None if speed_rpm is None else f"{speed_rpm:,.0f} rpm"


def _flutes(count: int | None) -> str:
    if count is None:
        return ""
    return f"{count} flute{'s' if count > 1 else ''}"
