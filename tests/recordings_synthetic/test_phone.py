"""What the phone does, by its own figures."""

from dataclasses import replace

import numpy as np
import pytest

from recordings_synthetic.phone import Phone, recorded

RATE = 48_000
PLAIN = Phone(
    low_hz=80, high_hz=14_000, loud_dbfs=-20, agc_share=0.0, agc_attack_s=0.1, agc_release_s=0.5,
    suppress_db=0.0, limiter=False, clip_drive_db=0.0, offset=0.0, self_noise_dbfs=-90,
)  # fmt: skip


def step_of_20_db() -> np.ndarray:
    rng = np.random.default_rng(1)
    sound = rng.standard_normal(RATE * 8).astype(np.float32)
    sound[: RATE * 4] *= 0.1
    return sound


def level_db(samples: np.ndarray, from_s: float, to_s: float) -> float:
    part = samples[int(from_s * RATE) : int(to_s * RATE)] / 32768
    return float(10 * np.log10(np.mean(part**2)))


def test_a_plain_phone_keeps_a_step_and_sets_the_loud_level() -> None:
    samples, faults = recorded(step_of_20_db(), PLAIN, RATE, np.random.default_rng(0))
    assert level_db(samples, 5, 8) == pytest.approx(-20, abs=0.3)
    assert level_db(samples, 5, 8) - level_db(samples, 1, 4) == pytest.approx(20, abs=0.3)
    assert faults == ()


def test_gain_control_takes_its_share_out_of_the_step() -> None:
    phone = replace(PLAIN, agc_share=0.8, loud_dbfs=-32)
    samples, faults = recorded(step_of_20_db(), phone, RATE, np.random.default_rng(0))
    # After six release times the step of 20 dB is down to 4.
    assert level_db(samples, 7, 8) - level_db(samples, 3, 4) == pytest.approx(4, abs=0.5)
    assert faults == ("agc",)


def test_clipping_is_told_and_flattens() -> None:
    phone = replace(PLAIN, clip_drive_db=18.0)
    samples, faults = recorded(step_of_20_db(), phone, RATE, np.random.default_rng(0))
    assert faults == ("clipped",)
    assert np.mean(np.abs(samples.astype(int)) >= 32767) > 0.01


def test_a_limiter_keeps_under_full_scale() -> None:
    phone = replace(PLAIN, clip_drive_db=18.0, limiter=True)
    samples, faults = recorded(step_of_20_db(), phone, RATE, np.random.default_rng(0))
    assert "clipped" not in faults
    assert np.abs(samples.astype(int)).max() < 32767


def test_the_suppressor_pushes_steady_sound_down_and_lets_a_new_one_through() -> None:
    time_s = np.arange(RATE * 8) / RATE
    steady = np.sin(2 * np.pi * 1000 * time_s)
    burst = np.sin(2 * np.pi * 3000 * time_s) * ((time_s > 5) & (time_s < 5.5))
    phone = replace(PLAIN, suppress_db=12.0)
    sound = (steady + burst).astype(np.float32)
    samples, faults = recorded(sound, phone, RATE, np.random.default_rng(0))
    plain, _ = recorded(sound, PLAIN, RATE, np.random.default_rng(0))
    assert faults == ("noise suppression",)

    def tone(values: np.ndarray, hz: float, from_s: float, to_s: float) -> float:
        part = slice(int(from_s * RATE), int(to_s * RATE))
        phasor = np.exp(-2j * np.pi * hz * time_s[part])
        return float(20 * np.log10(np.abs(np.mean(values[part] * phasor))))

    assert tone(samples, 1000, 3, 4.5) - tone(plain, 1000, 3, 4.5) == pytest.approx(-12, abs=1.5)
    assert tone(samples, 3000, 5.1, 5.4) - tone(plain, 3000, 5.1, 5.4) == pytest.approx(0, abs=1)


def test_the_band_is_limited() -> None:
    sound = np.random.default_rng(2).standard_normal(RATE * 4).astype(np.float32)
    samples, _ = recorded(sound, replace(PLAIN, low_hz=300, high_hz=7000), RATE,
                          np.random.default_rng(0))  # fmt: skip
    power = np.abs(np.fft.rfft(samples)) ** 2
    hz = np.fft.rfftfreq(samples.size, 1 / RATE)
    middle = power[(hz > 800) & (hz < 5000)].mean()
    # Second order below, fifth above: an octave away 12 and 30 dB.
    assert power[(hz > 140) & (hz < 160)].mean() < middle / 12
    assert power[(hz > 13_500) & (hz < 14_500)].mean() < middle / 500
