import numpy as np
import pytest

from analysis.hearing.frames import STANDS_S, as_frames
from analysis.hearing.spectra import FLOOR_EVERY, SpectrumGrid


def test_frames_are_set_against_their_floor_and_paired() -> None:
    grid = SpectrumGrid(8_000.0)
    rng = np.random.default_rng(1)
    powers = np.log(rng.exponential(size=(131, grid.bins))).astype(np.float32)
    bands = rng.normal(size=(131, 5)).astype(np.float32)
    told = as_frames(powers.astype(np.complex64), powers, bands, grid=grid)
    over = powers[:, ::FLOOR_EVERY] - told.log_floor
    # An odd frame at the end has no partner.
    assert told.steps.excess.shape == (65, grid.bins)
    paired = (over[0:130:2] + over[1:131:2]) / 2
    assert told.steps.excess[:, ::FLOOR_EVERY] == pytest.approx(paired, abs=1e-5)
    assert told.steps.bands == pytest.approx((bands[0:130:2] + bands[1:131:2]) / 2, abs=1e-6)
    assert len(told.steps.log_floor) == 65


def test_the_beginning_of_a_stretch_is_its_first_frames_and_steps() -> None:
    grid = SpectrumGrid(8_000.0)
    powers = np.log(np.random.default_rng(4).exponential(size=(131, grid.bins))).astype(np.float32)
    bands = np.zeros((131, 5), np.float32)
    told = as_frames(powers.astype(np.complex64), powers, bands, grid=grid)
    begun = told.until(40)
    for part, whole in ((begun, told), (begun.steps, told.steps)):
        steps = 40 if part is begun else 20
        assert np.array_equal(part.log_floor, whole.log_floor[:steps])
        assert np.array_equal(part.bands, whole.bands[:steps])
    assert np.array_equal(begun.spectra, told.spectra[:40])
    assert np.array_equal(begun.steps.excess, told.steps.excess[:20])


def test_what_stands_still_goes_and_what_stirs_stays() -> None:
    """A line all through, a line for less than half of the while, and one that glides."""
    grid = SpectrumGrid(8_000.0)
    rng = np.random.default_rng(2)
    count = round(4 * STANDS_S / grid.step_s)
    powers = np.log(rng.exponential(size=(count, grid.bins)))
    standing, sometimes = 60, 120
    gliding = 200 + np.arange(count) * 60 // count
    briefly = slice(count // 2, count // 2 + round(0.4 * STANDS_S / grid.step_s))
    for rows, columns in ((np.s_[:], standing), (briefly, sometimes), (np.arange(count), gliding)):
        powers[rows, columns] = 5.0
    frames = as_frames(
        powers.astype(np.complex64),
        powers.astype(np.float32),
        np.zeros((count, 1), np.float32),
        grid=grid,
    )
    before, after = frames.steps.excess, frames.that_stir().excess
    assert before[:, standing].mean() > 3
    assert abs(after[:, standing].mean()) < 0.5
    steps = np.arange(len(after))
    here = slice(briefly.start // 2 + 1, briefly.stop // 2 - 1)
    # The middle of the while is then among the highest sixth of the noise, ln 1.8.
    assert after[here, sometimes] == pytest.approx(before[here, sometimes], abs=0.6)
    assert np.median(after[steps, gliding[::2][: len(steps)]]) > 3


def test_a_take_shorter_than_a_while_stands_still_as_a_whole() -> None:
    grid = SpectrumGrid(8_000.0)
    powers = np.zeros((41, grid.bins), np.float32)
    powers[:, 60] = 5.0
    frames = as_frames(powers.astype(np.complex64), powers, powers[:, :1], grid=grid)
    assert frames.that_stir().excess[:, 60] == pytest.approx(0.0, abs=1e-5)
