"""All names as one JSON document, to keep elsewhere or carry to another machine.

``{"toothbeat_names": 1, "things": [{"kind", "name", "facts"}], "calibrations": [{"router",
"made_at", "calibration"}]}``
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from analysis.errors import ToothbeatError
from listen.store.names import KeptCalibration, Named, NameStore, usable_name
from listen.store.things import KINDS, FactsError

SCHEMA = 1
_MARK = "toothbeat_names"


class ExchangeError(ToothbeatError, ValueError):
    """A document that cannot be taken in; nothing was changed."""


@dataclass(frozen=True, slots=True)
class Carried:
    """What a document holds."""

    things: list[Named]
    calibrations: dict[str, KeptCalibration]


def export_all(store: NameStore) -> str:
    """Write everything that is kept, readable and in a fixed order."""
    things = [thing for kind in KINDS for thing in store.all(kind)]
    calibrations = [
        {"router": thing.name, "made_at": kept.made_at, "calibration": kept.calibration}
        for thing in things
        if thing.kind == "router" and (kept := store.calibration(thing.name)) is not None
    ]
    document = {
        _MARK: SCHEMA,
        "things": [
            {"kind": thing.kind, "name": thing.name, "facts": thing.facts.to_plain()}
            for thing in things
        ],
        "calibrations": calibrations,
    }
    return json.dumps(document, ensure_ascii=False, indent=2, allow_nan=False) + "\n"


def read_export(text: str) -> Carried:
    """Read a document whole, or refuse it whole.

    Raises
    ------
    ExchangeError
        If it is not one, is of another schema, or any entry cannot be read.
    """
    try:
        document = json.loads(text)
    except ValueError:
        raise ExchangeError("This file is not an export of names: it is not JSON.") from None
    if not isinstance(document, dict) or _MARK not in document:
        raise ExchangeError("This file is not an export of names.")
    if document[_MARK] != SCHEMA:
        raise ExchangeError("This export was made by a newer Toothbeat. Update this one.")
    things = [_thing(entry) for entry in _entries(document, "things")]
    seen = {(thing.kind, thing.name.casefold()) for thing in things}
    if len(seen) < len(things):
        raise ExchangeError("This export holds the same name twice.")
    calibrations = {}
    for entry in _entries(document, "calibrations"):
        router, made_at, calibration = (
            entry.get(key) for key in ("router", "made_at", "calibration")
        )
        if (
            not isinstance(router, str)
            or not isinstance(made_at, str)
            or not isinstance(calibration, dict)
            or ("router", router.casefold()) not in seen
        ):
            raise ExchangeError("This export holds a calibration that cannot be read.")
        calibrations[router] = KeptCalibration(made_at, calibration)
    return Carried(things, calibrations)


def taken_names(store: NameStore, carried: Carried) -> list[str]:
    """Names in the document that the store has already, with other facts."""
    return [
        f"{thing.kind} {thing.name}"
        for thing in carried.things
        for kept in store.all(thing.kind)
        if kept.name.casefold() == thing.name.casefold() and kept.facts != thing.facts
    ]


def _entries(document: dict[str, Any], key: str) -> list[dict[str, Any]]:
    entries = document.get(key, [])
    if not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
        raise ExchangeError(f'This export cannot be read: "{key}" is not a list.')
    return entries


def _thing(entry: dict[str, Any]) -> Named:
    kind, name = entry.get("kind"), entry.get("name")
    if not isinstance(kind, str) or kind not in KINDS or not isinstance(name, str):
        raise ExchangeError("This export holds something that is no bit, router or material.")
    try:
        return Named(kind, usable_name(name), KINDS[kind].from_plain(entry.get("facts")), "")
    except FactsError as error:
        raise ExchangeError(f'The {kind} "{name}" cannot be read: {error}') from None
