"""The options that describe a cut, shared by every command that needs them."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from typing import Any, TypeVar

import click

from analysis.coaching.reading import BIT_LIMITS_MM, EDGE_LIMITS_MM, MOST_FLUTES
from analysis.cutting.materials import material_named
from analysis.errors import InputError
from listen.units import Length, UnitsError, parse_length_range, parse_rpm, parse_rpm_range

SPEED_LIMITS_RPM = (3_000, 60_000)
CHIP_LIMITS_MM = (0.001, 3.0)
BURIED = "buried"

Function = TypeVar("Function", bound=Callable[..., Any])


class LengthType(click.ParamType[Length]):
    """A length with its unit, between two limits in mm."""

    name = "length"

    def __init__(self, *, noun: str, limits_mm: tuple[float, float]) -> None:
        self.noun = noun
        self.limits_mm = limits_mm

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> Length:
        if isinstance(value, Length):
            return value
        try:
            length = Length.parse(value)
        except UnitsError as error:
            self.fail(str(error), param, ctx)
        low_mm, high_mm = self.limits_mm
        if not low_mm <= length.mm <= high_mm:
            self.fail(
                f'"{value}" is out of range: {self.noun} is from {low_mm:g}mm to {high_mm:g}mm.',
                param,
                ctx,
            )
        return length


class BitType(click.ParamType[Any]):
    """A bit's diameter, or the name of a bit that is kept."""

    name = "size or name"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> Length | str:
        from listen.store.names import looks_like_size

        if isinstance(value, Length) or looks_like_size(value):
            return BIT.convert(value, param, ctx)
        return str(value)


class TrimType(LengthType):
    """A trim allowance, or the word "buried", given as None."""

    def convert(  # type: ignore[override]
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> Length | str:
        if isinstance(value, str) and value.strip().lower() == BURIED:
            return BURIED
        return super().convert(value, param, ctx)


class BandType(click.ParamType[tuple[Length, Length]]):
    """A band of chip load, "0.08mm-0.15mm"."""

    name = "band"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[Length, Length]:
        if isinstance(value, tuple):
            return value
        try:
            low, high = parse_length_range(value)
        except UnitsError as error:
            self.fail(str(error), param, ctx)
        low_mm, high_mm = CHIP_LIMITS_MM
        if low.mm < Fraction(low_mm) or high.mm > Fraction(high_mm):
            self.fail(
                f'"{value}" is out of range: a chip load is from {low_mm:g}mm to {high_mm:g}mm.',
                param,
                ctx,
            )
        return low, high


class SpeedType(click.ParamType[float]):
    """A spindle speed in rpm."""

    name = "rpm"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        if isinstance(value, float):
            return value
        try:
            speed_rpm = parse_rpm(value)
        except UnitsError as error:
            self.fail(str(error), param, ctx)
        _check_speed(self, value, speed_rpm, param, ctx)
        return speed_rpm


class SpeedRangeType(click.ParamType[tuple[float, float]]):
    """The range of speeds on a router's plate, "8000-24000"."""

    name = "rpm-rpm"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[float, float]:
        if isinstance(value, tuple):
            return value
        try:
            range_rpm = parse_rpm_range(value)
        except UnitsError as error:
            self.fail(str(error), param, ctx)
        for speed_rpm in range_rpm:
            _check_speed(self, value, speed_rpm, param, ctx)
        return range_rpm


class FlutesType(click.ParamType[int]):
    """The number of cutting edges."""

    name = "number"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> int:
        if isinstance(value, str) and not value.strip().lstrip("+-").isdecimal():
            self.fail(f'"{value}" is not a whole number of flutes.', param, ctx)
        flutes = int(value)
        if not 1 <= flutes <= MOST_FLUTES:
            self.fail(f"a bit has 1 to {MOST_FLUTES} flutes, not {flutes}.", param, ctx)
        return flutes


class MaterialType(click.ParamType[str]):
    """A material by its name in the table, or one that is kept."""

    name = "name"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        try:
            return material_named(value).name
        except InputError as error:
            from listen.kept import kept_material

            if kept_material(value) is not None:
                return str(value)
            self.fail(
                f'I don\'t know "{value}". Name {error.allowed}, or keep your own with '
                '"toothbeat materials add".',
                param,
                ctx,
            )


def _check_speed(
    kind: click.ParamType[Any],
    value: str,
    speed_rpm: float,
    param: click.Parameter | None,
    ctx: click.Context | None,
) -> None:
    low_rpm, high_rpm = SPEED_LIMITS_RPM
    if not low_rpm <= speed_rpm <= high_rpm:
        kind.fail(
            f'"{value}" is out of range: routers turn at {low_rpm:,} to {high_rpm:,} rpm.',
            param,
            ctx,
        )


EDGE = LengthType(noun="an edge", limits_mm=EDGE_LIMITS_MM)
BIT = LengthType(noun="a bit's diameter", limits_mm=BIT_LIMITS_MM)
TRIM = TrimType(noun="a trim allowance", limits_mm=(0.01, BIT_LIMITS_MM[1]))


def cut_options(command: Function) -> Function:
    """Add the options that describe the cut: edge, bit, flutes, trim, material, band, speeds."""
    options = [
        click.option("--edge", type=EDGE, help="Length of the edge that each pass cuts: 600mm."),
        click.option("--bit", type=BitType(), help="Diameter, or the name of a bit you keep."),
        click.option("--flutes", type=FlutesType(), help="Cutting edges on the bit."),
        click.option("--trim", type=TRIM, help="What a pass takes off sideways, or: buried."),
        click.option("--material", type=MaterialType(), help="The wood or board: hardwood, MDF."),
        click.option("--band", type=BandType(), help="Chip load printed with the bit."),
        click.option(
            "--range", "plate_range_rpm", type=SpeedRangeType(), help="Speeds on the plate."
        ),
        click.option("--max-rpm", type=SpeedType(), help="Highest speed marked on the bit."),
        click.option("--router", help="A router you keep by name: its speeds and its sound."),
    ]
    for option in reversed(options):
        command = option(command)
    return command
