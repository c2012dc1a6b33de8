"""Sound that was lost while a take was recorded: silence stands for it, and a note beside it."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any

from analysis.coaching.summary import Gap
from listen.live.keeping import EVENTS
from listen.live.mending import MENDED
from listen.live.shelf import read_events


def gaps_told(events: Iterable[dict[str, Any]]) -> list[Gap]:
    """The gaps that are noted among what was heard and said."""
    told = (event.get("gap_s") for event in events)
    return [(float(gap[0]), float(gap[1])) for gap in told if isinstance(gap, list)]


def gaps_beside(sound: Path) -> list[Gap]:
    """The gaps that are noted beside a kept take's sound; none beside any other file."""
    return gaps_told(read_events(sound.parent / EVENTS)) if sound.name == MENDED else []
