"""The spindle's speed over time: switching, dial, wander, regulation, sag and coasting."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.signal import bilinear, lfilter, lfilter_zi

from recordings_synthetic.noise import wander
from recordings_synthetic.timebase import CONTROL_HZ, Floats, Timebase

_MOST_SAG = 0.4


class State(IntEnum):
    """What the motor is doing."""

    OFF = 0
    STARTING = 1
    RUNNING = 2
    COASTING = 3


@dataclass(frozen=True, slots=True)
class Switching:
    """The switch is thrown at this time; a negative time is before the take began."""

    time_s: float
    on: bool


@dataclass(frozen=True, slots=True)
class Turn:
    """The dial is turned from this time on, taking ``ramp_s``, to this no-load speed.

    ``setting`` is the number on the dial, where it matters.
    """

    time_s: float
    rpm: float
    ramp_s: float
    setting: int | None = None


@dataclass(frozen=True, slots=True)
class Drive:
    """A motor with its electronics, or without any.

    ``sag_fraction`` is the loss of speed under the take's reference load: for an open-loop
    motor all of it stays, for a regulated one only ``droop_share`` of it; the rest is the dip
    that the regulator takes back, hunting when its damping is low.
    """

    switchings: tuple[Switching, ...]
    turns: tuple[Turn, ...]
    soft_start_s: float
    overshoot: float
    coast_s: float
    coast_shape: float
    drift_fraction: float
    drift_s: float
    wander_fraction: float
    wander_hz: float
    regulation: Literal["electronic", "open loop"]
    sag_fraction: float
    droop_share: float
    regulator_hz: float
    regulator_damping: float


@dataclass(frozen=True, slots=True, eq=False)
class Spindle:
    """Rotation frequency, what it would be without load, and the state, at control rate."""

    rotation_hz: Floats
    no_load_hz: Floats
    state: NDArray[np.int8]


def _dial_hz(turns: tuple[Turn, ...], time_s: Floats) -> Floats:
    """The speed the dial asks for: each turn is an eased ramp from the one before."""
    asked = np.full(time_s.size, turns[0].rpm / 60)
    for before, turn in pairwise(turns):
        part = np.clip((time_s - turn.time_s) / turn.ramp_s, 0, 1)
        asked += (turn.rpm - before.rpm) / 60 * part * part * (3 - 2 * part)
    return asked


def _starting(since_s: Floats, soft_start_s: float, overshoot: float) -> Floats:
    """Share of the asked speed reached: an eased rise, then a bump that dies away.

    >>> _starting(np.array([0.0, 50.0]), 0.8, 0.03).round(3).tolist()
    [0.0, 1.0]
    """
    part = np.clip(since_s / soft_start_s, 0, 1)
    rise = 1 - (1 - part) ** 2 * (1 + 0.5 * part)
    late = np.maximum(since_s / soft_start_s - 0.8, 0)
    return np.asarray(rise + overshoot * late * np.exp(1 - late / 0.35) / 0.35)


def _coasting(since_s: Floats, from_hz: float, coast_s: float, shape: float) -> Floats:
    """Running down against constant friction and windage: d f/d t = -(a + c f^2).

    ``shape`` is windage over friction at the start; the rotor stands still after ``coast_s``.
    """
    root = np.sqrt(shape)
    whole = np.arctan(root)
    angle = np.maximum(whole * (1 - since_s / coast_s), 0)
    return np.asarray(from_hz * np.tan(angle) / root)


def _switched(drive: Drive, asked_hz: Floats, time_s: Floats) -> tuple[Floats, NDArray[np.int8]]:
    speed = np.zeros(time_s.size)
    state = np.full(time_s.size, State.OFF, np.int8)
    for event in drive.switchings:
        later = time_s >= event.time_s
        if not later.any():
            continue
        first = int(np.argmax(later))
        since = time_s[first:] - event.time_s
        held_hz = speed[first - 1] if first else 0.0
        if event.on:
            share = _starting(since, drive.soft_start_s, drive.overshoot)
            left = held_hz * np.clip(1 - since / drive.soft_start_s, 0, 1) ** 2
            speed[first:] = np.maximum(asked_hz[first:] * share, left)
            up = since >= 2.6 * drive.soft_start_s
            state[first:] = np.where(up, State.RUNNING, State.STARTING)
        else:
            from_hz = held_hz if first else asked_hz[0]
            speed[first:] = _coasting(since, from_hz, drive.coast_s, drive.coast_shape)
            state[first:] = np.where(speed[first:] > 0, State.COASTING, State.OFF)
    return speed, state


def _settled(b: Floats, a: Floats, load: Floats) -> Floats:
    """A filter over the load, already settled on the load the take begins with."""
    return np.asarray(lfilter(b, a, load, zi=lfilter_zi(b, a) * load[0])[0])


def _sag(drive: Drive, load: Floats) -> Floats:
    """Fraction of speed lost to a load of 1 (the take's reference)."""
    omega = 2 * np.pi * drive.regulator_hz
    if drive.regulation == "open loop":
        lag_b, lag_a = bilinear([omega], [1, omega], CONTROL_HZ)
        return drive.sag_fraction * _settled(lag_b, lag_a, load)
    second = [1, 2 * drive.regulator_damping * omega, omega**2]
    dip_b, dip_a = bilinear([2 * omega, 0], second, CONTROL_HZ)
    droop_b, droop_a = bilinear([omega**2], second, CONTROL_HZ)
    return np.asarray(
        drive.sag_fraction
        * (
            (1 - drive.droop_share) * _settled(dip_b, dip_a, load)
            + drive.droop_share * _settled(droop_b, droop_a, load)
        )
    )


def spin(drive: Drive, timebase: Timebase, load: Floats, rng: np.random.Generator) -> Spindle:
    """The speed of this motor under this load.

    ``load`` is at control rate, 1 being the take's reference load.
    """
    time_s = timebase.control_s
    count = time_s.size
    slow = wander(rng, count, CONTROL_HZ, drive.wander_hz)
    slower = wander(rng, count, CONTROL_HZ, drive.wander_hz / 8)
    drift = drive.drift_fraction * (1 - np.exp(-time_s / drive.drift_s))
    asked = _dial_hz(drive.turns, time_s)
    asked = asked * (1 + drift + drive.wander_fraction * (0.7 * slow + 0.7 * slower))
    no_load, state = _switched(drive, asked, time_s)
    # Under power the load costs speed; a coasting rotor is stopped by friction alone here.
    powered = (state == State.RUNNING) | (state == State.STARTING)
    # However hard it is pushed, a series motor keeps well over half of its speed.
    sag = _MOST_SAG * np.tanh(_sag(drive, load) / _MOST_SAG) * powered
    return Spindle(no_load * (1 - sag), no_load, state)
