"""Where Toothbeat keeps things."""

from __future__ import annotations

import os
from pathlib import Path


def home() -> Path:
    """The user's own data folder for Toothbeat; the variable TOOTHBEAT_HOME moves it."""
    if told := os.environ.get("TOOTHBEAT_HOME"):
        return Path(told).expanduser()
    from platformdirs import user_data_path

    return user_data_path("toothbeat", appauthor=False)
