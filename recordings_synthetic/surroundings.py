"""Everything else in the workshop: speech, knocks, hammering, a radio, room noise."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from recordings_synthetic.noise import coloured, rms, wander
from recordings_synthetic.timebase import CONTROL_HZ, Floats, Sound, Timebase

_VOWELS = (
    (730, 1090, 2440), (270, 2290, 3010), (300, 870, 2240), (530, 1840, 2480),
    (570, 840, 2410), (490, 1350, 1690), (660, 1720, 2410), (440, 1020, 2240),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Surroundings:
    """Levels in dB against the idling router (None: not there) and what they are like."""

    floor_db: float
    speech_db: float | None
    speech_pitch_hz: float
    knocks_per_minute: float
    knock_db: float
    hammer_db: float | None
    music_db: float | None
    rumble_db: float | None


def speech(pitch_hz: float, timebase: Timebase, rng: np.random.Generator) -> Sound:
    """Speech-like sound: phrases of voiced syllables with gliding pitch, and some hiss."""
    from scipy.signal import lfilter

    rate = timebase.sample_rate_hz
    out = np.zeros(timebase.samples)
    at_s = rng.uniform(0, 2.0)
    pitch = pitch_hz
    while at_s < timebase.duration_s:
        for _ in range(rng.integers(3, 14)):
            length = int(rng.uniform(0.08, 0.3) * rate)
            next_pitch = pitch_hz * np.exp(rng.normal(0, 0.15))
            phase = np.cumsum(np.linspace(pitch, next_pitch, length)) / rate % 1.0
            pitch = next_pitch
            voiced = rng.random() < 0.8
            breath = rng.standard_normal(length)
            source = (phase < 0.4) * np.sin(np.pi * phase / 0.4) + 0.02 * breath
            source = np.diff(source, prepend=0) if voiced else 0.15 * np.diff(breath, prepend=0)
            for formant in _VOWELS[rng.integers(len(_VOWELS))]:
                centre = formant * rng.uniform(0.9, 1.15)
                radius = np.exp(-np.pi * (60 + centre / 20) / rate)
                turn = 2 * np.pi * centre / rate
                poles = [1, -2 * radius * np.cos(turn), radius**2]
                source = lfilter([1 - radius], poles, source)
            source *= np.hanning(length) * np.exp(rng.normal(0, 0.4))
            first = int(at_s * rate)
            usable = min(length, out.size - first)
            if usable <= 0:
                break
            out[first : first + usable] += source[:usable]
            at_s += length / rate * rng.uniform(0.8, 1.3)
        at_s += rng.uniform(0.3, 3.0)
    return np.asarray(out / max(rms(out), 1e-9), dtype=np.float32)


def _blow(rate: int, rng: np.random.Generator) -> Floats:
    """One knock: a few damped resonances and a click, of unit peak."""
    time_s = np.arange(int(0.15 * rate)) / rate
    sound = np.zeros(time_s.size)
    for _ in range(rng.integers(2, 6)):
        hz, decay_s = np.exp(rng.uniform(np.log(120), np.log(6000))), rng.uniform(0.004, 0.04)
        sound += (
            rng.uniform(0.3, 1)
            * np.exp(-time_s / decay_s)
            * np.sin(2 * np.pi * hz * time_s + rng.uniform(0, 6.28))
        )
    sound += rng.standard_normal(time_s.size) * np.exp(-time_s / 0.003) * rng.uniform(0, 1.5)
    return np.asarray(sound / np.max(np.abs(sound)))


def struck(times_s: Floats, heights: Floats, timebase: Timebase, rng: np.random.Generator) -> Sound:
    """Blows at these times with these peaks."""
    out = np.zeros(timebase.samples)
    for time_s, height in zip(times_s, heights, strict=True):
        first = int(time_s * timebase.sample_rate_hz)
        blow = _blow(timebase.sample_rate_hz, rng)[: max(0, out.size - first)]
        out[first : first + blow.size] += height * blow
    return out.astype(np.float32)


def knocks(per_minute: float, timebase: Timebase, rng: np.random.Generator) -> Sound:
    """Knocks, and clatter (a knock that bounces), at random times; peaks about 1."""
    times: list[float] = []
    for _ in range(rng.poisson(per_minute * timebase.duration_s / 60)):
        at = rng.uniform(0, timebase.duration_s)
        bounces = rng.integers(1, 9) if rng.random() < 0.4 else 1
        times.extend(at + np.cumsum(rng.uniform(0.02, 0.16, bounces)))
    heights = np.exp(rng.normal(-0.5, 0.6, len(times)))
    return struck(np.array(times), heights, timebase, rng)


def hammering(timebase: Timebase, rng: np.random.Generator) -> Sound:
    """Somebody hammering in bouts of four to fifteen blows; peaks about 1."""
    times: list[float] = []
    at = rng.uniform(0, 5)
    while at < timebase.duration_s:
        gap = rng.uniform(0.3, 0.7)
        for _ in range(rng.integers(4, 16)):
            times.append(at)
            at += gap * rng.uniform(0.9, 1.1)
        at += rng.uniform(2, 10)
    return struck(np.array(times), rng.uniform(0.6, 1.1, len(times)), timebase, rng)


def music(timebase: Timebase, rng: np.random.Generator) -> Sound:
    """Something like a radio: chords of plucked and held tones in a beat, unit rms."""
    rate = timebase.sample_rate_hz
    out = np.zeros(timebase.samples)
    beat_s = rng.uniform(0.3, 0.7)
    root = 110 * 2 ** (rng.integers(0, 12) / 12)
    for beat in range(int(timebase.duration_s / beat_s) + 1):
        shift = rng.choice([0, 5, 7, 9]) if beat % 4 == 0 else 0
        for step in rng.choice([0, 4, 7, 12, 16, 19], size=2, replace=False):
            hz = root * 2 ** ((step + shift) / 12)
            first = int(beat * beat_s * rate)
            length = min(int(rng.uniform(0.5, 2.5) * beat_s * rate), out.size - first)
            if length <= 0:
                continue
            time_s = np.arange(length) / rate
            fade = np.exp(-time_s / rng.uniform(0.15, 1.5)) * np.minimum(1, time_s / 0.01)
            for harmonic in range(1, 7):
                out[first : first + length] += (
                    fade * np.sin(2 * np.pi * harmonic * hz * time_s) / harmonic**1.3
                )
    return np.asarray(out / max(rms(out), 1e-9), dtype=np.float32)


def rumble(timebase: Timebase, rng: np.random.Generator) -> Sound:
    """A phone being handled: bursts of low rumble, rms about 1 within them."""
    low = coloured(
        rng, timebase.samples, timebase.sample_rate_hz, (30, 120, 300, 1500), (6, 0, -18, -45)
    )
    burst = np.clip(1.5 * wander(rng, timebase.control_count, CONTROL_HZ, 0.5) - 1, 0, 1.5)
    return np.asarray(low * timebase.to_audio(burst), dtype=np.float32)


def surrounding_sound(around: Surroundings, timebase: Timebase, rng: np.random.Generator) -> Sound:
    """All of it together, in units of the idling router's rms."""
    floor = coloured(
        rng, timebase.samples, timebase.sample_rate_hz, (50, 200, 1000, 8000), (6, 3, 0, -8)
    )
    floor *= np.float32(10 ** (around.floor_db / 20))
    sway = 10 ** (2 / 20 * wander(rng, timebase.control_count, CONTROL_HZ, 0.2))
    out = floor * timebase.to_audio(sway).astype(np.float32)
    if around.speech_db is not None:
        level = np.float32(10 ** (around.speech_db / 20))
        out += level * speech(around.speech_pitch_hz, timebase, rng)
    if around.knocks_per_minute:
        level = np.float32(10 ** (around.knock_db / 20))
        out += level * knocks(around.knocks_per_minute, timebase, rng)
    if around.hammer_db is not None:
        out += np.float32(10 ** (around.hammer_db / 20)) * hammering(timebase, rng)
    if around.rumble_db is not None:
        out += np.float32(10 ** (around.rumble_db / 20)) * rumble(timebase, rng)
    if around.music_db is not None:
        out += np.float32(10 ** (around.music_db / 20)) * music(timebase, rng)
    return out
