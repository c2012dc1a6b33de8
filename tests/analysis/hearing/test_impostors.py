"""Mains hum and tunes are combs, but no routers."""

import numpy as np
import numpy.typing as npt
import pytest

from analysis.hearing.faults import FaultKind
from analysis.hearing.impostors import leaps_like_a_tune
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


@pytest.mark.parametrize("seed", range(4))
def test_slow_notes_are_no_router(seed: int) -> None:
    # One to two notes a second, each with ten overtones that die away in a second or three.
    rng = np.random.default_rng(seed)
    time_s = np.arange(round(SECONDS * RATE_HZ)) / RATE_HZ
    sound, start_s = 1e-3 * rng.normal(size=len(time_s)), 0.0
    while start_s < SECONDS:
        length_s = float(rng.choice([0.5, 0.75, 1.0]))
        pitch_hz = 220 * 2 ** (int(rng.integers(0, 24)) / 12)
        note = (time_s >= start_s) & (time_s < start_s + length_s)
        since_s = time_s[note] - start_s
        for k in range(1, 11):
            sound[note] += 0.07 / k * np.sin(2 * np.pi * pitch_hz * k * since_s) * np.exp(-since_s)
        start_s += length_s
    assert not np.isfinite(hear(sound).track.spindle_rpm).any()


def test_an_open_loop_router_that_gives_way_is_heard() -> None:
    # A fifth of the speed lost in each cut and won back after it: that is no melody. No motor
    # does so at once: a rotor of a router's mass takes some tenths of a second [common practice].
    cuts = [Cut(1.5, 4), Cut(5.5, 8), Cut(9, 11)]
    hearing = hear(router(cuts, seconds=SECONDS, sag=0.2, lag_s=0.25))
    assert np.mean(np.isfinite(hearing.track.spindle_rpm)) > 0.95
    assert np.nanmax(hearing.track.spindle_rpm) == pytest.approx(18_000, rel=2e-3)


STEP_S = 0.0232
SEMITONE = 2 ** (1 / 12)  # of the equal-tempered scale


def rotation(*stretches: tuple[float, float]) -> npt.NDArray[np.float64]:
    """A rotation, Hz, that is each for so many seconds."""
    return np.concatenate([np.full(round(seconds / STEP_S), hz) for hz, seconds in stretches])


def test_notes_that_change_every_two_seconds_are_a_tune() -> None:
    notes = rotation(*[(200 * SEMITONE**n, 1.9) for n in (0, 2, 4, 5, 7, 5, 4, 2, 0, 2)])
    assert leaps_like_a_tune(notes, step_s=STEP_S)
    slower = rotation(*[(200 * SEMITONE**n, 5.0) for n in (0, 2, 4, 5, 4, 2, 0)])
    assert not leaps_like_a_tune(slower, step_s=STEP_S)


def test_one_note_again_and_again_is_a_tune() -> None:
    assert leaps_like_a_tune(rotation(*[(200, 0.8), (np.nan, 0.2)] * 9), step_s=STEP_S)


def test_a_spindle_that_gives_way_and_comes_back_is_no_tune() -> None:
    # A motor without a governor takes some 0.3 s to its new speed [common practice].
    time_s = np.arange(0, 30, STEP_S)
    cut = (time_s % 2 > 0.8).astype(float)
    share = np.exp(-STEP_S / 0.3)
    sag = np.zeros(len(cut))
    for frame in range(1, len(cut)):
        sag[frame] = share * sag[frame - 1] + (1 - share) * cut[frame]
    assert not leaps_like_a_tune(300 * (1 - 0.12 * sag), step_s=STEP_S)


def test_next_to_nothing_is_no_tune() -> None:
    assert not leaps_like_a_tune(rotation((200, 0.07)), step_s=STEP_S)
    assert not leaps_like_a_tune(np.full(400, np.nan), step_s=STEP_S)
    assert not leaps_like_a_tune(rotation((200, 0.5), (250, 0.5), (200, 0.5)), step_s=STEP_S)
