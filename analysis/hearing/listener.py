"""The one engine: blocks of sound in, events and a hearing out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.hearing.faults import Fault
from analysis.hearing.passes import HeardPass
from analysis.hearing.spindle import SpindleTrack


@dataclass(frozen=True, slots=True, eq=False)
class Overview:
    """A small spectrogram for pictures.

    `level_db` has shape (times, frequencies): dB above the loudest cell's level, float32.
    """

    time_s: npt.NDArray[np.float64]
    frequency_hz: npt.NDArray[np.float64]
    level_db: npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class Hearing:
    """All that was heard in one take."""

    duration_s: float
    sample_rate_hz: float
    track: SpindleTrack
    passes: tuple[HeardPass, ...]
    faults: tuple[Fault, ...]
    overview: Overview


@dataclass(frozen=True, slots=True)
class SpeedHeard:
    """Event: the spindle speed at `time_s` (None: not running)."""

    time_s: float
    spindle_rpm: float | None


@dataclass(frozen=True, slots=True)
class PassEntered:
    """Event: a pass began at `entry_s`."""

    entry_s: float


@dataclass(frozen=True, slots=True)
class DwellHeard:
    """Event: the router has stood still in contact since `start_s`."""

    start_s: float


@dataclass(frozen=True, slots=True)
class PassEnded:
    """Event: a pass is over."""

    heard: HeardPass


Event = SpeedHeard | PassEntered | DwellHeard | PassEnded


class Listener:
    """Takes blocks of one-channel sound of any size and tells what it hears.

    Parameters
    ----------
    sample_rate_hz : float
        8,000 to 192,000.
    flutes : int or None
        Cutting edges on the bit, if known.
    plate_range_rpm : (float, float) or None
        No-load speed range on the router's plate; under load it may be a third below.
    look_ahead_s : float or None
        How long events may lag behind the sound; None waits for the whole take.
    """

    def __init__(
        self,
        *,
        sample_rate_hz: float,
        flutes: int | None = None,
        plate_range_rpm: tuple[float, float] | None = None,
        look_ahead_s: float | None = None,
    ) -> None:
        raise NotImplementedError

    def feed(self, samples: npt.NDArray[np.float32]) -> list[Event]:
        """Take in samples, shape (n,), full scale +-1; return what became certain."""
        raise NotImplementedError

    def finish(self) -> Hearing:
        """End the take and return all that was heard."""
        raise NotImplementedError
