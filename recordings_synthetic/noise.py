"""Random signals with a stated spectrum, and resonances as impulse responses."""

from __future__ import annotations

import numpy as np
from scipy import fft

from recordings_synthetic.timebase import Floats, Sound


def wander(rng: np.random.Generator, count: int, rate_hz: float, corner_hz: float) -> Floats:
    """Slow noise of unit standard deviation, falling 12 dB per octave above ``corner_hz``."""
    padded = fft.next_fast_len(int(count * 1.25) + int(4 * rate_hz / corner_hz), real=True)
    frequency_hz = fft.rfftfreq(padded, 1 / rate_hz)
    gain = 1 / np.sqrt(1 + (frequency_hz / corner_hz) ** 4)
    spectrum = fft.rfft(rng.standard_normal(padded)) * gain
    # The expected power, not the sample's: a short stretch of slow noise may well stay small.
    expected = np.sqrt(2 * np.sum(gain**2) / padded)
    return np.asarray(fft.irfft(spectrum, padded)[:count] / expected)


def coloured(
    rng: np.random.Generator,
    count: int,
    rate_hz: float,
    frequencies_hz: tuple[float, ...],
    levels_db: tuple[float, ...],
) -> Sound:
    """Gaussian noise of unit power whose spectrum follows levels given at some frequencies.

    Levels are interpolated along the logarithm of frequency and held beyond both ends.
    """
    padded = fft.next_fast_len(count, real=True)
    frequency_hz = np.maximum(fft.rfftfreq(padded, 1 / rate_hz), 1.0)
    level_db = np.interp(np.log(frequency_hz), np.log(frequencies_hz), levels_db)
    gain = (10 ** (level_db / 20)).astype(np.float32)
    gain[frequency_hz < 20] = 0
    white = rng.standard_normal(padded, dtype=np.float32)
    shaped = fft.irfft(fft.rfft(white) * gain, padded)[:count]
    return np.asarray(shaped / np.sqrt(np.mean(gain**2)), dtype=np.float32)


def ringing(
    rate_hz: float,
    frequencies_hz: tuple[float, ...],
    qualities: tuple[float, ...],
    amplitudes: tuple[float, ...],
    length_s: float,
) -> Floats:
    """Impulse response of parallel resonances: damped sines, of unit energy together."""
    time_s = np.arange(int(length_s * rate_hz)) / rate_hz
    response = np.zeros_like(time_s)
    for frequency_hz, quality, amplitude in zip(frequencies_hz, qualities, amplitudes, strict=True):
        decay = np.pi * frequency_hz / quality
        response += (
            amplitude * decay * np.exp(-decay * time_s) * np.sin(2 * np.pi * frequency_hz * time_s)
        )
    return np.asarray(response / np.sqrt(np.sum(response**2)))


def convolved(sound: Sound, response: Floats) -> Sound:
    """The sound through an impulse response, cut to the sound's own length."""
    from scipy.signal import oaconvolve

    return np.asarray(
        oaconvolve(sound, response.astype(np.float32))[: sound.size], dtype=np.float32
    )


def rms(sound: Sound | Floats) -> float:
    """Root mean square."""
    return float(np.sqrt(np.mean(np.square(sound, dtype=np.float64)))) if sound.size else 0.0
