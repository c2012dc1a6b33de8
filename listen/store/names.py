"""Bits, routers and materials by name: add, find, change, rename, remove."""

from __future__ import annotations

import json
import sqlite3
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from analysis.errors import ToothbeatError
from listen.store.database import SetAside, opened, writing
from listen.store.home import home
from listen.store.things import KINDS, BitFacts, Facts, FactsError, MaterialFacts, RouterFacts

MOST_LETTERS = 60


class NamingError(ToothbeatError, ValueError):
    """A name that is taken, unknown or unusable."""


@dataclass(frozen=True, slots=True)
class Named:
    """A kept thing."""

    kind: str
    name: str
    facts: Facts
    changed_at: str


@dataclass(frozen=True, slots=True)
class KeptCalibration:
    """A router's calibration as `analysis.dial.keeping` writes it, and when it was made."""

    made_at: str
    calibration: dict[str, Any]


@contextmanager
def name_store(folder: Path | None = None) -> Iterator[NameStore]:
    """The user's names; a file that had to be set aside is told on standard error."""

    def tell(aside: SetAside) -> None:
        sys.stderr.write(f"toothbeat: {aside}\n")

    with opened(folder or home(), on_set_aside=tell) as connection:
        yield NameStore(connection)


class NameStore:
    """The names in an open file. Each call is one transaction."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection

    def add(self, kind: str, name: str, facts: Facts) -> None:
        """Keep a new thing.

        Raises
        ------
        NamingError
            If the name is taken or unusable.
        """
        name = usable_name(name)
        with writing(self._connection):
            if self._find(kind, name) is not None:
                raise NamingError(
                    f'There is a {kind} called "{name}" already. Change it with '
                    f'"toothbeat {kind}s change", or choose another name.'
                )
            self._put(kind, name, facts)

    def change(self, kind: str, name: str, edit: Callable[[Facts], Facts]) -> None:
        """Edit the facts of a kept thing; nobody else's change comes in between."""
        with writing(self._connection):
            old = self.get(kind, name)
            self._put(kind, old.name, edit(old.facts))

    def rename(self, kind: str, name: str, new_name: str) -> None:
        """Give a kept thing another name; a router's calibration goes with it."""
        new_name = usable_name(new_name)
        with writing(self._connection):
            old = self.get(kind, name)
            if new_name.casefold() != old.name.casefold() and self._find(kind, new_name):
                raise NamingError(f'There is a {kind} called "{new_name}" already.')
            self._connection.execute(
                "UPDATE things SET name = ? WHERE kind = ? AND name = ?", (new_name, kind, old.name)
            )
            if kind == "router":
                self._connection.execute(
                    "UPDATE calibrations SET router = ? WHERE router = ?", (new_name, old.name)
                )

    def remove(self, kind: str, name: str) -> None:
        """Forget a thing, and a router's calibration with it."""
        with writing(self._connection):
            old = self.get(kind, name)
            self._connection.execute(
                "DELETE FROM things WHERE kind = ? AND name = ?", (kind, old.name)
            )
            if kind == "router":
                self._connection.execute("DELETE FROM calibrations WHERE router = ?", (old.name,))

    def get(self, kind: str, name: str) -> Named:
        """Find a thing by its name, in any case.

        Raises
        ------
        NamingError
            If there is none; the message lists those there are.
        """
        found = self._find(kind, name)
        if found is not None:
            return found
        known = [thing.name for thing in self.all(kind)]
        if not known:
            raise NamingError(
                f'There is no {kind} called "{name}", nor any other yet. Keep one with: '
                f'toothbeat {kind}s add "{name}"'
            )
        shown = ", ".join(known[:8]) + (", ..." if len(known) > 8 else "")
        raise NamingError(f'There is no {kind} called "{name}". There are: {shown}.')

    def all(self, kind: str) -> list[Named]:
        """Every thing of a kind, by name."""
        rows = self._connection.execute(
            "SELECT kind, name, facts, changed_at FROM things WHERE kind = ? ORDER BY name",
            (kind,),
        ).fetchall()
        return [_named(row) for row in rows]

    def calibration(self, router: str) -> KeptCalibration | None:
        """A router's calibration, None if it has none."""
        row = self._connection.execute(
            "SELECT made_at, calibration FROM calibrations WHERE router = ?", (router,)
        ).fetchone()
        return None if row is None else KeptCalibration(row[0], json.loads(row[1]))

    def keep_calibration(
        self, router: str, calibration: dict[str, Any], *, made_at: str | None = None
    ) -> None:
        """Keep a router's calibration in place of any before; the router is added if new."""
        router = usable_name(router)
        with writing(self._connection):
            found = self._find("router", router)
            if found is None:
                self._put("router", router, RouterFacts())
            self._connection.execute(
                "INSERT OR REPLACE INTO calibrations VALUES (?, ?, ?)",
                (
                    found.name if found else router,
                    made_at or _now(),
                    json.dumps(calibration, allow_nan=False),
                ),
            )

    def replace_all(self, things: list[Named], calibrations: dict[str, KeptCalibration]) -> None:
        """Keep all of these, in one transaction, replacing those of the same name."""
        with writing(self._connection):
            for thing in things:
                self._put(thing.kind, usable_name(thing.name), thing.facts)
            for router, kept in calibrations.items():
                self._connection.execute(
                    "INSERT OR REPLACE INTO calibrations VALUES (?, ?, ?)",
                    (router, kept.made_at, json.dumps(kept.calibration, allow_nan=False)),
                )

    def _put(self, kind: str, name: str, facts: Facts) -> None:
        self._connection.execute(
            "INSERT OR REPLACE INTO things VALUES (?, ?, ?, ?)",
            (kind, name, json.dumps(facts.to_plain(), ensure_ascii=False), _now()),
        )

    def _find(self, kind: str, name: str) -> Named | None:
        row = self._connection.execute(
            "SELECT kind, name, facts, changed_at FROM things WHERE kind = ? AND name = ?",
            (kind, " ".join(name.split())),
        ).fetchone()
        return None if row is None else _named(row)


def usable_name(name: str) -> str:
    """Tidy a name, or refuse it: 1 to 60 printable characters that cannot be read as a size.

    Raises
    ------
    NamingError
        If it is empty, too long, has unprintable characters, or starts like a number.
    """
    tidy = " ".join(name.split())
    if not tidy or len(tidy) > MOST_LETTERS or not tidy.isprintable():
        raise NamingError(f"A name has 1 to {MOST_LETTERS} letters, figures or signs.")
    if tidy[0].isdigit() or tidy[0] in "-.,½¼¾⅛⅜⅝⅞":
        raise NamingError(
            f'"{tidy}" starts like a size. Begin the name with a letter, like "spiral half".'
        )
    return tidy


def _named(row: tuple[str, str, str, str]) -> Named:
    kind, name, facts, changed_at = row
    try:
        return Named(kind, name, KINDS[kind].from_plain(json.loads(facts)), changed_at)
    except (FactsError, KeyError, ValueError) as error:
        raise NamingError(
            f'What is kept of the {kind} "{name}" cannot be read ({error}). Remove it with: '
            f'toothbeat {kind}s remove "{name}"'
        ) from None


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")


def bit_named(store: NameStore, name: str) -> BitFacts:
    """The facts of a bit."""
    facts = store.get("bit", name).facts
    assert isinstance(facts, BitFacts)
    return facts


def router_named(store: NameStore, name: str) -> RouterFacts:
    """The facts of a router."""
    facts = store.get("router", name).facts
    assert isinstance(facts, RouterFacts)
    return facts


def own_material(store: NameStore, name: str) -> MaterialFacts | None:
    """The facts of a material of the user's own; None if there is none of that name."""
    for thing in store.all("material"):
        if thing.name.casefold() == name.casefold() and isinstance(thing.facts, MaterialFacts):
            return thing.facts
    return None


def looks_like_size(text: str) -> bool:
    """Whether a text is meant as a size, not as a name: names begin with a letter.

    >>> looks_like_size("1/2in"), looks_like_size("spiral half")
    (True, False)
    """
    start = text.strip()[:1]
    return start.isdigit() or start in tuple("-.,+½¼¾⅛⅜⅝⅞")
