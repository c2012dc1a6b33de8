"""Jobs for the tests of the cut model."""

from dataclasses import replace
from typing import Any

from analysis.cutting.materials import material_named
from analysis.cutting.tools import (
    Bit,
    BitBody,
    BitStyle,
    Grain,
    Guide,
    Job,
    Mounting,
    Router,
    Sharpness,
    Work,
)

HALF_INCH_SPIRAL = Bit(
    diameter_mm=12.7,
    flutes=2,
    style=BitStyle.UP_CUT,
    body=BitBody.CARBIDE,
    guide=Guide.NONE,
    sharpness=Sharpness.FRESH,
    shank_mm=12.7,
    cutting_length_mm=32.0,
    stick_out_mm=40.0,
    max_rpm=None,
)
BENCH_ROUTER = Router(
    mounting=Mounting.HAND, plate_range_rpm=(8_000.0, 24_000.0), input_power_w=1200.0, mains_hz=50.0
)
HARDWOOD_EDGE = Work(
    material=material_named("hardwood"),
    grain=Grain.ALONG,
    trim_allowance_mm=1.5875,
    thickness_mm=19.0,
    edge_length_mm=610.0,
    inside_radius_mm=None,
)


def job(
    bit: dict[str, Any] | None = None,
    router: dict[str, Any] | None = None,
    work: dict[str, Any] | None = None,
) -> Job:
    """A half-inch spiral trimming 1/16 in off a hardwood edge, changed as told."""
    changed = dict(work or {})
    if isinstance(changed.get("material"), str):
        changed["material"] = material_named(changed["material"])
    return Job(
        bit=replace(HALF_INCH_SPIRAL, **(bit or {})),
        router=replace(BENCH_ROUTER, **(router or {})),
        work=replace(HARDWOOD_EDGE, **changed),
    )
