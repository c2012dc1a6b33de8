"""Options that describe bits, routers and materials, shared by the commands that take them."""

from __future__ import annotations

from collections.abc import Callable
from enum import Enum
from typing import Any, TypeVar

import click

from analysis.cutting.bands import MaterialClass
from analysis.cutting.tools import BitBody, BitStyle, Grain, Guide, Mounting, Sharpness
from listen.options import BIT, BandType, FlutesType, LengthType, SpeedRangeType, SpeedType

Function = TypeVar("Function", bound=Callable[..., Any])
E = TypeVar("E", bound=Enum)


class OneOf(click.ParamType[E]):
    """One of a few words, each standing for a member of an enum."""

    def __init__(self, name: str, words: dict[str, E]) -> None:
        self.name = name
        self.words = words

    def get_metavar(self, param: click.Parameter, ctx: click.Context) -> str:  # noqa: ARG002
        return "|".join(self.words)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> E:
        if isinstance(value, Enum):
            return value  # type: ignore[return-value]
        word = " ".join(str(value).casefold().replace("-", " ").replace("_", " ").split())
        for spelled, member in self.words.items():
            if word in (spelled.casefold().replace("-", " "), str(member.value).casefold()):
                return member
        return self.fail(f'"{value}" is not one of: {", ".join(self.words)}.', param, ctx)


class Positive(click.ParamType[float]):
    """A number above 0 and up to a limit, with its unit written after it or not."""

    def __init__(self, unit: str, *, most: float) -> None:
        self.name = unit
        self.most = most

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        text = str(value).strip().removesuffix(self.name).strip().replace(",", "")
        try:
            number = float(text)
        except ValueError:
            self.fail(f'"{value}" is not a number of {self.name}.', param, ctx)
        if not 0 < number <= self.most:
            self.fail(f'"{value}" is out of range: up to {self.most:,g} {self.name}.', param, ctx)
        return number


STYLE = OneOf("style", {style.value: style for style in BitStyle})
BODY = OneOf("body", {"carbide": BitBody.CARBIDE, "brazed": BitBody.BRAZED, "steel": BitBody.STEEL})
GUIDE = OneOf("guide", {"none": Guide.NONE, "tip": Guide.TIP, "shank": Guide.SHANK})
SHARPNESS = OneOf("state", {state.value: state for state in Sharpness})
MOUNTING = OneOf("mounting", {"hand": Mounting.HAND, "table": Mounting.TABLE})
GRAIN = OneOf("grain", {grain.value: grain for grain in Grain if grain is not Grain.NONE})
KIND = OneOf("kind", {kind.value: kind for kind in MaterialClass})

BIT_OPTIONS = [
    click.option("--flutes", type=FlutesType(), help="Cutting edges on the bit."),
    click.option("--style", type=STYLE, help="How the flutes run."),
    click.option("--body", type=BODY, help="Solid carbide, brazed on steel, or all steel."),
    click.option("--guide", type=GUIDE, help="Where its bearing sits."),
    click.option("--edge-state", "sharpness", type=SHARPNESS, help="How sharp it is."),
    click.option(
        "--shank",
        type=LengthType(noun="a shank", limits_mm=(2.0, 26.0)),
        help="Diameter of the shank: 8mm or 1/4in.",
    ),
    click.option(
        "--cutting-length",
        type=LengthType(noun="a cutting length", limits_mm=(1.0, 150.0)),
        help="Length of the flutes.",
    ),
    click.option(
        "--stick-out",
        type=LengthType(noun="a stick-out", limits_mm=(2.0, 250.0)),
        help="From the collet to the tip.",
    ),
    click.option("--max-rpm", type=SpeedType(), help="Highest speed marked on the bit."),
    click.option("--band", type=BandType(), help="Chip load printed with the bit."),
]
ROUTER_OPTIONS = [
    click.option("--range", "plate_range_rpm", type=SpeedRangeType(), help="Speeds on the plate."),
    click.option("--power", type=Positive("W", most=10_000), help="Input power on the plate, W."),
    click.option("--mounting", type=MOUNTING, help="Hand-held, or in a table."),
    click.option("--mains", type=click.Choice(["50", "60"]), help="Mains frequency, Hz."),
]
MATERIAL_OPTIONS = [
    click.option("--kind", type=KIND, help="What it is like."),
    click.option("--density", type=Positive("kg/m3", most=3_000), help="Density, kg/m3."),
    click.option("--hardness", type=Positive("N", most=30_000), help="Side hardness (Janka), N."),
]
DIAMETER = click.option("--diameter", type=BIT, help="Diameter of the bit: 12.7mm or 1/2in.")


def with_options(options: list[Any]) -> Callable[[Function], Function]:
    """Add a list of options, in its order."""

    def decorate(command: Function) -> Function:
        for option in reversed(options):
            command = option(command)
        return command

    return decorate
