"""Programs that the live tests need: there, or a reason to skip."""

from __future__ import annotations

import os
import shutil

import pytest


def need(tool: str) -> str:
    """The path of a program, or a skip; with TOOTHBEAT_LIVE=1 its absence is a failure."""
    path = shutil.which(tool)
    if path is None:
        if os.environ.get("TOOTHBEAT_LIVE") == "1":
            pytest.fail(f"{tool} is not installed, and TOOTHBEAT_LIVE=1 asks for it")
        pytest.skip(f"{tool} is not installed")
    return path
