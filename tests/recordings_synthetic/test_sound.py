"""Is the sound where the truth says it is? By a plain Fourier sum along the angle."""

import numpy as np
import pytest

from recordings_synthetic.drawing import MATERIALS, draw_take
from recordings_synthetic.motor import Source, order_tones
from recordings_synthetic.render import Rendering, render
from recordings_synthetic.steady import draw_steady, render_steady
from recordings_synthetic.teeth import Bit, Contact, CutVoice, cutting_sound, impulses
from recordings_synthetic.timebase import Timebase


def order_power(sound: np.ndarray, turns: np.ndarray, order: float) -> float:
    """Power of the tone at an order of an angle (turns), by its own Fourier sum."""
    window = np.hanning(sound.size)
    amplitude = np.sum(window * sound * np.exp(-2j * np.pi * order * turns)) / np.sum(window)
    return float(2 * np.abs(amplitude) ** 2)


def test_order_tones_are_the_sum_they_claim_to_be() -> None:
    timebase = Timebase(1.0, 48_000)
    turns = 200 * timebase.audio_s + 40 * timebase.audio_s**2
    source = Source("x", (1, 7, 40), (1.0, 0.5, 0.2), (0.1, 2.0, 4.0), 2.0, 0.0, 1.0, 0.0, 0.0, 0.0)
    got = order_tones(source, turns, np.full(48_000, 0.5), timebase, np.random.default_rng(0))
    want = 0.25 * sum(
        a * np.sin(2 * np.pi * k * turns + p)
        for k, a, p in zip(source.orders, source.amplitudes, source.phases_rad, strict=True)
    )
    assert np.max(np.abs(got - want)) < 1e-4


def test_impulses_fall_between_the_samples_without_ripple_in_the_band() -> None:
    one = impulses(np.array([500.37]), np.array([1.0]), 1000)
    frequency = np.fft.rfftfreq(1000)
    spectrum = np.fft.rfft(one)
    band = frequency < 0.35
    assert np.abs(spectrum[band]) == pytest.approx(1.0, abs=0.02)
    turned = np.unwrap(np.angle(spectrum * np.exp(2j * np.pi * 500 * frequency)))
    delay = -turned[1:350] / (2 * np.pi * frequency[1:350])
    assert delay == pytest.approx(0.37, abs=0.02)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_steady_tones_have_their_frequency_and_signal_to_noise_ratio(seed: int) -> None:
    plan = draw_steady("dev", seed)
    sound = render_steady(plan) / 32768
    turns = np.arange(sound.size) * plan.rotation_hz / plan.sample_rate_hz
    columns = []
    for order in range(1, len(plan.amplitudes) + 1):
        columns += [np.sin(2 * np.pi * order * turns), np.cos(2 * np.pi * order * turns)]
    basis = np.column_stack(columns)
    fitted = basis @ np.linalg.lstsq(basis, sound, rcond=None)[0]
    measured_db = 10 * np.log10(np.mean(fitted**2) / np.mean((sound - fitted) ** 2))
    # Over 60,000 samples the noise power is known to 0.03 dB, the tones' to about 0.1.
    assert measured_db == pytest.approx(plan.snr_db, abs=0.3)


@pytest.fixture(scope="module")
def clean() -> Rendering:
    return render(draw_take("dev", "passes", "clean", 1_000_000))


def test_the_strongest_order_rings_at_the_truth_and_not_beside_it(clean: Rendering) -> None:
    rate = clean.plan.sample_rate_hz
    source = max(clean.plan.voice.sources, key=lambda s: max(s.amplitudes))
    order = source.orders[int(np.argmax(source.amplitudes))]
    timebase = clean.schedule.timebase
    turns = np.cumsum(timebase.to_audio(clean.spindle.rotation_hz)) / rate
    first = round((clean.schedule.placed[0].entry_s - 1.2) * rate)
    part = slice(first, first + rate)
    sound = clean.samples[part] / 32768
    on = order_power(sound, turns[part], order)
    # A hundredth of the speed away (several times the resolution of a second) lies only noise.
    beside = [order_power(sound, turns[part], order * (1 + off)) for off in (-0.01, 0.01, 0.015)]
    assert on > 30 * max(beside)


def cut(stand_out: tuple[float, ...], feed_per_tooth: float) -> tuple[np.ndarray, np.ndarray]:
    timebase = Timebase(2.0, 48_000)
    turns = 290.0 * timebase.audio_s + 0.3
    bit = Bit(12.7, tuple(j / len(stand_out) for j in range(len(stand_out))), stand_out)
    voice = CutVoice(0.0, (900.0, 2500.0), (1.0, 2.0), (1.0, 0.7), 0.5, 0.1, -100.0, 2000.0)
    full = np.ones(timebase.samples)
    contact = Contact(turns, 290 * full, feed_per_tooth * full, 0 * full, 0.72 * full, full)
    sound = cutting_sound(bit, MATERIALS["mdf"], voice, contact, timebase, np.random.default_rng(3))
    return sound, turns


def test_equal_teeth_sound_at_tooth_pass_and_not_at_rotation() -> None:
    sound, turns = cut((0.0, 0.0), 0.08)
    tooth_pass = order_power(sound, turns, 2) + order_power(sound, turns, 4)
    rotation = order_power(sound, turns, 1) + order_power(sound, turns, 3)
    assert tooth_pass > 100 * rotation


def test_a_proud_tooth_cuts_alone_and_sounds_at_rotation() -> None:
    sound, turns = cut((-0.1, 0.0), 0.03)
    assert order_power(sound, turns, 3) > 0.2 * order_power(sound, turns, 4)


def test_thicker_chips_are_louder_within_a_take() -> None:
    timebase = Timebase(2.0, 48_000)
    turns = 290.0 * timebase.audio_s + 0.3
    voice = CutVoice(0.0, (900.0,), (3.0,), (1.0,), 0.5, 0.1, -100.0, 2000.0)
    full = np.ones(timebase.samples)
    chip = np.where(timebase.audio_s < 1, 0.05, 0.15)
    contact = Contact(turns, 290 * full, chip, 0 * full, 0.72 * full, full)
    sound = cutting_sound(
        Bit(12.7, (0.0, 0.5), (0.0, 0.0)), MATERIALS["hardwood"], voice, contact, timebase,
        np.random.default_rng(3),
    )  # fmt: skip
    thin, thick = np.std(sound[5000:40_000]), np.std(sound[55_000:90_000])
    # The hardwood's chip exponent is 0.7, a little less with what rubs in any case.
    assert thick / thin == pytest.approx(3**0.65, rel=0.15)
