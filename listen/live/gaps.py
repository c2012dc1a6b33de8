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


def place(sample: int, sent: int) -> dict[str, Any]:
    """Note that a sample of the take was one of the sender's: a gap has put them apart."""
    return {"kind": "place", "sample": sample, "sent": sent}


def place_in_sent(events: Iterable[dict[str, Any]], sample: int) -> int:
    """Which of the sender's samples belongs at a sample of the take."""
    behind = 0
    for event in events:
        if event.get("kind") == "place" and event["sample"] <= sample:
            behind = event["sent"] - event["sample"]
    return sample + behind


def gaps_beside(sound: Path) -> list[Gap]:
    """The gaps that are noted beside a kept take's sound; none beside any other file."""
    return gaps_told(read_events(sound.parent / EVENTS)) if sound.name == MENDED else []
