"""From what the person typed, and what is kept by name, to a plan."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from analysis.coaching.plan import Plan, make_plan
from analysis.coaching.wording import Units
from analysis.cutting.bands import Band, given_band
from analysis.cutting.materials import Material, material_named
from analysis.cutting.tools import (
    FASTEST_RPM,
    SMALLEST_BIT_MM,
    Bit,
    BitBody,
    BitStyle,
    Grain,
    Guide,
    Job,
    JobError,
    Mounting,
    Router,
    Sharpness,
    Trouble,
    Work,
)
from analysis.errors import InputError, ToothbeatError
from listen.store.things import BitFacts, FactsError, RouterFacts
from listen.units import Length, show_length

if TYPE_CHECKING:
    from analysis.dial.curve import DialCurve
    from listen.store.names import NameStore

_LARGE_SHANK_FROM_MM = 12.7
_SHANKS_MM = (6.35, 12.7)


class PlanError(ToothbeatError, ValueError):
    """A cut that cannot be planned; the sentence says why and what to do."""


@dataclass(frozen=True, slots=True)
class Planned:
    """A plan, the units to show it in, a title, and what had to be assumed."""

    plan: Plan
    units: Units
    title: str
    assumed: tuple[str, ...]
    dial_made_on: str | None


def lay_out_plan(
    *,
    bit: Length | str | None,
    trim: Length | str | None,
    material: str | None,
    edge: Length | None,
    thickness: Length | None,
    radius: Length | None,
    grain: Grain | None,
    router: str | None,
    speed: float | None,
    **described: Any,
) -> Planned:
    """Put a plan together.

    `described` holds the options that describe bit and router; what is typed comes before what
    is kept by name.

    Raises
    ------
    PlanError
        If something needed is missing, or the parts cannot go together.
    """
    with _kept(bit, router, material) as store:
        bit_facts = _bit_facts(store, bit, described)
        router_facts, curve, made_on = _router_facts(store, router, described)
        stock = _material(store, material)
    _require(
        {
            "--bit": bit_facts,
            "--flutes": bit_facts and bit_facts.flutes,
            "--trim": trim,
            "--material": stock,
        }
    )
    assert bit_facts is not None
    assert stock is not None
    if speed is not None and speed > FASTEST_RPM:
        raise PlanError(
            f"No router turns at {speed:,.0f} rpm: {FASTEST_RPM:,.0f} is the most. Check --speed."
        )
    units = _units(bit, bit_facts, edge, trim if isinstance(trim, Length) else None, thickness)
    assumed: list[str] = []
    the_bit = _make_bit(bit_facts, assumed, units)
    the_router = _make_router(router_facts, curve, assumed)
    trim_mm = the_bit.diameter_mm if isinstance(trim, str) else float(trim.mm) if trim else 0.0
    work = Work(
        material=stock,
        grain=_grain(grain, stock, assumed),
        trim_allowance_mm=trim_mm,
        thickness_mm=_mm(thickness),
        edge_length_mm=_mm(edge),
        inside_radius_mm=_mm(radius),
    )
    try:
        job = Job(the_bit, the_router, work)
    except JobError as error:
        raise PlanError(_say_trouble(error.trouble, the_bit, the_router, work, units)) from None
    plan = make_plan(job, band=_band(bit_facts), dial=curve, speed_rpm=speed, units=units)
    return Planned(plan, units, _title(bit, job, units), tuple(assumed), made_on)


@contextmanager
def _kept(
    bit: Length | str | None, router: str | None, material: str | None
) -> Iterator[NameStore | None]:
    """Open the names only where one is asked for."""
    if isinstance(bit, str) or router is not None or not _in_the_table(material):
        from listen.store.names import name_store

        with name_store() as store:
            yield store
    else:
        yield None


def _in_the_table(material: str | None) -> bool:
    if material is None:
        return True
    try:
        material_named(material)
    except InputError:
        return False
    return True


def _bit_facts(
    store: NameStore | None, bit: Length | str | None, described: dict[str, Any]
) -> BitFacts | None:
    if bit is None:
        return None
    if isinstance(bit, str):
        from listen.store.names import bit_named

        assert store is not None
        kept = bit_named(store, bit)
    else:
        kept = BitFacts(diameter_mm=float(bit.mm), units=bit.units)
    told: dict[str, Any] = {
        name: float(value.mm) if isinstance(value, Length) else value
        for name, value in {
            "flutes": described.get("flutes"),
            "style": described.get("style"),
            "body": described.get("body"),
            "guide": described.get("guide"),
            "sharpness": described.get("sharpness"),
            "shank_mm": described.get("shank"),
            "cutting_length_mm": described.get("cutting_length"),
            "stick_out_mm": described.get("stick_out"),
            "max_rpm": described.get("max_rpm"),
        }.items()
        if value is not None
    }
    if band := described.get("band"):
        told |= {"band_low_mm": float(band[0].mm), "band_high_mm": float(band[1].mm)}
    return dataclasses.replace(kept, **told)


def _router_facts(
    store: NameStore | None, router: str | None, described: dict[str, Any]
) -> tuple[RouterFacts, DialCurve | None, str | None]:
    kept, curve, made_on = RouterFacts(), None, None
    if router is not None:
        from listen.store.names import router_named

        assert store is not None
        kept = router_named(store, router)
        calibration = store.calibration(router)
        if calibration is not None:
            from analysis.dial.curve import curve_from_json

            curve = curve_from_json(calibration.calibration["curve"])
            made_on = calibration.made_at[:10]
    told: dict[str, Any] = {}
    if described.get("plate_range_rpm"):
        told["low_rpm"], told["high_rpm"] = described["plate_range_rpm"]
    for fact, option in (("input_power_w", "power"), ("mounting", "mounting")):
        if described.get(option) is not None:
            told[fact] = described[option]
    if described.get("mains") is not None:
        told["mains_hz"] = float(described["mains"])
    return dataclasses.replace(kept, **told), curve, made_on


def _material(store: NameStore | None, name: str | None) -> Material | None:
    if name is None:
        return None
    try:
        return material_named(name)
    except InputError as error:
        from listen.store.names import own_material

        own = own_material(store, name) if store is not None else None
        if own is None:
            raise PlanError(
                f'I don\'t know the material "{name}". Name {error.allowed}, or keep your own '
                'with "toothbeat materials add".'
            ) from None
        return Material(
            name=name,
            kind=own.kind,
            density_kg_m3=own.density_kg_m3,
            hardness_n=own.hardness_n,
        )


def _require(needed: dict[str, object]) -> None:
    missing = [option for option, value in needed.items() if value is None]
    if missing:
        shown = " and ".join(
            [", ".join(missing[:-1]), missing[-1]] if len(missing) > 1 else missing
        )
        raise PlanError(f"To plan a cut, tell also {shown}. See: toothbeat plan --help")


def _make_bit(facts: BitFacts, assumed: list[str], units: Units) -> Bit:
    shank_mm = facts.shank_mm
    if shank_mm is None:
        shank_mm = _SHANKS_MM[facts.diameter_mm >= _LARGE_SHANK_FROM_MM]
        if facts.cutting_length_mm is not None:
            assumed.append(f"a shank of {show_length(shank_mm, units)}")
    stick_out_mm = facts.stick_out_mm
    if stick_out_mm is None and facts.cutting_length_mm is not None:
        stick_out_mm = facts.cutting_length_mm + shank_mm
        assumed.append(f"a stick-out of {show_length(stick_out_mm, units)}")
    if facts.style is None:
        assumed.append("straight flutes")
    if facts.body is None and facts.cutting_length_mm is not None:
        assumed.append("a steel body with carbide edges")
    if facts.sharpness is None:
        assumed.append("used, not dull edges")
    try:
        return Bit(
            diameter_mm=facts.diameter_mm,
            flutes=facts.flutes or 1,
            style=facts.style or BitStyle.STRAIGHT,
            body=facts.body or BitBody.BRAZED,
            guide=facts.guide or Guide.NONE,
            sharpness=facts.sharpness or Sharpness.USED,
            shank_mm=shank_mm,
            cutting_length_mm=facts.cutting_length_mm,
            stick_out_mm=stick_out_mm,
            max_rpm=facts.max_rpm,
        )
    except InputError as error:
        if error.what.startswith("stick-out"):
            raise FactsError(
                f"The bit stands {show_length(stick_out_mm or 0, units)} out of the collet and "
                f"its flutes are {show_length(facts.cutting_length_mm or 0, units)} long: flutes "
                "do not belong in the collet. Check --stick-out and --cutting-length."
            ) from None
        raise PlanError(
            f"A marked maximum of {facts.max_rpm:,.0f} rpm cannot be: no router turns faster than "
            f"{FASTEST_RPM:,.0f} rpm. Read the shank again."
        ) from None


def _make_router(facts: RouterFacts, curve: DialCurve | None, assumed: list[str]) -> Router:
    plate_range_rpm = facts.plate_range_rpm
    if plate_range_rpm is None and curve is not None:
        plate_range_rpm = curve.range_rpm
    if facts.mounting is None:
        assumed.append("a hand-held router")
    try:
        return Router(
            mounting=facts.mounting or Mounting.HAND,
            plate_range_rpm=plate_range_rpm,
            input_power_w=facts.input_power_w,
            mains_hz=facts.mains_hz,
        )
    except InputError:
        high_rpm = plate_range_rpm[1] if plate_range_rpm else 0.0
        raise PlanError(
            f"A router of {high_rpm:,.0f} rpm cannot be: none turns faster than "
            f"{FASTEST_RPM:,.0f} rpm. Read the plate again."
        ) from None


def _grain(grain: Grain | None, material: Material, assumed: list[str]) -> Grain:
    if not material.grained:
        return Grain.NONE
    if grain is None:
        assumed.append("a cut along the grain")
    return grain or Grain.ALONG


def _band(facts: BitFacts) -> Band | None:
    if facts.band_low_mm is None or facts.band_high_mm is None:
        return None
    return given_band(low_mm=facts.band_low_mm, high_mm=facts.band_high_mm)


def _units(bit: Length | str | None, facts: BitFacts, *lengths: Length | None) -> Units:
    """The units of the edge that was typed, else of the bit, else of whatever was typed."""
    typed = [length.units for length in lengths if length is not None]
    if isinstance(bit, Length):
        return bit.units
    return typed[0] if typed else facts.units or Units.MM


def _title(bit: Length | str | None, job: Job, units: Units) -> str:
    size = show_length(job.bit.diameter_mm, units)
    style = f"{job.bit.style.value} bit"
    flutes = f"{job.bit.flutes} flute{'s' if job.bit.flutes > 1 else ''}"
    name = f"{bit}: " if isinstance(bit, str) else ""
    return (
        f"{name}{size} {style}, {flutes}, in {job.work.material.name}, {job.router.mounting.value}"
    )


def _say_trouble(trouble: Trouble, bit: Bit, router: Router, work: Work, units: Units) -> str:
    def size(value_mm: float | None) -> str:
        return show_length(value_mm or 0.0, units)

    if trouble is Trouble.TRIM_TOO_WIDE:
        return (
            f"A trim of {size(work.trim_allowance_mm)} is wider than the bit, "
            f"{size(bit.diameter_mm)}. Say --trim buried if the whole bit is in the wood, or saw "
            "closer to the line first."
        )
    if trouble is Trouble.FLUTES_TOO_SHORT:
        return (
            f"The flutes are {size(bit.cutting_length_mm)} long and the wood is "
            f"{size(work.thickness_mm)} thick. Take a longer bit, or cut in steps and give the "
            "depth of one step as --thickness."
        )
    if trouble is Trouble.CORNER_TOO_TIGHT:
        return (
            f"No bit reaches an inside corner of radius {size(work.inside_radius_mm)}: the "
            f"smallest common one, {size(SMALLEST_BIT_MM)}, leaves {size(SMALLEST_BIT_MM / 2)}. "
            "Cut that corner with a chisel, or make the template's corner rounder."
        )
    low_rpm = router.plate_range_rpm[0] if router.plate_range_rpm else 0.0
    return (
        f"This bit must not run in this router: it bears {bit.max_rpm:,.0f} rpm, and the router's "
        f"slowest speed is {low_rpm:,.0f} rpm."
    )


def _mm(length: Length | None) -> float | None:
    return None if length is None else float(length.mm)
