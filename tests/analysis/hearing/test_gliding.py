"""Tones whose frequency is known at every moment: scipy's chirps and their definition."""

import numpy as np
import numpy.typing as npt
import pytest
import scipy.signal
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.hearing.gliding import (
    AROUND_FRAMES,
    followed_closely,
    glide_of,
    gliding,
    unbent,
)
from analysis.hearing.spectra import FLOOR_EVERY, Framer, SpectrumGrid, spectrum

FloatArray = npt.NDArray[np.floating]
GRID = SpectrumGrid(16_000.0)
RATE = 16_000


def spectra_of(samples: FloatArray) -> npt.NDArray[np.complex64]:
    framer = Framer(GRID)
    frames = framer.frames(samples.astype(np.float32), multiple=1).copy()
    return spectrum(np.concatenate([frames, framer.rest()]), grid=GRID)[:, : GRID.bins]


@given(tone_hz=st.floats(400, 4_000), glide=st.floats(-0.6, 0.6))
@settings(max_examples=30, deadline=None)
def test_a_gliding_tone_unbent_is_a_line_where_it_is_at_the_frames_centre(
    tone_hz: float, glide: float
) -> None:
    time_s = np.arange(RATE) / RATE
    frame = 20
    centre_s = frame * GRID.step_s
    # scipy's chirp: from f0 at 0 to f1 at t1, its frequency a straight line.
    low_hz, high_hz = (tone_hz * (1 + glide * (t - centre_s)) for t in (0.0, 1.0))
    sound = scipy.signal.chirp(time_s, f0=low_hz, t1=1.0, f1=high_hz, method="linear")
    steady = np.cos(2 * np.pi * tone_hz * time_s)
    bent = spectra_of(sound)[frame : frame + 1]
    straight = np.abs(unbent(bent, np.array([glide]), grid=GRID)[0])
    line = np.abs(spectra_of(steady)[frame])
    assert abs(float(np.argmax(straight)) - tone_hz / GRID.bin_hz) < 0.6
    # The clock runs fast on one side of the frame and slow on the other, by a thirtieth at most.
    assert straight.max() == pytest.approx(line.max(), rel=0.06)


def test_without_a_glide_nothing_changes() -> None:
    rng = np.random.default_rng(1)
    spectra = spectra_of(rng.normal(size=RATE))[3:-3]
    told = unbent(spectra, np.zeros(len(spectra)), grid=GRID)
    # All but the top bin, which the finer sampling holds once and the coarser one twice.
    assert np.allclose(told[:, 1:-1], spectra[:, 1:-1], atol=1e-3 * np.abs(spectra).max())


def sagging(time_s: FloatArray) -> FloatArray:
    """A motor of first order: 250 Hz, a fifth less in the cut, with a lag of 0.25 s."""
    cut = 1 - np.exp(-np.clip(time_s - 1, 0, None) / 0.25)
    free = 1 - np.exp(-np.clip(time_s - 2, 0, None) / 0.25)
    return np.asarray(250 * (1 - 0.2 * (cut - free)))


def test_a_sagging_spindle_is_followed_closely() -> None:
    rng = np.random.default_rng(2)
    time_s = np.arange(3 * RATE) / RATE
    true_hz = sagging(time_s)
    angle = 2 * np.pi * np.cumsum(true_hz) / RATE
    orders = np.array([1, 2, 4, 6, 8, 12, 16, 20])
    sound = np.cos(angle[:, None] * orders + rng.uniform(0, 6, len(orders))).sum(axis=1)
    sound += rng.normal(size=len(sound))
    spectra = spectra_of(sound)[2:-2]
    centre_s = (2 + np.arange(len(spectra))) * GRID.step_s
    true_hz = sagging(centre_s)
    # A course as a coarse search leaves it: late, and in steps.
    coarse = 250 * np.exp(0.0025 * np.rint(np.log(sagging(centre_s - 0.03) / 250) / 0.0025))
    spread = np.log(np.full(GRID.bins, (GRID.window.astype(float) ** 2).sum()))
    floor = np.tile(spread[::FLOOR_EVERY].astype(np.float32), (len(spectra), 1))
    fast = gliding(coarse, step_s=GRID.step_s)
    assert fast[(centre_s > 1.05) & (centre_s < 1.3)].all()
    assert not fast[centre_s < 0.9 - AROUND_FRAMES * GRID.step_s].any()
    told, straight = followed_closely(spectra, floor, coarse, orders=orders, grid=GRID)
    # Not every frame is unbent in every round, and yet lines hold nearly all the power that they
    # hold unbent by the true glide; the highest, read between samples, a few percent less.
    true_glide = glide_of(np.asarray(true_hz, np.float64), step_s=GRID.step_s)
    by_truth = unbent(spectra, true_glide, grid=GRID)
    cells = np.rint(true_hz[:, None] * orders / GRID.bin_hz).astype(int)
    rows = np.arange(len(cells))[:, None]
    lines = [np.sum(np.abs(part[rows, cells]) ** 2, axis=1) for part in (straight, by_truth)]
    assert np.median(lines[0] / lines[1]) == pytest.approx(1, abs=0.04)
    assert np.percentile(lines[0] / lines[1], 5) > 0.8
    inner = (centre_s > 0.5) & (centre_s < 2.7)
    before, after = (np.abs(track / true_hz - 1)[inner] for track in (coarse, told))
    assert np.percentile(before, 95) > 0.01
    # At the corners, where the load comes and goes, no parabola fits.
    assert np.percentile(after, 95) < 0.004
    assert np.median(after) < 0.0005


def test_the_glide_of_an_exponential_is_its_rate() -> None:
    time_s = GRID.step_s * np.arange(60)
    assert glide_of(200 * np.exp(-0.3 * time_s), step_s=GRID.step_s) == pytest.approx(
        np.full(60, -0.3), rel=2e-3
    )
    steady = np.full(60, 200.0)
    steady[:20] = np.nan
    assert not gliding(steady, step_s=GRID.step_s).any()
