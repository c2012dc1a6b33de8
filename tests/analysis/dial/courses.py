"""Spindle tracks written by hand: corners of speed over time, no sound."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analysis.hearing.passes import HeardPass
from analysis.hearing.spindle import SpindleTrack

STEP_S = 0.0464


def track_of(
    corners: list[tuple[float, float]],
    *,
    wander: float = 0.0,
    u95_rpm: float = 1.0,
    seed: int = 1,
) -> SpindleTrack:
    """A track through (time, rpm) corners, off below 2,000 rpm; `wander` is a share of speed."""
    times, speeds = np.transpose(np.array(corners, float))
    time_s = np.arange(0, times[-1], STEP_S)
    rpm = np.interp(time_s, times, speeds)
    rng = np.random.default_rng(seed)
    slow = np.convolve(rng.standard_normal(len(time_s) + 20), np.ones(21) / np.sqrt(21), "valid")
    rpm = np.where(rpm > 2_000, rpm * (1 + wander * slow), np.nan)
    return SpindleTrack(
        time_s=time_s,
        spindle_rpm=rpm,
        spindle_rpm_u95=np.where(np.isfinite(rpm), u95_rpm, np.nan),
        confidence=np.ones(len(time_s)),
        idle_rpm=None,
        idle_rpm_u95=None,
    )


def held(
    speeds_rpm: list[float], *, held_s: float = 5.0, ramp_s: float = 0.6
) -> list[tuple[float, float]]:
    """Corners of a run that holds each speed in turn, running from start to end."""
    corners = []
    time_s = 0.0
    for speed_rpm in speeds_rpm:
        corners += [(time_s, speed_rpm), (time_s + held_s, speed_rpm)]
        time_s += held_s + ramp_s
    return corners


def pass_from(entry_s: float, exit_s: float, *, sag_percent: float = 5.0) -> HeardPass:
    """A pass heard between two times."""
    return HeardPass(
        entry_s=entry_s,
        exit_s=exit_s,
        time_u95_s=0.08,
        moving_time_u95_s=0.08,
        spindle_rpm=17_000,
        spindle_rpm_u95=5,
        sag_percent=sag_percent,
        dwells=(),
        liftoffs=(),
        evenness=1.0,
        complete=True,
    )


def unsure(track: SpindleTrack, start_s: float, end_s: float, *, off: float) -> SpindleTrack:
    """The track with a stretch that lies off by a share of its speed, and says it may."""
    there = (track.time_s >= start_s) & (track.time_s < end_s)
    rpm = np.where(there, track.spindle_rpm * (1 + off), track.spindle_rpm)
    u95 = np.where(there, 0.006 * track.spindle_rpm, track.spindle_rpm_u95)
    return replace(track, spindle_rpm=rpm, spindle_rpm_u95=u95)


def started(
    at_s: float,
    rpm: float,
    *,
    tau_s: float = 0.3,
    overshoot: float = 0.03,
    until_s: float,
    drawn_every_s: float = 0.02,
) -> list[tuple[float, float]]:
    """Corners of a start from rest: the bump of a critically damped motor, then the speed."""
    since_s = np.arange(0, until_s - at_s, drawn_every_s)
    share = 1 + overshoot * (1 + since_s / tau_s) * np.exp(-since_s / tau_s)
    return [(at_s - 0.3, 0.0), *zip((at_s + since_s).tolist(), (rpm * share).tolist(), strict=True)]
