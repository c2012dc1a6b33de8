"""Where takes are kept: one folder for each, on this machine only."""

from __future__ import annotations

import json
import re
import secrets
import shutil
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import IO, Any

from analysis.errors import ToothbeatError
from listen.live.keeping import ABOUT, EVENTS, write_about
from listen.live.mending import MENDED, join_runs, kept_samples

LEAST_FREE_BYTES = 200_000_000
"""Below this much free space, no new recording is begun: the machine needs room to work."""
_NAME = re.compile(r"[0-9]{8}-[0-9]{6}-[0-9a-f]{6}")
_LOCK = "in-use"


class ShelfError(ToothbeatError):
    """The folder of takes cannot be used."""


class DiskFullError(ShelfError):
    """Too little room to begin a recording."""


@dataclass(frozen=True, slots=True)
class KeptTake:
    """A take on the shelf.

    `ended` is false where the program stopped before the take did; `about` is what was known
    at its start.
    """

    name: str
    folder: Path
    about: dict[str, Any]
    ended: bool

    @property
    def events(self) -> list[dict[str, Any]]:
        """What was heard and said; a last line that was cut off is left out."""
        return list(read_events(self.folder / EVENTS))


class Hold:
    """A take in use by this process; the system lets go by itself when the process ends."""

    def __init__(self, folder: Path) -> None:
        self._file: IO[str] | None = (folder / _LOCK).open("a")
        if not _lock(self._file):
            self._file.close()
            raise ShelfError("This take is being recorded by another run of the program.")

    def release(self) -> None:
        """Let others have it."""
        if self._file is not None:
            self._file.close()
            self._file = None


class Shelf:
    """The folder of takes. Names come from here, never from a user or the network."""

    def __init__(self, root: Path) -> None:
        self.root = root
        try:
            root.mkdir(parents=True, exist_ok=True, mode=0o700)
        except OSError as error:
            raise ShelfError(
                f'The folder for takes, "{root}", cannot be made: {error.strerror}. Set '
                "TOOTHBEAT_HOME to a folder of your own."
            ) from None

    def begin(self, about: dict[str, Any]) -> KeptTake:
        """Make the folder of a new take.

        Raises
        ------
        DiskFullError, ShelfError
            If there is no room for it, or the folder cannot be written.
        """
        if shutil.disk_usage(self.root).free < LEAST_FREE_BYTES:
            raise DiskFullError(
                "The disk is nearly full, so nothing is recorded; the coaching goes on without."
            )
        name = f"{datetime.now().astimezone():%Y%m%d-%H%M%S}-{secrets.token_hex(3)}"
        folder = self.root / name
        try:
            folder.mkdir(mode=0o700)
            write_about(folder, about)
        except OSError as error:
            raise ShelfError(f"A take cannot be begun: {error.strerror}.") from None
        return KeptTake(name, folder, about, ended=False)

    def find(self, name: str) -> KeptTake | None:
        """The take of that name; None for any other text."""
        if not _NAME.fullmatch(name) or not (self.root / name).is_dir():
            return None
        return _read(self.root / name)

    def takes(self) -> list[KeptTake]:
        """All takes, the latest first."""
        names = sorted((path.name for path in self.root.iterdir()), reverse=True)
        return [take for name in names if (take := self.find(name)) is not None]

    def unfinished(self) -> list[KeptTake]:
        """Takes that no program ended and none is recording now."""
        return [take for take in self.takes() if not take.ended and not _in_use(take.folder)]

    def end(self, take: KeptTake, extra: dict[str, Any] | None = None) -> Path | None:
        """Join what was recorded into one file and mark the take as ended.

        Returns the sound file, None where no sound was kept.
        """
        sound = join_runs(take.folder)
        ended = f"{datetime.now().astimezone():%Y-%m-%d %H:%M:%S}"
        write_about(take.folder, {**take.about, **(extra or {}), "ended": ended})
        return sound

    def sound(self, take: KeptTake) -> Path | None:
        """The take's sound as one file, if it was ended."""
        path = take.folder / MENDED
        return path if path.is_file() else None

    def kept_samples(self, take: KeptTake) -> int:
        """Where the sound that is on disk ends, in samples from the start of the take."""
        return kept_samples(take.folder)

    def remove(self, take: KeptTake) -> None:
        """Delete a take for good.

        Raises
        ------
        ShelfError
            If it is being recorded, or cannot be deleted.
        """
        if _in_use(take.folder):
            raise ShelfError("This take is still being recorded.")
        try:
            shutil.rmtree(take.folder)
        except OSError as error:
            raise ShelfError(f"The take was not deleted: {error.strerror}.") from None


def _read(folder: Path) -> KeptTake | None:
    try:
        about = json.loads((folder / ABOUT).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        about = {}
    if not isinstance(about, dict):
        about = {}
    return KeptTake(folder.name, folder, about, ended="ended" in about)


def read_events(path: Path) -> Iterator[dict[str, Any]]:
    """What was heard and said; nothing from lines that cannot be read."""
    try:
        lines = path.read_text(encoding="utf-8", errors="replace").splitlines()
    except OSError:
        return
    for line in lines:
        with suppress(ValueError):
            event = json.loads(line)
            if isinstance(event, dict):
                yield event


def _in_use(folder: Path) -> bool:
    try:
        Hold(folder).release()
    except ShelfError:
        return True
    except OSError:
        return False
    return False


def _lock(file: IO[str]) -> bool:
    """Lock a file for this process, or say that another has it."""
    try:
        import fcntl
    except ImportError:  # Windows
        return _lock_windows(file)
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def _lock_windows(file: IO[str]) -> bool:
    import msvcrt

    locking, mode = getattr(msvcrt, "locking"), getattr(msvcrt, "LK_NBLCK")  # noqa: B009
    try:
        locking(file.fileno(), mode, 1)
    except OSError:
        return False
    return True
