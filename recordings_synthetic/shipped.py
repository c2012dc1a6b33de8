"""The few takes that come with the program, for its demonstration. All of them invented."""

from __future__ import annotations

from dataclasses import dataclass
from importlib import resources
from pathlib import Path


@dataclass(frozen=True, slots=True)
class ShippedTake:
    """A take on disk, the truth beside it, and its story in a line or two."""

    name: str
    path: Path
    truth_path: Path
    story: str


def shipped_takes() -> tuple[ShippedTake, ...]:
    """The takes in the order of their story.

    >>> [take.name for take in shipped_takes()][0]
    '1-first-tries'
    """
    import json

    folder = Path(str(resources.files("recordings_synthetic") / "takes"))
    found = []
    for truth_path in sorted(folder.glob("*.json")):
        facts = json.loads(truth_path.read_text(encoding="utf-8"))
        sound = truth_path.with_suffix(".m4a")
        found.append(ShippedTake(facts["name"], sound, truth_path, facts["story"]))
    return tuple(found)
