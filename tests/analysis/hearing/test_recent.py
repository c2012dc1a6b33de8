"""What is kept of the last stretch of a take stays as small as it is told to."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.hearing.recent import REFERENCE_S, RecentCourse, RecentSound, Reference
from analysis.hearing.spectra import SpectrumGrid, spectrum
from analysis.hearing.trace import joined
from analysis.hearing.turning import TEETH, Turning

GRID = SpectrumGrid(8_000.0)
STEP_S = 0.02


def heard(count: int, rpm: float) -> Turning:
    return Turning(
        rotation_hz=np.full(count, rpm / 60),
        deviation_hz=np.full(count, 0.1),
        cutting=np.ones(count, bool),
        lead=np.arange(count, dtype=float),
        sureness=np.ones(count),
        teeth=np.ones((count, TEETH), np.float32),
        voices=None,
    )


def course(count: int = 0, most: int = 100) -> RecentCourse:
    made = RecentCourse(step_s=STEP_S, bands=3, most=most)
    if count:
        made.grow(np.zeros((count, 3), np.float32))
    return made


def test_sound_is_forgotten_in_whole_parts() -> None:
    recent = RecentSound(GRID, most=20)
    rng = np.random.default_rng(0)
    for part in range(50):
        recent.add(rng.standard_normal((4, GRID.length)).astype(np.float32))
        assert recent.end == 4 * (part + 1)
        assert recent.kept <= 20 + 3
    assert len(recent.frames(recent.kept).spectra) == 20
    assert len(recent.frames(6).spectra) == 8  # whole parts, the newest


def test_what_is_kept_stays_as_it_was_while_room_is_made() -> None:
    """Often enough for all to be moved several times; held against each part's own spectra."""
    recent, rng, whole = RecentSound(GRID, most=100), np.random.default_rng(2), []
    for _ in range(200):
        part = rng.standard_normal((4, GRID.length)).astype(np.float32)
        recent.add(part)
        whole.append(spectrum(part, grid=GRID)[:, : GRID.bins])
    np.testing.assert_array_equal(recent.frames(100).spectra, np.concatenate(whole[-25:]))


def test_a_view_stays_as_it_is_for_as_long_as_was_asked() -> None:
    recent, rng = RecentSound(GRID, most=400), np.random.default_rng(3)
    for part in range(300):
        if part % 12 == 0:
            view = recent.frames(200, still_for=48)
            as_it_was = view.spectra.copy()
        recent.add(rng.standard_normal((4, GRID.length)).astype(np.float32))
        np.testing.assert_array_equal(view.spectra, as_it_was)


def test_the_newest_frames_are_the_newest() -> None:
    recent = RecentSound(GRID, most=20)
    for loudness in (1.0, 10.0, 100.0):
        noise = np.random.default_rng(1).standard_normal((4, GRID.length))
        recent.add((loudness * noise).astype(np.float32))
    newest, whole = recent.frames(4), recent.frames(12)
    np.testing.assert_array_equal(newest.spectra, whole.spectra[-4:])
    # Ten times the amplitude is 20 dB, 2 ln 10 in the logarithm of power.
    assert np.diff(whole.bands[::4], axis=0) == pytest.approx(2 * np.log(10), rel=1e-5)


def test_a_course_forgets_and_numbers_its_frames() -> None:
    one = course()
    for _ in range(60):
        one.grow(np.zeros((4, 3), np.float32))
    assert (one.first, one.end) == (140, 240)
    assert len(one.trace.lead) == 100
    assert not one.trace.running.any()


def test_what_is_heard_anew_replaces_only_what_is_provisional() -> None:
    one = course(40)
    one.splice(heard(40, 18_000), from_frame=0)
    one.splice(heard(20, 12_000), from_frame=30)
    assert (60 * one.trace.rotation_hz).tolist() == [18_000.0] * 30 + [12_000.0] * 10
    assert one.trace.lead[-10:].tolist() == list(range(10, 20))


def test_what_was_heard_up_to_a_frame_is_put_in_up_to_there() -> None:
    made = course(100)
    made.grow(np.zeros((20, 3), np.float32))
    made.splice(heard(30, 18_000.0), from_frame=0, end=110)
    frames = made.first + np.flatnonzero(np.isfinite(made.trace.rotation_hz))
    assert (frames[0], frames[-1]) == (80, 109)
    assert made.trace.lead[109 - made.first] == 29


def test_frames_already_forgotten_are_not_put_in() -> None:
    one = course(150)
    one.splice(heard(150, 18_000), from_frame=20)
    assert np.isfinite(one.trace.rotation_hz).all()
    assert one.trace.lead[0] == 50


def test_examples_are_kept_to_a_few_seconds_the_latest_first() -> None:
    reference = Reference()
    most = round(REFERENCE_S / STEP_S)
    for speed in range(1, 20):
        one = course(90, most=90)
        one.splice(heard(90, 60.0 * speed), from_frame=0)
        reference.learn(one.trace, free=np.arange(90) % 3 > 0, cut=np.arange(90) % 3 == 0)
    assert reference.free is not None
    assert reference.cut is not None
    assert len(reference.free.lead) == most
    assert len(reference.cut.lead) == most
    assert reference.free.rotation_hz[-60:].tolist() == [19.0] * 60
    assert reference.cut.rotation_hz[-30:].tolist() == [19.0] * 30
    # Of 400 frames, 60 at each speed down to 14 and 40 at 13; 30 at each down to 7, 10 at 6.
    assert reference.speeds_hz() == (16.0, 13.0)


def test_traces_are_joined_in_order() -> None:
    one, other = course(3), course(2)
    one.splice(heard(3, 60.0), from_frame=0)
    other.splice(heard(2, 120.0), from_frame=0)
    whole = joined(one.trace, other.trace)
    assert whole.rotation_hz.tolist() == [1.0, 1.0, 1.0, 2.0, 2.0]
    assert whole.step_s == STEP_S
    assert whole.teeth.shape == (5, TEETH)
