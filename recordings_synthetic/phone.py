"""What the phone does to the sound: band, gain control, suppression, limiting, clipping."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from recordings_synthetic.timebase import Floats, Sound


@dataclass(frozen=True, slots=True)
class Phone:
    """A phone's microphone and its processing; levels in dB against full scale.

    ``loud_dbfs`` is the rms of the take's loud parts before gain control; ``agc_share`` is
    how much of a level change the gain control takes out (0 none, 1 all); ``suppress_db``
    is how far steady sound is pushed down (0 none).
    """

    low_hz: float
    high_hz: float
    loud_dbfs: float
    agc_share: float
    agc_attack_s: float
    agc_release_s: float
    suppress_db: float
    limiter: bool
    clip_drive_db: float
    offset: float
    self_noise_dbfs: float


def _band(sound: Sound, phone: Phone, rate: int) -> Sound:
    from scipy.signal import butter, sosfilt

    high = butter(2, phone.low_hz, "highpass", fs=rate, output="sos")
    sound = np.asarray(sosfilt(high, sound), dtype=np.float32)
    if phone.high_hz < 0.48 * rate:
        low = butter(5, phone.high_hz, "lowpass", fs=rate, output="sos")
        sound = np.asarray(sosfilt(low, sound), dtype=np.float32)
    return sound


def _gain_control(sound: Sound, phone: Phone, rate: int) -> Sound:
    """A gain that follows the level down within the attack and up within the release."""
    step = rate // 100
    blocks = sound[: sound.size // step * step].reshape(-1, step)
    level_db = 10 * np.log10(np.mean(np.square(blocks, dtype=np.float64), axis=1) + 1e-12)
    fast = 1 - np.exp(-0.01 / phone.agc_attack_s)
    slow = 1 - np.exp(-0.01 / phone.agc_release_s)
    target = float(np.percentile(level_db, 80))
    held = np.empty_like(level_db)
    state = target
    for index, value in enumerate(level_db):
        state += (fast if value > state else slow) * (value - state)
        held[index] = state
    gain_db = np.clip(phone.agc_share * (target - held), -30, 24)
    places = (np.arange(level_db.size) + 0.5) * step
    gain = 10 ** (np.interp(np.arange(sound.size), places, gain_db) / 20)
    return np.asarray(sound * gain, dtype=np.float32)


def _suppressed(sound: Sound, phone: Phone, rate: int) -> Sound:
    """A noise suppressor that takes steady sound for noise, bin by bin."""
    from scipy.ndimage import minimum_filter1d, uniform_filter1d
    from scipy.signal import istft, stft

    size = 512
    _, _, spectrum = stft(sound, rate, nperseg=size, padded=True)
    power = np.abs(spectrum) ** 2
    smooth = uniform_filter1d(power, 8, axis=1, mode="nearest")
    frames = max(3, int(1.5 * rate / (size // 2)))
    floor = minimum_filter1d(smooth, frames, axis=1, mode="nearest", origin=(frames - 1) // 2)
    least = 10 ** (-phone.suppress_db / 20)
    gain = np.maximum(1 - 1.5 * floor / np.maximum(power, 1e-20), least**2) ** 0.5
    _, out = istft(spectrum * gain, rate, nperseg=size)
    padded = np.zeros(sound.size, np.float32)
    usable = min(sound.size, out.size)
    padded[:usable] = out[:usable]
    return padded


def _limited(sound: Sound, rate: int) -> Sound:
    """A look-ahead limiter that holds peaks under 0.9 of full scale."""
    from scipy.ndimage import maximum_filter1d, uniform_filter1d

    span = rate // 200
    peak = maximum_filter1d(np.abs(sound), 2 * span + 1)
    gain = np.minimum(1, 0.9 / np.maximum(peak, 1e-9))
    return np.asarray(sound * uniform_filter1d(gain, 2 * span + 1), dtype=np.float32)


def recorded(
    sound: Sound, phone: Phone, rate: int, rng: np.random.Generator
) -> tuple[NDArray[np.int16], tuple[str, ...]]:
    """16-bit samples as the phone writes them, and the faults it put in."""
    faults = []
    sound = _band(sound, phone, rate)
    step = rate // 20
    blocks = sound[: sound.size // step * step].reshape(-1, step)
    loud = float(np.percentile(np.sqrt(np.mean(np.square(blocks), axis=1)), 90))
    sound = sound * np.float32(10 ** (phone.loud_dbfs / 20) / max(loud, 1e-9))
    hiss = rng.standard_normal(sound.size, dtype=np.float32)
    sound = sound + hiss * np.float32(10 ** (phone.self_noise_dbfs / 20))
    if phone.suppress_db:
        sound = _suppressed(sound, phone, rate)
        faults.append("noise suppression")
    if phone.agc_share:
        sound = _gain_control(sound, phone, rate)
        if phone.agc_share >= 0.3:
            faults.append("agc")
    if phone.clip_drive_db:
        sound = sound * np.float32(10 ** (phone.clip_drive_db / 20))
    if phone.limiter:
        sound = _limited(sound, rate)
    if phone.loud_dbfs < -45:
        faults.append("quiet")
    return to_int16(sound.astype(np.float64) + phone.offset, faults, rng)


def to_int16(
    sound: Floats, faults: list[str], rng: np.random.Generator
) -> tuple[NDArray[np.int16], tuple[str, ...]]:
    """Dithered 16-bit samples; says so where over one in 10,000 would not fit."""
    scaled = np.round(sound * 32767 + rng.uniform(-0.5, 0.5, sound.size))
    if np.mean(np.abs(scaled) >= 32767) > 1e-4:
        faults.append("clipped")
    return np.clip(scaled, -32768, 32767).astype(np.int16), tuple(faults)
