"""A router running free at a row of dial settings, from first principles: phases and noise.

Apart from the renderer of the project on purpose: a few orders of a rotation whose speed
is a list of (time, rpm) corners, in noise.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
SAMPLE_RATE_HZ = 16_000


@dataclass(frozen=True, slots=True)
class Held:
    """A speed held from `start_s` to `end_s`."""

    start_s: float
    end_s: float
    spindle_rpm: float


def row_of_speeds(
    speeds_rpm: list[float], *, held_s: float, between_s: float, off_between: bool
) -> tuple[list[tuple[float, float]], list[Held]]:
    """Corners (time, rpm) of a run that starts and ends at rest, and what was held in it."""
    corners: list[tuple[float, float]] = [(0.0, 0.0), (1.0, 0.0)]
    held = []
    time_s = 1.0
    for number, speed_rpm in enumerate(speeds_rpm):
        if off_between and number:
            corners += [(time_s + 1.5, 0.0), (time_s + 2.5, 0.0)]
            time_s += 2.5
        time_s += between_s
        corners.append((time_s, speed_rpm))
        held.append(Held(time_s, time_s + held_s, speed_rpm))
        time_s += held_s
        corners.append((time_s, speed_rpm))
    corners += [(time_s + 1.5, 0.0), (time_s + 2.5, 0.0)]
    return corners, held


def sound_of(
    corners: list[tuple[float, float]],
    *,
    orders: Mapping[int, float] | Mapping[float, float] | None = None,
    noise: float = 0.02,
    seed: int = 1,
) -> npt.NDArray[np.float32]:
    """Render the run at SAMPLE_RATE_HZ: each order's amplitude as given, white noise beside."""
    orders = orders or {1: 0.012, 2: 0.008, 9: 0.03, 18: 0.012, 12: 0.02, 24: 0.01}
    rng = np.random.default_rng(seed)
    times, speeds = np.transpose(corners)
    count = round(times[-1] * SAMPLE_RATE_HZ)
    speed_rpm = np.interp(np.arange(count) / SAMPLE_RATE_HZ, times, speeds)
    turns = np.cumsum(speed_rpm) / 60 / SAMPLE_RATE_HZ
    loudness = (speed_rpm / 18_000) ** 2
    sound = np.zeros(count)
    for order, amplitude in orders.items():
        inside = speed_rpm / 60 * order < 0.45 * SAMPLE_RATE_HZ
        start = rng.random()
        sound += amplitude * inside * np.sin(2 * np.pi * (order * turns + start))
    sound = sound * loudness + noise * (0.1 + loudness) * rng.standard_normal(count)
    rendered: npt.NDArray[np.float32] = sound.astype(np.float32)
    return rendered
