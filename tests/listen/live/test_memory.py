"""Memory that is free goes back to the system: told by the system's own count."""

import platform
import resource
from pathlib import Path

import pytest

from listen.live.memory import give_back


def held_mb() -> float:
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * resource.getpagesize() / 1e6


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="only glibc holds on to it")
def test_what_is_free_between_what_is_held_is_given_back() -> None:
    # Too small for maps of their own; every hundredth stays, so the end of the heap does.
    pieces = [bytearray(b"x" * 60_000) for _ in range(2_000)]
    held = pieces[::100]
    before_mb = held_mb()
    del pieces
    give_back()
    assert held_mb() < before_mb - 0.8 * 0.99 * 120
    assert len(held) == 20
