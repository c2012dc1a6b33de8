"""Files that appear whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from analysis.errors import ToothbeatError


class SavingError(ToothbeatError):
    """A file could not be written; what stood there before still stands."""


def save_whole(path: Path, content: bytes) -> None:
    """Write `content` beside `path`, then put it in place in one step.

    Raises
    ------
    SavingError
        If it cannot be written; a file that was there before is untouched.
    """
    path = path.resolve()
    try:
        if path.exists() and not path.is_file() and not path.is_dir():
            path.write_bytes(content)  # a device or pipe: there is nothing to replace
            return
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name[:40]}.")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            Path(name).chmod(_mode_for(path))
            Path(name).replace(path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise SavingError(f'"{path}" was not written: {_reason(path, error)}') from None


def check_can_save(path: Path) -> None:
    """Refuse early what `save_whole` would refuse late: before an hour of sound is heard.

    Raises
    ------
    SavingError
        If the folder is missing or closed, or `path` is a folder itself.
    """
    path = path.resolve()
    if path.is_dir():
        raise SavingError(f'"{path}" is a folder. Give the file a name inside it.')
    if not path.parent.is_dir():
        raise SavingError(f'There is no folder "{path.parent}". Make it first, or name another.')
    if not os.access(path.parent, os.W_OK):
        raise SavingError(f'"{path.parent}" may not be written to. Name a folder of your own.')


def _mode_for(path: Path) -> int:
    """Mode of the file that is replaced, or what a new file would get."""
    if path.exists():
        return path.stat().st_mode & 0o777
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask


def _reason(path: Path, error: OSError) -> str:
    if path.is_dir():
        return "it is a folder. Give the file a name inside it."
    if not path.parent.is_dir():
        return f'there is no folder "{path.parent}".'
    return f"{(error.strerror or str(error)).lower()}. What stood there before is untouched."
