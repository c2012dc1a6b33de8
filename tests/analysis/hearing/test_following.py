"""Following a router by its voices, on tones made here."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.hearing.following import Follower
from analysis.hearing.frames import Frames
from analysis.hearing.orders import SILENT, TOP_ORDER
from analysis.hearing.recent import RecentSound
from analysis.hearing.spectra import Framer, SpectrumGrid
from analysis.hearing.voice import Voices

GRID = SpectrumGrid(16_000.0)
PLAIN = 7  # a tone well above the noise, nearly always there
IDLE_ORDERS, TOOTH_ORDERS = (1, 2, 9), (2, 4, 6, 8)


def voice(orders: tuple[int, ...]) -> np.ndarray:
    made = np.full(TOP_ORDER, SILENT)
    made[np.array(orders) - 1] = PLAIN
    return made


VOICES = Voices(voice(IDLE_ORDERS), voice(TOOTH_ORDERS))


def frames(rpm: np.ndarray, orders: tuple[int, ...], *, seed: int = 1) -> Frames:
    """A second and a half of tones at these orders, 18 dB over white noise in their cells."""
    noise = np.random.default_rng(seed).standard_normal(len(rpm))
    turn = 2 * np.pi * np.cumsum(rpm / 60) / GRID.sample_rate_hz
    # A Hann frame of N samples parts a tone of amplitude a from noise of variance 1 by
    # a^2 N / 6 in power: 18 dB for N = 1500 and a = 0.5.
    sound = noise + 0.5 * sum(np.sin(order * turn + order) for order in orders)
    recent = RecentSound(GRID, most=500)
    recent.add(Framer(GRID).frames(sound.astype(np.float32), multiple=1))
    return recent.frames(recent.kept)


def steady(rpm: float, seconds: float = 1.5) -> np.ndarray:
    return np.full(round(seconds * GRID.sample_rate_hz), rpm)


def follower() -> Follower:
    made = Follower(flutes=2, plate_range_rpm=(10_000.0, 24_000.0))
    made.learn(VOICES)
    return made


@pytest.mark.parametrize("rpm", [10_500.0, 18_000.0, 23_456.0])
@pytest.mark.parametrize(("orders", "cuts"), [(IDLE_ORDERS, False), (TOOTH_ORDERS, True)])
def test_speed_and_state_are_heard(rpm: float, orders: tuple[int, ...], cuts: bool) -> None:
    heard = follower().follow(frames(steady(rpm), orders), wide=False)
    assert heard is not None
    middle = slice(6, -6)
    assert np.abs(60 * heard.rotation_hz[middle] / rpm - 1).max() < 5e-4
    assert (heard.cutting[middle] == cuts).all()
    assert ((heard.lead[middle] > 0) == cuts).all()


def test_a_sagging_spindle_is_followed() -> None:
    rpm = np.linspace(18_000, 17_400, len(steady(1.0)))
    heard = follower().follow(frames(rpm, TOOTH_ORDERS), wide=False)
    assert heard is not None
    # The first frame is centred on the first sample.
    true = np.interp(np.arange(len(heard.rotation_hz)) * GRID.hop, np.arange(len(rpm)), rpm)
    assert np.abs(60 * heard.rotation_hz[8:-8] / true[8:-8] - 1).max() < 2e-3


def test_noise_is_not_running() -> None:
    heard = follower().follow(frames(steady(18_000.0), ()), wide=False)
    assert heard is not None
    assert np.isnan(heard.rotation_hz).all()


def test_nothing_is_followed_before_voices_are_known() -> None:
    unknowing = Follower(flutes=2, plate_range_rpm=None)
    assert unknowing.follow(frames(steady(18_000.0), IDLE_ORDERS), wide=True) is None


def test_a_dial_that_was_turned_is_found_by_looking_wide() -> None:
    one = follower()
    one.look_near(np.array([12_000 / 60, np.nan, 12_100 / 60]))
    turned = frames(steady(20_000.0), IDLE_ORDERS)
    near = one.follow(turned, wide=False)
    assert near is not None
    assert not np.isclose(60 * near.rotation_hz, 20_000, rtol=1e-2).any()
    wide = one.follow(turned, wide=True)
    assert wide is not None
    assert 60 * np.nanmedian(wide.rotation_hz) == pytest.approx(20_000, rel=5e-4)
    # From there on it looks near the new speed by itself.
    again = one.follow(turned, wide=False)
    assert again is not None
    assert 60 * np.nanmedian(again.rotation_hz) == pytest.approx(20_000, rel=5e-4)
