"""What is no router must not be heard as one."""

from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import pytest

from analysis.hearing.faults import FaultKind
from analysis.hearing.listener import Listener

SAMPLE_RATE_HZ = 44_100
LENGTH_S = 12.0
TIME_S = np.arange(round(LENGTH_S * SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ

Floats = npt.NDArray[np.float64]


def tuning_tone() -> Floats:
    """A of 440 Hz, ISO 16:1975 [memory]: one pure line; 26,400 rpm, were it a rotation."""
    return np.asarray(0.1 * np.sin(2 * np.pi * 440 * TIME_S))


def mains_hum() -> Floats:
    """50 Hz and its harmonics (IEC 60038, mains frequency [memory])."""
    return sum((0.05 / k * np.sin(2 * np.pi * 50 * k * TIME_S + k) for k in range(1, 20)),
               start=np.zeros(len(TIME_S)))  # fmt: skip


def melody() -> Floats:
    """Plucked notes of the equal-tempered scale on A 220 Hz, two at a time, seven overtones.

    Semitones are 2^(1/12) apart (common practice in music since Bach's day).
    """
    rng = np.random.default_rng(4)
    sound = np.zeros(len(TIME_S))
    for _ in range(2):
        start_s = 0.0
        while start_s < LENGTH_S:
            length_s = float(rng.choice([0.25, 0.5, 1.0]))
            pitch_hz = 220 * 2 ** (int(rng.integers(0, 24)) / 12)
            held = (start_s <= TIME_S) & (start_s + length_s > TIME_S)
            since_s = TIME_S[held] - start_s
            for k in range(1, 8):
                tone = np.sin(2 * np.pi * pitch_hz * k * since_s)
                sound[held] += 0.07 / k * tone * np.exp(-3 * since_s)
            start_s += length_s
    return sound


def song() -> Floats:
    """One voice, note tied to note, 5 to 6 wavers a second by a tenth of a semitone to either side.

    A singer's vibrato has that rate (textbooks on acoustics of music [memory]).
    """
    rng = np.random.default_rng(11)
    pitch_hz, start_s = np.empty(len(TIME_S)), 0.0
    while start_s < LENGTH_S:
        note_hz = 220 * 2 ** (int(rng.choice([0, 2, 4, 5, 7, 9, 11, 12])) / 12)
        pitch_hz[start_s <= TIME_S] = note_hz
        start_s += float(rng.choice([0.4, 0.8, 1.2]))
    pitch_hz *= 2 ** (0.1 / 12 * np.sin(2 * np.pi * 5.5 * TIME_S))
    turns = np.cumsum(pitch_hz) / SAMPLE_RATE_HZ
    return sum((0.1 / k * np.sin(2 * np.pi * k * turns + k) for k in range(1, 16)),
               start=np.zeros(len(TIME_S)))  # fmt: skip


def slow_chords() -> Floats:
    """Three notes at once, a new chord every second and a half: they all but stand still."""
    chords = np.array([(0, 4, 7), (5, 9, 12), (7, 11, 14), (2, 5, 9)])
    notes_hz = 196 * 2 ** (chords[(TIME_S // 1.5).astype(int) % len(chords)].T / 12)
    return sum((0.04 / k * np.sin(2 * np.pi * k * notes_hz * TIME_S).sum(axis=0)
                for k in range(1, 10)), start=np.zeros(len(TIME_S)))  # fmt: skip


def white_noise() -> Floats:
    return np.asarray(0.05 * np.random.default_rng(9).standard_normal(len(TIME_S)))


@pytest.mark.parametrize(
    "sound",
    [
        tuning_tone,
        mains_hum,
        melody,
        song,
        slow_chords,
        white_noise,
    ],
)
@pytest.mark.parametrize("plate_range_rpm", [None, (8_000.0, 24_000.0)])
def test_is_no_router(
    sound: Callable[[], Floats], plate_range_rpm: tuple[float, float] | None
) -> None:
    hiss = 1e-4 * np.random.default_rng(2).standard_normal(len(TIME_S))
    listener = Listener(sample_rate_hz=SAMPLE_RATE_HZ, plate_range_rpm=plate_range_rpm)
    listener.feed((sound() + hiss).astype(np.float32))
    hearing = listener.finish()
    assert FaultKind.NO_ROUTER in {fault.kind for fault in hearing.faults}
    assert not np.isfinite(hearing.track.spindle_rpm).any()
    assert not hearing.passes
