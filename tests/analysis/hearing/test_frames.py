import numpy as np
import pytest

from analysis.hearing.frames import as_frames
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
