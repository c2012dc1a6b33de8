"""The file of names: opened, brought up to date, set aside when damaged.

SQLite's own journal keeps it whole through a kill or a power cut, and its locks let several
programs write; `synchronous=FULL` makes what was answered "kept" be kept.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from analysis.errors import ToothbeatError

FILE_NAME = "names.sqlite3"
PATIENCE_S = 15.0
"""How long to wait for another program that is writing."""
_APPLICATION_ID = 0x7B_EA_70_01  # marks the file as ours

# One script a version, in order; a file of version n has had the first n.
MIGRATIONS: tuple[str, ...] = (
    """
    CREATE TABLE things (
        kind TEXT NOT NULL,
        name TEXT NOT NULL COLLATE NOCASE,
        facts TEXT NOT NULL,
        changed_at TEXT NOT NULL,
        PRIMARY KEY (kind, name)
    );
    CREATE TABLE calibrations (
        router TEXT NOT NULL COLLATE NOCASE PRIMARY KEY,
        made_at TEXT NOT NULL,
        calibration TEXT NOT NULL
    );
    """,
)


class StoreError(ToothbeatError):
    """The file of names cannot be used; what is in it is untouched."""


@dataclass(frozen=True, slots=True)
class SetAside:
    """A damaged file of names was moved out of the way; `path` is where it lies now."""

    path: Path

    def __str__(self) -> str:
        return (
            "The file of your bits and routers was damaged. It was moved aside, unchanged, to "
            f'"{self.path}", and a new, empty one begins. If you have an export, read it back '
            "with: toothbeat names import FILE"
        )


@contextmanager
def opened(
    folder: Path,
    *,
    on_set_aside: Callable[[SetAside], None],
    migrations: Sequence[str] = MIGRATIONS,
) -> Iterator[sqlite3.Connection]:
    """Open the file of names in `folder`, making or updating it as needed.

    A damaged file is renamed, never emptied, and told through `on_set_aside`.

    Raises
    ------
    StoreError
        If the folder cannot be used, another program holds the file for longer than
        `PATIENCE_S`, or the file was written by a newer version.
    """
    path = folder / FILE_NAME
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise StoreError(
            f'"{folder}" cannot be used for your bits and routers: '
            f"{(error.strerror or str(error)).lower()}. Point TOOTHBEAT_HOME elsewhere."
        ) from None
    if path.exists() and _is_damaged(path):
        on_set_aside(SetAside(_move_aside(path)))
    with _told(path), closing(_connect(path)) as connection:
        _bring_up_to_date(connection, path, migrations)
        yield connection


@contextmanager
def writing(connection: sqlite3.Connection) -> Iterator[None]:
    """All or nothing: take the lock at once, commit at the end, roll back on any error."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
    except BaseException:
        connection.execute("ROLLBACK")
        raise
    connection.execute("COMMIT")


def _connect(path: Path) -> sqlite3.Connection:
    connection = sqlite3.connect(path, timeout=PATIENCE_S, isolation_level=None)
    connection.execute("PRAGMA synchronous = FULL")
    return connection


@contextmanager
def _told(path: Path) -> Iterator[None]:
    """Put SQLite's troubles into words."""
    try:
        yield
    except sqlite3.OperationalError as error:
        reason = str(error)
        if "locked" in reason:
            reason = "another program has been writing to it for too long. Try again"
        elif "full" in reason:
            reason = "the disk is full"
        raise StoreError(
            f'The file of your bits and routers, "{path}", cannot be used: {reason}. '
            "Nothing in it was changed."
        ) from None
    except sqlite3.DatabaseError as error:
        raise StoreError(
            f'The file of your bits and routers, "{path}", cannot be read: {error}. '
            "Run the command again, and it will be set aside."
        ) from None


def _is_damaged(path: Path) -> bool:
    """Whether SQLite cannot make sense of the file, or it is not ours."""
    try:
        with closing(_connect(path)) as connection:
            healthy = connection.execute("PRAGMA quick_check(1)").fetchone() == ("ok",)
            ours = connection.execute("PRAGMA application_id").fetchone()[0] == _APPLICATION_ID
            begun = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0] > 0
            return not healthy or (begun and not ours)
    except sqlite3.OperationalError:
        return False  # locked or unreadable for now: not a matter of its content
    except sqlite3.DatabaseError:
        return True


def _move_aside(path: Path) -> Path:
    """Rename the file, and its journal with it, to a name that is free."""
    stamp = datetime.now().astimezone().strftime("%Y%m%d-%H%M%S")
    for count in range(1000):
        aside = path.with_name(f"{path.stem}-damaged-{stamp}{f'-{count}' if count else ''}.sqlite3")
        if not aside.exists():
            break
    for suffix in ("-journal", "-wal"):
        beside = path.with_name(path.name + suffix)
        if beside.exists():
            beside.rename(aside.with_name(aside.name + suffix))
    path.rename(aside)
    return aside


def _bring_up_to_date(
    connection: sqlite3.Connection, path: Path, migrations: Sequence[str]
) -> None:
    version = _version(connection)
    if version == len(migrations):
        return
    if version > len(migrations):
        raise StoreError(
            f'"{path}" was written by a newer Toothbeat. Update this one; nothing was changed.'
        )
    if version > 0:
        _copy(connection, path.with_name(f"{path.stem}-before-version-{version + 1}.sqlite3"))
    with writing(connection):
        # Another program may have done it while this one waited for the lock.
        done = _version(connection)
        for number, script in enumerate(migrations[done:], start=done + 1):
            for statement in script.split(";"):
                connection.execute(statement)
            connection.execute(f"PRAGMA user_version = {number}")
        connection.execute(f"PRAGMA application_id = {_APPLICATION_ID}")


def _version(connection: sqlite3.Connection) -> int:
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def _copy(connection: sqlite3.Connection, path: Path) -> None:
    """Keep the old file as it was, beside the new one."""
    with closing(sqlite3.connect(path)) as copy:
        connection.backup(copy)
