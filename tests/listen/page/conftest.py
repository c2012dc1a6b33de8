"""Whatever a test leaves unclosed is found in that test, not in a later one."""

from __future__ import annotations

import gc
from collections.abc import Iterator

import pytest


@pytest.fixture(autouse=True)
def collected() -> Iterator[None]:
    """Collect what the test left behind."""
    yield
    gc.collect()
