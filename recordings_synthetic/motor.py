"""The sound of an idling router: orders of its rotation, fan noise, mains hum and buzz."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from recordings_synthetic.noise import coloured, rms, wander
from recordings_synthetic.timebase import CONTROL_HZ, Floats, Sound, Timebase

_TABLE = 1 << 15  # points per turn; linear interpolation then stays 80 dB down at order 100


@dataclass(frozen=True, slots=True)
class Source:
    """One mechanism that turns with the shaft: its orders, and how they behave together.

    ``amplitudes`` are at the take's reference speed and change as speed to ``exponent``.
    ``wander_db`` and ``wander_rad`` are slow changes of level and of phase per turn order 1;
    ``ratio`` is its speed against the shaft's (a bearing cage's is under a half).
    ``load_db`` is what full load adds; ``mains_depth`` modulates at twice the mains frequency.
    """

    name: str
    orders: tuple[int, ...]
    amplitudes: tuple[float, ...]
    phases_rad: tuple[float, ...]
    exponent: float
    wander_db: float
    wander_hz: float
    wander_rad: float
    load_db: float
    mains_depth: float
    ratio: float = 1.0


@dataclass(frozen=True, slots=True)
class Voice:
    """Everything an idling router sounds like at the microphone, before the room."""

    sources: tuple[Source, ...]
    tonal_to_noise_db: float
    noise_hz: tuple[float, ...]
    noise_db: tuple[float, ...]
    noise_exponent: float
    noise_wander_db: float
    noise_load_db: float
    hum_db: float
    buzz_db: float


@dataclass(frozen=True, slots=True)
class Mains:
    """Mains frequency as the recording's clock sees it."""

    hz: float
    torque_ripple: float  # fraction of speed at twice the mains frequency, unloaded


def order_tones(
    source: Source, turns: Floats, speed_ratio: Floats, timebase: Timebase, rng: np.random.Generator
) -> Sound:
    """The steady tones of one source along an angle of rotation, in turns.

    One turn of the source is written as a table and read along the angle, so that all its
    orders stay in phase with the shaft whatever the speed does. Orders that would pass
    45 % of the sampling rate at the take's top speed are left out.
    """
    rate = timebase.sample_rate_hz
    if source.ratio != 1.0:
        turns = turns * source.ratio
    top_hz = float(np.max(np.diff(turns), initial=0.0)) * rate
    angle = np.arange(_TABLE + 1) / _TABLE * 2 * np.pi
    table = np.zeros(_TABLE + 1)
    for order, amplitude, phase in zip(
        source.orders, source.amplitudes, source.phases_rad, strict=True
    ):
        if order * top_hz < 0.45 * rate:
            table += amplitude * np.sin(order * angle + phase)
    if source.wander_rad:
        slip = wander(rng, timebase.control_count, CONTROL_HZ, source.wander_hz)
        turns = turns + timebase.to_audio(slip) * (source.wander_rad / (2 * np.pi))
    place = (turns % 1.0) * _TABLE
    index = place.astype(np.int32)
    part = (place - index).astype(np.float32)
    low = table.astype(np.float32)
    tones = low[index] + part * np.diff(low, append=low[-1:])[index]
    level = source.wander_db / 20 * np.log(10)
    swell = np.exp(level * wander(rng, timebase.control_count, CONTROL_HZ, source.wander_hz))
    gain = timebase.to_audio(swell) * np.power(speed_ratio, source.exponent)
    return np.asarray(tones * gain, dtype=np.float32)


def idle_sound(
    voice: Voice,
    mains: Mains,
    *,
    turns: Floats,
    speed_ratio: Floats,
    load: Floats,
    powered: Floats,
    timebase: Timebase,
    rng: np.random.Generator,
) -> Sound:
    """Tones, noise, hum and buzz of the motor; rms about 1 at the reference speed, unloaded.

    ``turns``, ``speed_ratio`` (to the reference speed), ``load`` (0 to about 1) and
    ``powered`` (0 or 1) are at audio rate.
    """
    twice_mains = 2 * np.pi * 2 * mains.hz * timebase.audio_s
    pulse = np.cos(twice_mains + rng.uniform(0, 2 * np.pi)).astype(np.float32)
    tones = np.zeros(timebase.samples, np.float32)
    power = 0.0
    for source in voice.sources:
        part = order_tones(source, turns, speed_ratio, timebase, rng)
        part *= (1 + source.mains_depth * pulse * powered).astype(np.float32)
        part *= (10 ** (source.load_db / 20 * load)).astype(np.float32)
        tones += part
        power += float(np.sum(np.square(source.amplitudes))) / 2
    noise = coloured(rng, timebase.samples, timebase.sample_rate_hz, voice.noise_hz, voice.noise_db)
    breath = wander(rng, timebase.control_count, CONTROL_HZ, 0.7)
    noise *= (
        timebase.to_audio(10 ** (voice.noise_wander_db / 20 * breath))
        * speed_ratio**voice.noise_exponent
        * 10 ** (voice.noise_load_db / 20 * load)
    ).astype(np.float32)
    ratio = 10 ** (voice.tonal_to_noise_db / 10)
    sound = tones * np.float32(np.sqrt(ratio / (1 + ratio) / power))
    sound += noise * np.float32(np.sqrt(1 / (1 + ratio)))
    sound += _mains_sound(voice, mains, powered, load, timebase, rng)
    return sound


def _mains_sound(
    voice: Voice,
    mains: Mains,
    powered: Floats,
    load: Floats,
    timebase: Timebase,
    rng: np.random.Generator,
) -> Sound:
    """Magnetic hum (even harmonics of the mains) and the buzz of the speed control."""
    time_s = timebase.audio_s
    hum = np.zeros(timebase.samples)
    for harmonic in (1, 2, 4, 6, 8):
        amplitude = rng.uniform(0.2, 1.0) / harmonic
        hum += amplitude * np.sin(
            2 * np.pi * harmonic * mains.hz * time_s + rng.uniform(0, 2 * np.pi)
        )
    buzz = np.zeros(timebase.samples)
    for harmonic in range(1, 26):
        phase = harmonic * rng.uniform(0.2, 0.4) * np.pi
        buzz += np.cos(2 * np.pi * 2 * harmonic * mains.hz * time_s + phase) / harmonic**0.5
    hum *= 10 ** (voice.hum_db / 20) / max(rms(hum), 1e-9)
    buzz *= 10 ** (voice.buzz_db / 20) / max(rms(buzz), 1e-9)
    return np.asarray(powered * (hum + buzz * (1 + 0.6 * load)), dtype=np.float32)
