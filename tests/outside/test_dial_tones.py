"""Tones whose frequency the world agrees on, read as a spindle speed."""

import numpy as np
import pytest

from analysis.dial.calibration import plateaus_heard
from analysis.dial.listening import Sound, hear_running_free

SAMPLE_RATE_HZ = 48_000
ONE_IN_A_HUNDRED_THOUSAND = 1e-5


@pytest.mark.parametrize(
    ("tone_hz", "orders", "plate_rpm"),
    [
        # ISO 16:1975, Acoustics - Standard tuning frequency: A of 440 Hz [memory]. As the
        # first order of a rotation with its octave: 440 x 60 = 26,400 rpm.
        (440.0, (1, 2, 3), (20_000.0, 30_000.0)),
        # Line-up tone of 1 kHz, common practice in broadcasting. As the third order:
        # 1000 / 3 x 60 = 20,000 rpm.
        (1000.0, (3, 6, 9), (15_000.0, 23_000.0)),
    ],
)
def test_a_standard_tone_is_read_to_one_part_in_a_hundred_thousand(
    tone_hz: float, orders: tuple[int, ...], plate_rpm: tuple[float, float]
) -> None:
    time_s = np.arange(8 * SAMPLE_RATE_HZ) / SAMPLE_RATE_HZ
    rotation_hz = tone_hz / orders[0]
    sound = sum(0.1 / k * np.sin(2 * np.pi * order * rotation_hz * time_s + k)
                for k, order in enumerate(orders, start=1))  # fmt: skip
    sound = sound + 0.003 * np.random.default_rng(1).standard_normal(len(time_s))
    heard = hear_running_free(
        (Sound(np.asarray(sound, np.float32), SAMPLE_RATE_HZ),), plate_range_rpm=plate_rpm
    )
    (plateau,) = plateaus_heard(heard)
    assert plateau.spindle_rpm == pytest.approx(60 * rotation_hz, rel=ONE_IN_A_HUNDRED_THOUSAND)
