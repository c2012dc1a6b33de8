"""Following a router by its voices, on tones made here."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.hearing.following import Follower
from analysis.hearing.orders import LOG_STEP, SILENT, TOP_ORDER
from analysis.hearing.recent import RecentSound
from analysis.hearing.spectra import Framer, SpectrumGrid
from analysis.hearing.turning import Turning
from analysis.hearing.voice import Voices

GRID = SpectrumGrid(16_000.0)
PLAIN = 7  # a tone well above the noise, nearly always there
IDLE_ORDERS, TOOTH_ORDERS = (1, 2, 9), (2, 4, 6, 8)


def voice(orders: tuple[int, ...]) -> np.ndarray:
    made = np.full(TOP_ORDER, SILENT)
    made[np.array(orders) - 1] = PLAIN
    return made


VOICES = Voices(voice(IDLE_ORDERS), voice(TOOTH_ORDERS))


def sound(rpm: np.ndarray, orders: tuple[int, ...], *, seed: int = 1) -> np.ndarray:
    """Tones at these orders, 18 dB over white noise in their cells."""
    noise = np.random.default_rng(seed).standard_normal(len(rpm))
    turn = 2 * np.pi * np.cumsum(rpm / 60) / GRID.sample_rate_hz
    # A Hann frame of N samples parts a tone of amplitude a from noise of variance 1 by
    # a^2 N / 6 in power: 18 dB for N = 1500 and a = 0.5.
    tones = 0.5 * sum(np.sin(order * turn + order) for order in orders)
    return (noise + tones).astype(np.float32)


class Ear:
    """A follower with the sound it hears, taken in beats of four frames."""

    def __init__(self, voices: Voices | None = VOICES) -> None:
        self.follower = Follower(GRID, flutes=2, plate_range_rpm=(10_000.0, 24_000.0))
        if voices is not None:
            self.follower.learn(voices)
        self.recent = RecentSound(GRID, most=500)
        self._framer = Framer(GRID)

    def hears(self, samples: np.ndarray) -> None:
        frames = self._framer.frames(samples, multiple=1)
        for first in range(0, len(frames), 4):
            self.recent.add(frames[first : first + 4])

    def follow(self, frames: int = 60, *, wide: bool = False) -> Turning | None:
        return self.follower.follow(self.recent, frames=frames, wide=wide)


def heard_of(samples: np.ndarray, **how: bool) -> Turning:
    ear = Ear()
    ear.hears(samples)
    told = ear.follow(**how)
    assert told is not None
    return told


def steady(rpm: float, seconds: float = 1.5) -> np.ndarray:
    return np.full(round(seconds * GRID.sample_rate_hz), rpm)


@pytest.mark.parametrize("rpm", [10_500.0, 18_000.0, 23_456.0])
@pytest.mark.parametrize(("orders", "cuts"), [(IDLE_ORDERS, False), (TOOTH_ORDERS, True)])
def test_speed_and_state_are_heard(rpm: float, orders: tuple[int, ...], cuts: bool) -> None:
    heard = heard_of(sound(steady(rpm), orders))
    middle = slice(6, -6)
    # The nearest of the speeds looked among, or one next to it.
    assert np.abs(60 * heard.rotation_hz[middle] / rpm - 1).max() < 1.5 * LOG_STEP
    assert (heard.cutting[middle] == cuts).all()
    assert ((heard.lead[middle] > 0) == cuts).all()


def test_the_last_digits_are_told_when_asked_for() -> None:
    ear = Ear()
    ear.hears(sound(steady(18_000.0), TOOTH_ORDERS))
    heard = ear.follow()
    assert heard is not None
    refined = ear.follower.refined(ear.recent, heard.rotation_hz)
    assert refined is not None
    rotation_hz, deviation_hz = refined
    middle = slice(6, -6)
    off = 60 * rotation_hz[middle] / 18_000 - 1
    assert np.abs(off).max() < 5e-4
    # White noise: the deviations told are those made, in the mean square to a factor of two.
    told = 60 * deviation_hz[middle] / 18_000
    assert np.sqrt(np.mean(off**2)) < 2 * np.sqrt(np.mean(told**2))


def test_a_sagging_spindle_is_followed() -> None:
    rpm = np.linspace(18_000, 17_400, len(steady(1.0)))
    heard = heard_of(sound(rpm, TOOTH_ORDERS))
    # The first frame is centred on the first sample; of an odd number the last has no pair.
    count = len(heard.rotation_hz)
    true = np.interp(np.arange(count) * GRID.hop, np.arange(len(rpm)), rpm)
    assert np.abs(60 * heard.rotation_hz[8:-8] / true[8:-8] - 1).max() < 4e-3


def test_followed_beat_by_beat_is_what_is_followed_at_once() -> None:
    """Each step is asked once; what was said of it may only be mended by what follows."""
    ear, samples = Ear(), sound(steady(18_000.0, 3.0), TOOTH_ORDERS)
    for first in range(0, len(samples), 4 * GRID.hop):
        ear.hears(samples[first : first + 4 * GRID.hop])
        step_by_step = ear.follow(40)
    assert step_by_step is not None
    at_once = heard_of(samples)
    middle = slice(-34, -6)
    speeds = step_by_step.rotation_hz[middle] / at_once.rotation_hz[middle]
    assert np.abs(speeds - 1).max() < 1e-3
    assert (step_by_step.cutting[middle] == at_once.cutting[middle]).all()


def test_at_first_as_much_is_followed_as_is_asked_for() -> None:
    """More than is kept later: a look that taught the voices may lie some seconds back."""
    ear = Ear()
    ear.hears(sound(steady(18_000.0, 5.0), TOOTH_ORDERS))
    heard = ear.follow(180)
    assert heard is not None
    assert len(heard.rotation_hz) == 180
    assert np.abs(60 * heard.rotation_hz / 18_000 - 1).max() < 1.5 * LOG_STEP


def test_noise_is_not_running() -> None:
    assert np.isnan(heard_of(sound(steady(18_000.0), ())).rotation_hz).all()


def test_nothing_is_followed_before_voices_are_known() -> None:
    unknowing = Ear(voices=None)
    unknowing.hears(sound(steady(18_000.0), IDLE_ORDERS))
    assert unknowing.follow(wide=True) is None
    assert unknowing.follower.refined(unknowing.recent, np.full(20, 300.0)) is None


def test_a_dial_that_was_turned_is_found_by_looking_wide() -> None:
    ear = Ear()
    ear.follower.look_near(np.array([12_000 / 60, np.nan, 12_100 / 60]))
    ear.hears(sound(steady(20_000.0), IDLE_ORDERS))
    near = ear.follow()
    assert near is not None
    assert not np.isclose(60 * near.rotation_hz, 20_000, rtol=1e-2).any()
    wide = ear.follow(wide=True)
    assert wide is not None
    assert 60 * np.nanmedian(wide.rotation_hz) == pytest.approx(20_000, rel=5e-4)
    # From there on it looks near the new speed by itself.
    again = ear.follow()
    assert again is not None
    assert 60 * np.nanmedian(again.rotation_hz) == pytest.approx(20_000, rel=5e-4)
