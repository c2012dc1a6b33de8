"""The spindle's speed over time as it is told: rpm, with the idle speed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.ndimage import binary_dilation, uniform_filter1d

from analysis.hearing.search import spans
from analysis.hearing.voice import Mask

FloatArray = npt.NDArray[np.float64]

# What no phase shows, 95 %: a router or a phone moved by 0.1 m/s shifts all tones by 3e-4, and
# mains ripple turns the shaft to and fro within a frame.
UNSEEN = 4e-4
SETTLED = 0.004  # change of speed over a second, as a share, below which it runs steadily
CLEAR_OF_PASS_S = 0.6


@dataclass(frozen=True, slots=True, eq=False)
class SpindleTrack:
    """Spindle speed on an even time grid.

    Attributes
    ----------
    time_s : array, shape (n,)
        Centres of the steps, at most 50 ms apart.
    spindle_rpm, spindle_rpm_u95 : arrays, shape (n,)
        Speed and the half-width of its 95 % interval; NaN where the router is off.
    confidence : array, shape (n,)
        0 to 1: how surely the router is what this step says it is.
    idle_rpm, idle_rpm_u95 : float or None
        Mean no-load speed; None if the router was never heard running free.
    """

    time_s: FloatArray
    spindle_rpm: FloatArray
    spindle_rpm_u95: FloatArray
    confidence: FloatArray
    idle_rpm: float | None
    idle_rpm_u95: float | None


def spindle_track(
    *,
    rotation_hz: FloatArray,
    deviation_hz: FloatArray,
    sureness: FloatArray,
    contact: Mask,
    step_s: float,
) -> SpindleTrack:
    """The track as it is told: every other frame, in rpm, with the idle speed."""
    free = np.isfinite(rotation_hz) & ~binary_dilation(
        contact, iterations=max(1, round(CLEAR_OF_PASS_S / step_s))
    )
    idle_rpm, idle_rpm_u95 = idle_speed(
        rotation_hz=rotation_hz, deviation_hz=deviation_hz, free=free, step_s=step_s
    )
    with np.errstate(over="ignore"):
        there = 1 / (1 + np.exp(-uniform_filter1d(sureness, 9) / 2))
    running = np.isfinite(rotation_hz)
    keep = slice(None, None, 2)
    return SpindleTrack(
        time_s=step_s * np.arange(len(rotation_hz), dtype=np.float64)[keep],
        spindle_rpm=60 * rotation_hz[keep],
        spindle_rpm_u95=60 * np.hypot(1.96 * deviation_hz, UNSEEN * rotation_hz)[keep],
        confidence=np.where(running, there, 1 - there)[keep],
        idle_rpm=idle_rpm,
        idle_rpm_u95=idle_rpm_u95,
    )


def idle_speed(
    *, rotation_hz: FloatArray, deviation_hz: FloatArray, free: Mask, step_s: float
) -> tuple[float | None, float | None]:
    """Mean speed over the frames that run free and steadily, rpm, and its u95.

    Spin-up, coasting and recovery after a cut are left out: the speed there still changes.
    """
    second = max(2, round(1.0 / step_s))
    settled = np.zeros(len(free), bool)
    for first, last in spans(free):
        if last - first < second // 2:
            continue
        speed = uniform_filter1d(rotation_hz[first:last], 9, mode="nearest")
        lag = min(second // 2, (last - first - 1) // 2)
        change = np.abs(np.pad(speed[2 * lag :] / speed[: -2 * lag] - 1, lag, mode="edge"))
        settled[first:last] = change < SETTLED
    if settled.sum() < second // 2:
        settled = free
    if settled.sum() < 4:
        return None, None
    speeds = rotation_hz[settled]
    # Leave out what another speed setting or a slip of the course would add.
    usual = np.percentile(speeds, 50, method="higher")  # one of them, not what lies between two
    near = np.abs(speeds / usual - 1) < 0.02
    # The middle one: a frame whose window stopped growing early must not draw it.
    middle = float(np.median(speeds[near]))
    wander = np.std(speeds[near]) / np.sqrt(max(1.0, near.sum() * step_s))
    u95 = 1.96 * float(np.hypot(np.mean(deviation_hz[settled][near]), wander))
    return 60 * middle, 60 * u95
