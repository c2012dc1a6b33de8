"""Memory that is free goes back to the system, where the C library would keep it for later.

Hours of small pieces between the large ones of a look leave it full of holes; only glibc holds
on to them so.
"""

from __future__ import annotations

import ctypes
import sys
from collections.abc import Callable
from functools import cache

EVERY_S = 20.0
"""Of sound; it takes some hundredths of a second at most."""


def give_back() -> None:
    """Give back what is free; does nothing on other systems."""
    trim = _trim()
    if trim is not None:
        trim(0)


@cache
def _trim() -> Callable[[int], int] | None:
    if not sys.platform.startswith("linux"):
        return None
    try:
        trim = ctypes.CDLL(None).malloc_trim
    except (OSError, AttributeError):  # another C library
        return None
    trim.argtypes, trim.restype = [ctypes.c_size_t], ctypes.c_int
    return trim
