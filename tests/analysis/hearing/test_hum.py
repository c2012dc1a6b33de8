"""Mains hum is a comb, but no router."""

import numpy as np
import pytest

from analysis.hearing.faults import FaultKind
from analysis.hearing.listener import Hearing, Listener
from tests.analysis.hearing.sounds import router
from tests.analysis.hearing.traces import Cut

RATE_HZ = 16_000
SECONDS = 12.0


def hum(mains_hz: float, *, amplitude: float) -> np.ndarray:
    """A rich one: every harmonic up to 1,200 Hz, falling off as 1/sqrt(k)."""
    time_s = np.arange(round(SECONDS * RATE_HZ)) / RATE_HZ
    numbers = range(1, int(1_200 / mains_hz) + 1)
    tones = [np.sin(2 * np.pi * mains_hz * k * time_s + k * k) / k**0.5 for k in numbers]
    return np.asarray(amplitude * np.sum(tones, axis=0))


def hear(samples: np.ndarray) -> Hearing:
    listener = Listener(sample_rate_hz=RATE_HZ, flutes=2, plate_range_rpm=(8_000.0, 24_000.0))
    listener.feed(samples.astype(np.float32))
    return listener.finish()


@pytest.mark.parametrize("mains_hz", [49.95, 50.0, 60.0, 60.05])
def test_hum_alone_is_no_router(mains_hz: float) -> None:
    hiss = 1e-3 * np.random.default_rng(3).normal(size=round(SECONDS * RATE_HZ))
    hearing = hear(hum(mains_hz, amplitude=0.02) + hiss)
    assert FaultKind.NO_ROUTER in {fault.kind for fault in hearing.faults}
    assert not np.isfinite(hearing.track.spindle_rpm).any()


@pytest.mark.parametrize("idle_rpm", [17_400.0, 18_000.0, 21_000.0])
def test_a_router_at_work_in_hum_is_heard(idle_rpm: float) -> None:
    # On a multiple of the mains when free, off it in the cut.
    cuts = [Cut(3, 5.5), Cut(7, 10)]
    samples = router(cuts, seconds=SECONDS, idle_rpm=idle_rpm) + hum(50.0, amplitude=0.01)
    hearing = hear(samples)
    assert hearing.track.idle_rpm == pytest.approx(idle_rpm, rel=1e-3)
    assert len(hearing.passes) == 2
