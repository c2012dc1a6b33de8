"""What is wrong with a recording, and what to do about it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum


class FaultKind(Enum):
    """The recording faults that can be told from the sound alone."""

    CLIPPED = "clipped"
    TOO_QUIET = "too quiet"
    GAIN_RIDING = "gain riding"
    BAND_TOO_NARROW = "band too narrow"
    NO_ROUTER = "no router heard"
    NO_CUT = "no cut heard"


@dataclass(frozen=True, slots=True)
class Fault:
    """One recording fault: `kind`, and `measure`, the figure that told it (unit in `unit`)."""

    kind: FaultKind
    measure: float
    unit: str
