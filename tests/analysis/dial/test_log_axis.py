"""The log frequency axis: percentiles over time, and chunks in pairs."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.dial.log_axis import LOWEST_HZ, in_pairs, log_axis, over_time
from analysis.hearing.orders import LOG_STEP
from analysis.hearing.spectra import SpectrumGrid


@given(rows=st.integers(1, 40), percent=st.integers(0, 100), seed=st.integers(0, 99))
def test_a_percentile_over_time_is_numpys(rows: int, percent: int, seed: int) -> None:
    values = np.random.default_rng(seed).normal(size=(rows, 7)).astype(np.float32)
    # Oracle: numpy's own, linear between ranks; both work in single precision.
    expected = np.percentile(values, percent, axis=0)
    assert over_time(values, percent) == pytest.approx(expected, rel=1e-5, abs=1e-6)


def test_two_chunks_as_one_say_what_they_say_together() -> None:
    # Evidence adds up, heights are means; five chunks make two pairs, and one is left out.
    excess = np.random.default_rng(1).normal(size=(40, 50)).astype(np.float32)
    axis = log_axis(excess, excess, grid=SpectrumGrid(48_000), reach=5)
    rough = in_pairs(axis)
    assert rough.gains.shape == (len(axis.gains), 2, 50)
    assert rough.gains[:, 1] == pytest.approx(axis.gains[:, 2] + axis.gains[:, 3], abs=1e-4)
    assert rough.mean[0] == pytest.approx(excess[:16].mean(axis=0), abs=1e-5)
    assert rough.chunk_s == 2 * axis.chunk_s
    assert rough.fewest_chunks == axis.fewest_chunks / 2


def test_a_cell_is_a_quarter_of_a_percent() -> None:
    assert LOWEST_HZ * np.exp(400 * LOG_STEP) == pytest.approx(110 * np.e)  # 400 * 0.0025 = 1
