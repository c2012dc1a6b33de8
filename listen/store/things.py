"""What is kept of a bit, a router and a material: plain facts, lengths in mm.

None means "not told". `units` is how the person thinks of it, "mm" or "in".
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from enum import Enum
from typing import Any, Self, get_type_hints

from analysis.coaching.wording import Units
from analysis.cutting.bands import MaterialClass
from analysis.cutting.tools import BitBody, BitStyle, Guide, Mounting, Sharpness
from analysis.errors import ToothbeatError


class FactsError(ToothbeatError, ValueError):
    """Facts that cannot be read; the message names the one at fault."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Facts:
    def to_plain(self) -> dict[str, Any]:
        """As JSON's own types; what is not told is left out."""
        return {
            name: value.value if isinstance(value, Enum) else value
            for name in self.names()
            if (value := getattr(self, name)) is not None
        }

    @classmethod
    def names(cls) -> tuple[str, ...]:
        return tuple(field.name for field in dataclasses.fields(cls))

    @classmethod
    def from_plain(cls, plain: object) -> Self:
        """Read what `to_plain` made.

        Raises
        ------
        FactsError
            For a fact that is missing, unknown or of the wrong kind.
        """
        if not isinstance(plain, dict):
            raise FactsError("It is not a list of facts.")
        unknown = set(plain) - set(cls.names())
        if unknown:
            raise FactsError(f'"{min(map(str, unknown))}" is not a fact I know.')
        hints = get_type_hints(cls)
        try:
            return cls(**{name: _read(name, hints[name], value) for name, value in plain.items()})
        except TypeError:
            missing = [
                field.name
                for field in dataclasses.fields(cls)
                if field.default is dataclasses.MISSING and field.name not in plain
            ]
            raise FactsError(f'"{missing[0]}" is missing.') from None


def _read(name: str, hint: Any, value: object) -> Any:
    """One fact by its annotation: an enum, a number or a text, or None where that may be."""
    kinds = getattr(hint, "__args__", (hint,))
    if value is None and type(None) in kinds:
        return None
    kind = kinds[0]
    wrong = FactsError(f'"{name}" cannot be {value!r}.')
    if isinstance(kind, type) and issubclass(kind, Enum):
        try:
            return kind(value)
        except ValueError:
            raise wrong from None
    if kind is str:
        if isinstance(value, str):
            return value
        raise wrong
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise wrong
    if not (math.isfinite(value) and value > 0) or (kind is int and value != int(value)):
        raise wrong
    return kind(value)


@dataclass(frozen=True, slots=True, kw_only=True)
class BitFacts(_Facts):
    """A bit. The band is the one printed with it, feed per tooth at full engagement."""

    diameter_mm: float
    flutes: int | None = None
    style: BitStyle | None = None
    body: BitBody | None = None
    guide: Guide | None = None
    sharpness: Sharpness | None = None
    shank_mm: float | None = None
    cutting_length_mm: float | None = None
    stick_out_mm: float | None = None
    max_rpm: float | None = None
    band_low_mm: float | None = None
    band_high_mm: float | None = None
    units: Units | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class RouterFacts(_Facts):
    """A router: the no-load range and the input power on its plate."""

    low_rpm: float | None = None
    high_rpm: float | None = None
    input_power_w: float | None = None
    mounting: Mounting | None = None
    mains_hz: float | None = None
    note: str | None = None

    @property
    def plate_range_rpm(self) -> tuple[float, float] | None:
        if self.low_rpm is None or self.high_rpm is None:
            return None
        return self.low_rpm, self.high_rpm


@dataclass(frozen=True, slots=True, kw_only=True)
class MaterialFacts(_Facts):
    """A material of the user's own: what it is like, and how dense and hard."""

    kind: MaterialClass
    density_kg_m3: float
    hardness_n: float | None = None
    note: str | None = None


Facts = BitFacts | RouterFacts | MaterialFacts
KINDS: dict[str, type[BitFacts] | type[RouterFacts] | type[MaterialFacts]] = {
    "bit": BitFacts,
    "router": RouterFacts,
    "material": MaterialFacts,
}
