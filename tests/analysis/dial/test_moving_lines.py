"""Lines that move together."""

import numpy as np

from analysis.dial.log_axis import log_axis
from analysis.dial.moving_lines import sounding_lines
from analysis.hearing.spectra import SpectrumGrid


def test_of_no_lines_none_sounds() -> None:
    silence = np.zeros((80, 500), np.float32)
    axis = log_axis(silence, silence, grid=SpectrumGrid(16_000.0), reach=20)
    lines, soundings = sounding_lines(axis, np.zeros(0, np.int64), np.full(10, 20))
    assert len(lines) == len(soundings) == 0
