"""The sound of cutting: each tooth's stroke, the noise of chips, and rubbing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from recordings_synthetic.geometry import chip_per_tooth_mm
from recordings_synthetic.noise import coloured, convolved, ringing, rms, wander
from recordings_synthetic.timebase import CONTROL_HZ, Floats, Sound, Timebase

_TAPS = 24


@dataclass(frozen=True, slots=True)
class Bit:
    """Flutes as they stand: angles within a turn, and how far each stands out."""

    diameter_mm: float
    flute_turns: tuple[float, ...]
    stand_out_mm: tuple[float, ...]

    @property
    def flutes(self) -> int:
        """Number of cutting edges."""
        return len(self.flute_turns)


@dataclass(frozen=True, slots=True)
class Material:
    """How a wood sounds: jitter from chip to chip, chip noise, and its exponent."""

    name: str
    amplitude_jitter: float
    timing_jitter: float
    chip_exponent: float
    noise_share: float
    noise_hz: tuple[float, ...]
    noise_db: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class CutVoice:
    """Resonances that the strokes excite, and levels against the idling router."""

    level_db: float
    resonance_hz: tuple[float, ...]
    resonance_q: tuple[float, ...]
    resonance_gain: tuple[float, ...]
    noise_modulation: float
    rub_share: float
    squeal_db: float
    squeal_hz: float


@dataclass(frozen=True, slots=True, eq=False)
class Contact:
    """What the bit meets, at audio rate: speed, advance per tooth, arc, wood."""

    turns: Floats
    rotation_hz: Floats
    feed_per_tooth: Floats
    enter_rad: Floats
    leave_rad: Floats
    wood: Floats


def impulses(at_sample: Floats, heights: Floats, count: int) -> Sound:
    """Impulses between the samples, each as a windowed sinc, so that none aliases."""
    base = np.floor(at_sample).astype(np.int64)
    part = at_sample - base
    offsets = np.arange(1 - _TAPS // 2, 1 + _TAPS // 2)
    distance = offsets[None, :] - part[:, None]
    kernel = np.sinc(0.9 * distance) * np.cos(np.pi * distance / (_TAPS + 1)) ** 2 * 0.9
    index = base[:, None] + offsets[None, :]
    inside = (index >= 0) & (index < count)
    weights = (kernel * heights[:, None])[inside]
    return np.bincount(index[inside], weights, minlength=count).astype(np.float32)


def _strokes(
    bit: Bit, material: Material, voice: CutVoice, contact: Contact, tb: Timebase,
    rng: np.random.Generator,
) -> Sound:  # fmt: skip
    """One impulse per tooth and turn while it touches, as strong as the chip it breaks."""
    turns = contact.turns
    if turns[-1] - turns[0] < 1:
        return np.zeros(tb.samples, np.float32)
    whole = np.arange(np.ceil(turns[0]), np.floor(turns[-1]))
    places, heights = [], []
    touching = contact.leave_rad - contact.enter_rad > 1e-4
    for tooth, at_turn in enumerate(bit.flute_turns):
        jitter = material.timing_jitter / bit.flutes * rng.standard_normal(whole.size)
        place = np.interp(whole + at_turn + jitter, turns, np.arange(turns.size))
        index = np.clip(np.round(place).astype(np.int64), 0, turns.size - 1)
        keep = touching[index]
        place, index = place[keep], index[keep]
        across = contact.feed_per_tooth[index] * np.sin(contact.leave_rad[index])
        chip = chip_per_tooth_mm(across, bit.stand_out_mm)[tooth]
        proud = bit.stand_out_mm[tooth] - max(bit.stand_out_mm)
        rub = voice.rub_share * np.exp(-chip / 0.008 + proud / 0.02)
        height = np.power(chip / 0.05, material.chip_exponent) + rub
        arc = (contact.leave_rad - contact.enter_rad)[index]
        height *= contact.wood[index] * np.minimum(1, arc / 0.15)
        height *= np.exp(material.amplitude_jitter * rng.standard_normal(height.size))
        # The chip breaks away where the edge leaves the wood.
        turn_samples = tb.sample_rate_hz / np.maximum(contact.rotation_hz[index], 1)
        places.append(place + contact.leave_rad[index] / (2 * np.pi) * turn_samples)
        heights.append(height)
    return impulses(np.concatenate(places), np.concatenate(heights), tb.samples)


def _chip_noise(
    bit: Bit, material: Material, voice: CutVoice, contact: Contact, tb: Timebase,
    rng: np.random.Generator,
) -> Sound:  # fmt: skip
    """Broadband noise of chips torn and flung, swelling as each tooth is in the wood."""
    across = contact.feed_per_tooth * np.sin(contact.leave_rad)
    chips = chip_per_tooth_mm(across[:: max(1, tb.sample_rate_hz // 2000)], bit.stand_out_mm)
    shares = chips.mean(axis=1) + 0.004
    angle = np.linspace(0, 1, 4097)
    swell = np.zeros_like(angle)
    for share, at_turn in zip(shares / shares.mean(), bit.flute_turns, strict=True):
        swell += share * np.exp(6 * (np.cos(2 * np.pi * (angle - at_turn - 0.05)) - 1))
    swell /= swell.mean()
    beat = np.interp(contact.turns % 1.0, angle, swell)
    area = (np.cos(contact.enter_rad) - np.cos(contact.leave_rad)) * bit.diameter_mm / 2
    chip = contact.feed_per_tooth * np.maximum(area, 0)
    friction = voice.rub_share * 0.6 * (contact.leave_rad > contact.enter_rad)
    rim = contact.rotation_hz * bit.diameter_mm
    level = (np.power(np.maximum(chip, 0) / 0.03, material.chip_exponent) + friction) * rim
    level *= np.sqrt(contact.wood)
    level *= 1 + voice.noise_modulation * (beat - 1)
    noise = coloured(rng, tb.samples, tb.sample_rate_hz, material.noise_hz, material.noise_db)
    flutter = np.exp(0.2 * wander(rng, tb.control_count, CONTROL_HZ, 15.0))
    return np.asarray(noise * np.maximum(level, 0) * tb.to_audio(flutter), dtype=np.float32)


def _squeal(voice: CutVoice, contact: Contact, tb: Timebase, rng: np.random.Generator) -> Sound:
    """The tone of a rubbing edge: it comes only where hardly any chip is taken."""
    touching = (contact.leave_rad - contact.enter_rad) > 1e-4
    across = contact.feed_per_tooth * np.sin(contact.leave_rad)
    level = np.where(touching, np.exp(-across / 0.006), 0.0)
    pitch = voice.squeal_hz * (1 + 0.01 * wander(rng, tb.control_count, CONTROL_HZ, 3.0))
    phase = 2 * np.pi * np.cumsum(tb.to_audio(pitch)) / tb.sample_rate_hz
    swell = np.clip(1 + wander(rng, tb.control_count, CONTROL_HZ, 4.0), 0, 3)
    tone = np.sin(phase) + 0.3 * np.sin(2 * phase + 1)
    return np.asarray(tone * level * tb.to_audio(swell), dtype=np.float32)


def cutting_sound(
    bit: Bit, material: Material, voice: CutVoice, contact: Contact, tb: Timebase,
    rng: np.random.Generator,
) -> Sound:  # fmt: skip
    """Strokes, chip noise and squeal; rms ``voice.level_db`` against 1 over the contact."""
    strokes = _strokes(bit, material, voice, contact, tb, rng)
    response = ringing(
        tb.sample_rate_hz, voice.resonance_hz, voice.resonance_q, voice.resonance_gain, 0.08
    )
    strokes = convolved(strokes, response)
    noise = _chip_noise(bit, material, voice, contact, tb, rng)
    touching = contact.leave_rad - contact.enter_rad > 1e-4
    if not touching.any():
        return strokes
    mixed = strokes / max(rms(strokes[touching]), 1e-9) * np.sqrt(1 - material.noise_share)
    mixed += noise / max(rms(noise[touching]), 1e-9) * np.sqrt(material.noise_share)
    mixed *= 10 ** (voice.level_db / 20) / max(rms(mixed[touching]), 1e-9)
    if voice.squeal_db > -60:
        mixed += _squeal(voice, contact, tb, rng) * np.float32(10 ** (voice.squeal_db / 20))
    return np.asarray(mixed, dtype=np.float32)
