"""`toothbeat bits`, `routers`, `materials` and `names`: things kept by their names."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click

from analysis.errors import ToothbeatError
from listen.commands.tool_options import (
    BIT_OPTIONS,
    DIAMETER,
    MATERIAL_OPTIONS,
    ROUTER_OPTIONS,
    with_options,
)
from listen.store.describing import describe, facts_lines
from listen.store.things import BitFacts, Facts, FactsError, MaterialFacts, RouterFacts
from listen.units import Length

_NOTE = click.option("--note", help="Anything to remember.")
_LENGTHS = {
    "diameter": "diameter_mm",
    "shank": "shank_mm",
    "cutting_length": "cutting_length_mm",
    "stick_out": "stick_out_mm",
}


class ForgetError(ToothbeatError, ValueError):
    """A fact that cannot be forgotten."""


def facts_from_options(told: dict[str, Any]) -> dict[str, Any]:
    """Put what the options told into the names of the facts; what was not told is left out."""
    facts: dict[str, Any] = {}
    for option, value in told.items():
        if value is None:
            continue
        if isinstance(value, Length):
            facts[_LENGTHS[option]] = float(value.mm)
            facts.setdefault("units", value.units)
        elif option == "band":
            facts["band_low_mm"], facts["band_high_mm"] = (float(end.mm) for end in value)
        elif option == "plate_range_rpm":
            facts["low_rpm"], facts["high_rpm"] = value
        elif option == "power":
            facts["input_power_w"] = value
        elif option == "mains":
            facts["mains_hz"] = float(value)
        elif option == "density":
            facts["density_kg_m3"] = value
        elif option == "hardness":
            facts["hardness_n"] = value
        else:
            facts[option] = value
    return facts


@dataclass(frozen=True, slots=True)
class _Shelf:
    """One kind of thing, and how its commands are worded."""

    kind: str
    facts: type[BitFacts] | type[RouterFacts] | type[MaterialFacts]
    options: list[Any]
    needed: dict[str, str]
    example: str
    forgettable: dict[str, tuple[str, ...]]


_BITS = _Shelf(
    "bit",
    BitFacts,
    [DIAMETER, *BIT_OPTIONS, _NOTE],
    {"diameter_mm": "--diameter"},
    'toothbeat bits add "spiral half" --diameter 1/2in --flutes 2 --style up-cut',
    {"band": ("band_low_mm", "band_high_mm")},
)
_ROUTERS = _Shelf(
    "router",
    RouterFacts,
    [*ROUTER_OPTIONS, _NOTE],
    {},
    "toothbeat routers add bench --range 8000-24000 --power 1400 --mounting table",
    {"range": ("low_rpm", "high_rpm"), "power": ("input_power_w",), "mains": ("mains_hz",)},
)
_MATERIALS = _Shelf(
    "material",
    MaterialFacts,
    [*MATERIAL_OPTIONS, _NOTE],
    {"kind": "--kind", "density_kg_m3": "--density"},
    'toothbeat materials add "pear" --kind hardwood --density 700',
    {"hardness": ("hardness_n",)},
)


def _group(shelf: _Shelf) -> click.Group:
    """Build the five commands of one kind."""
    kind = shelf.kind

    @click.group(
        name=f"{kind}s",
        help=f"Keep {kind}s by name, and use the name wherever a {kind} is asked for.\n\n"
        f"\b\nExample:\n  {shelf.example}",
    )
    def group() -> None:
        pass

    @group.command(help=f"Keep a new {kind}.\n\n\b\nExample:\n  {shelf.example}")
    @click.argument("name")
    @with_options(shelf.options)
    def add(name: str, **told: Any) -> None:
        facts = facts_from_options(told)
        missing = [option for fact, option in shelf.needed.items() if fact not in facts]
        if missing:
            raise click.UsageError(f"To keep a {kind}, give {' and '.join(missing)}.")
        kept = _checked(shelf.facts, facts)
        with _store() as store:
            store.add(kind, name, kept)
        click.echo(f"Kept: {name}, {describe(kept)}.")

    @group.command(name="list", help=f"List the {kind}s.\n\n\b\nExample:\n  toothbeat {kind}s list")
    def list_() -> None:
        with _store() as store:
            things = store.all(kind)
        if not things:
            click.echo(f"No {kind}s yet. Keep one with:\n  {shelf.example}")
        width = max((len(thing.name) for thing in things), default=0)
        for thing in things:
            click.echo(f"{thing.name:<{width}}  {describe(thing.facts)}")

    @group.command(
        help=f"Show all that is kept of a {kind}.\n\n\b\nExample:\n  toothbeat {kind}s show NAME"
    )
    @click.argument("name")
    def show(name: str) -> None:
        with _store() as store:
            thing = store.get(kind, name)
            calibrated = store.calibration(thing.name) if kind == "router" else None
        click.echo(f"{thing.name}")
        for line in facts_lines(thing.facts):
            click.echo(f"  {line}")
        if kind == "router":
            dial = f"calibrated on {calibrated.made_at[:10]}" if calibrated else "not calibrated"
            click.echo(f"  {'dial':<22} {dial}")

    forgettable = sorted(
        {name for name in shelf.facts.names() if name not in ("units", *shelf.needed)}
        - {fact for facts in shelf.forgettable.values() for fact in facts}
        | set(shelf.forgettable)
    )

    @group.command(
        help=f"Change what is kept of a {kind}; what you do not name stays.\n\n"
        f"\b\nExample:\n  toothbeat {kind}s change NAME {_an_option(shelf)}"
    )
    @click.argument("name")
    @with_options(shelf.options)
    @click.option("--new-name", help="Give it another name.")
    @click.option("--forget", multiple=True, metavar="FACT", help="Forget a fact.")
    def change(name: str, new_name: str | None, forget: tuple[str, ...], **told: Any) -> None:
        facts = facts_from_options(told)
        for fact in forget:
            key = fact.lower().replace("-", "_")
            keys = [k for k in forgettable if k in (key, f"{key}_mm")]
            if not keys:
                shown = ", ".join(k.removesuffix("_mm").replace("_", "-") for k in forgettable)
                raise ForgetError(f'"{fact}" cannot be forgotten. These can: {shown}.')
            facts |= dict.fromkeys(shelf.forgettable.get(keys[0], (keys[0],)))
        if not facts and new_name is None:
            raise click.UsageError("Name what to change; see --help.")
        with _store() as store:
            if facts:
                store.change(
                    kind, name, lambda old: _checked(shelf.facts, _plain_values(old) | facts)
                )
            if new_name is not None:
                store.rename(kind, name, new_name)
            thing = store.get(kind, new_name or name)
        click.echo(f"Kept: {thing.name}, {describe(thing.facts)}.")

    @group.command(help=f"Forget a {kind}.\n\n\b\nExample:\n  toothbeat {kind}s remove NAME")
    @click.argument("name")
    def remove(name: str) -> None:
        with _store() as store:
            thing = store.get(kind, name)
            store.remove(kind, name)
        click.echo(f"Forgotten: {thing.name}, {describe(thing.facts)}.")

    return group


def _an_option(shelf: _Shelf) -> str:
    return {"bit": "--max-rpm 22000", "router": "--power 1400", "material": "--density 680"}[
        shelf.kind
    ]


def _plain_values(facts: Facts) -> dict[str, Any]:
    return {field.name: getattr(facts, field.name) for field in dataclasses.fields(facts)}


def _checked(facts: Callable[..., Facts], values: dict[str, Any]) -> Facts:
    """Make the facts, refusing those that cannot belong to one thing."""
    kept = facts(**values)
    if isinstance(kept, BitFacts):
        length, stick_out = kept.cutting_length_mm, kept.stick_out_mm
        if length is not None and stick_out is not None and stick_out < length:
            raise FactsError(
                "The flutes are longer than the bit stands out of the collet. Check "
                "--cutting-length and --stick-out: flutes do not belong in the collet."
            )
    return kept


def _store() -> Any:
    from listen.store.names import name_store

    return name_store()


bits = _group(_BITS)
routers = _group(_ROUTERS)
materials = _group(_MATERIALS)


@click.group()
def names() -> None:
    """Carry your bits, routers and materials to another machine.

    \b
    Example:
      toothbeat names export my-shop.json
      toothbeat names import my-shop.json
    """


@names.command(name="export")
@click.argument("file", type=click.Path(path_type=Path))
def export(file: Path) -> None:
    """Write everything that is kept by name to a file; - prints it.

    \b
    Example:
      toothbeat names export my-shop.json
    """
    from listen.saving import save_whole
    from listen.store.exchange import export_all

    with _store() as store:
        text = export_all(store)
    if str(file) == "-":
        click.echo(text, nl=False)
        return
    save_whole(file, text.encode())
    click.echo(f'Written to "{file}".')


@names.command(name="import")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--replace", is_flag=True, help="Replace those of the same name.")
def import_(file: Path, replace: bool) -> None:
    """Take in what was exported. All of it, or nothing.

    \b
    Example:
      toothbeat names import my-shop.json
    """
    from listen.store.exchange import ExchangeError, read_export, taken_names

    try:
        carried = read_export(file.read_text(encoding="utf-8"))
    except OSError as error:
        raise ExchangeError(
            f'"{file}" cannot be read: {(error.strerror or str(error)).lower()}.'
        ) from None
    except UnicodeDecodeError:
        raise ExchangeError(f'"{file}" is not an export of names.') from None
    with _store() as store:
        taken = taken_names(store, carried)
        if taken and not replace:
            raise ExchangeError(
                f"Nothing was taken in: you have {', '.join(taken[:4])}"
                f"{' and others' if len(taken) > 4 else ''} with other facts. "
                "Give --replace to overwrite them."
            )
        store.replace_all(carried.things, carried.calibrations)
    click.echo(f"Taken in: {len(carried.things)} by name.")
