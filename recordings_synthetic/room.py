"""The room between the machine and the phone: reflections, reverberation, a moving phone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from recordings_synthetic.noise import wander
from recordings_synthetic.timebase import CONTROL_HZ, Floats, Sound, Timebase

SPEED_OF_SOUND_M_S = 343.0


@dataclass(frozen=True, slots=True)
class Room:
    """Reverberation, its share, early reflections, modes, and how the phone moves."""

    rt60_s: float
    reverberant_db: float
    reflections: int
    mode_hz: tuple[float, ...]
    mode_gain: float
    sway_db: float
    sway_hz: float
    comb_depth: float
    comb_ms: float
    comb_sway_ms: float


def impulse_response(room: Room, sample_rate_hz: int, rng: np.random.Generator) -> Floats:
    """Direct sound, a few reflections, modes and an exponential tail, of unit energy."""
    length = int(min(room.rt60_s * 1.1, 0.9) * sample_rate_hz)
    time_s = np.arange(length) / sample_rate_hz
    tail: Floats = rng.standard_normal(length) * 10 ** (-3 * time_s / room.rt60_s)
    tail[: int(0.004 * sample_rate_hz)] = 0
    # Air and furniture swallow the treble: a moving average that suits the tail as a whole.
    tail = np.convolve(tail, [0.25, 0.5, 0.25], mode="same")
    tail *= 10 ** (room.reverberant_db / 20) / np.sqrt(np.sum(tail**2))
    response = tail
    response[0] += 1.0
    for _ in range(room.reflections):
        at = int(rng.uniform(0.0006, 0.02) * sample_rate_hz)
        response[at] += rng.choice([-1.0, 1.0]) * rng.uniform(0.15, 0.6)
    for hz in room.mode_hz:
        decay = 6.9 / room.rt60_s
        mode = np.exp(-decay * time_s) * np.sin(2 * np.pi * hz * time_s)
        response += room.mode_gain * mode / np.sqrt(np.sum(mode**2))
    return np.asarray(response / np.sqrt(np.sum(response**2)))


def moving(sound: Sound, room: Room, timebase: Timebase, rng: np.random.Generator) -> Sound:
    """Slow change of gain, and a slowly moving reflection that combs the spectrum."""
    count = timebase.control_count
    gain = 10 ** (room.sway_db / 20 * wander(rng, count, CONTROL_HZ, room.sway_hz))
    if room.comb_depth:
        late_ms = room.comb_ms + room.comb_sway_ms * wander(rng, count, CONTROL_HZ, room.sway_hz)
        late = timebase.to_audio(np.maximum(late_ms, 0.1)) * (timebase.sample_rate_hz / 1000)
        place = np.maximum(np.arange(sound.size) - late, 0)
        index = place.astype(np.int64)
        part = (place - index).astype(np.float32)
        echo = sound[index] * (1 - part) + sound[np.minimum(index + 1, sound.size - 1)] * part
        sound = np.asarray(sound + room.comb_depth * echo, dtype=np.float32)
    return np.asarray(sound * timebase.to_audio(gain), dtype=np.float32)
