"""The two clocks of a rendering: slow control signals and audio samples."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Sound = NDArray[np.float32]

CONTROL_HZ = 1000  # speed, feed and contact are simulated every millisecond


@dataclass(frozen=True, slots=True)
class Timebase:
    """Duration and rates of one take; times are those of the recording's own clock."""

    duration_s: float
    sample_rate_hz: int

    @property
    def samples(self) -> int:
        """Number of audio samples."""
        return round(self.duration_s * self.sample_rate_hz)

    @property
    def control_count(self) -> int:
        """Number of control points, one past the end so that audio never extrapolates."""
        return int(np.ceil(self.duration_s * CONTROL_HZ)) + 1

    @property
    def control_s(self) -> Floats:
        """Times of the control points, in seconds."""
        return np.arange(self.control_count) / CONTROL_HZ

    @property
    def audio_s(self) -> Floats:
        """Times of the audio samples, in seconds."""
        return np.arange(self.samples) / self.sample_rate_hz

    def to_audio(self, control: Floats) -> Floats:
        """A control signal, linearly interpolated at every audio sample."""
        place = np.arange(self.samples) * (CONTROL_HZ / self.sample_rate_hz)
        return np.asarray(np.interp(place, np.arange(self.control_count), control))
