"""A general pitch tracker and the spindle track agree where any tracker is right: easy tones."""

import numpy as np
import pytest

from analysis.hearing.listener import Listener

parselmouth = pytest.importorskip("parselmouth", reason="Praat is not installed (extra: peers)")

SAMPLE_RATE_HZ = 44_100
LENGTH_S = 4.0


@pytest.mark.parametrize(
    "rotation_hz",
    [
        pytest.param(
            173.0,
            marks=pytest.mark.xfail(
                raises=AssertionError, strict=True, reason="heard as double: tone 40 dB over noise"
            ),
        ),
        251.3,
        366.6,
    ],
)
def test_praat_and_the_track_agree_on_a_rich_steady_tone(rotation_hz: float) -> None:
    # P. Boersma (1993), Accurate short-term analysis of the fundamental frequency by
    # autocorrelation [memory]: the method behind Praat's pitch, through its own code.
    time_s = np.arange(round(LENGTH_S * SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ
    rng = np.random.default_rng(int(rotation_hz))
    sound = 0.001 * rng.standard_normal(len(time_s))
    for order in range(1, 11):
        sound += 0.1 / order * np.cos(2 * np.pi * order * rotation_hz * time_s + order**2)
    pitch = parselmouth.Sound(sound, SAMPLE_RATE_HZ).to_pitch_ac(
        time_step=0.025, pitch_floor=100.0, pitch_ceiling=450.0, very_accurate=True,
        octave_cost=0.1,
    )  # fmt: skip
    praat_hz = pitch.selected_array["frequency"]
    listener = Listener(sample_rate_hz=SAMPLE_RATE_HZ, plate_range_rpm=(9_000, 25_000))
    listener.feed(sound.astype(np.float32))
    track_hz = listener.finish().track.spindle_rpm / 60
    # Praat interpolates its autocorrelation: a few parts in a hundred thousand on such a tone.
    assert np.median(praat_hz) == pytest.approx(rotation_hz, rel=1e-4)
    assert np.nanmedian(track_hz) == pytest.approx(np.median(praat_hz), rel=1e-4)
    assert np.mean(np.abs(track_hz / rotation_hz - 1) < 1e-3) > 0.99
