import numpy as np
import numpy.typing as npt
import pytest

from analysis.hearing.overview import MOST_COLUMNS, ROWS, OverviewMaker
from analysis.hearing.spectra import SpectrumGrid

GRID = SpectrumGrid(16_000.0)
QUIET = -9.0


def quiet(frames: int) -> npt.NDArray[np.float32]:
    return np.full((frames, GRID.bins), QUIET, np.float32)


def test_a_click_and_a_tone_are_where_they_were() -> None:
    powers = quiet(200)
    powers[:, 300] = 1.0
    powers[120] = 2.0
    maker = OverviewMaker(GRID)
    maker.add(powers)
    told = maker.made()
    assert told.level_db.shape == (len(told.time_s), len(told.frequency_hz))
    # dB against the loudest cell; 10 lg of a power, ln being what came in.
    assert told.level_db.max() == 0
    click = int(np.argmax(told.level_db.mean(axis=1)))
    assert told.time_s[click] == pytest.approx(120 * GRID.step_s, abs=GRID.step_s)
    tone = int(np.argmax(told.level_db[5]))
    row_hz = told.frequency_hz[1] - told.frequency_hz[0]
    assert told.frequency_hz[tone] == pytest.approx(300 * GRID.bin_hz, abs=row_hz / 2 + 1)
    assert told.level_db[5, tone] == pytest.approx(10 * np.log10(np.exp(1.0 - 2.0)), abs=1e-4)
    assert told.level_db.min() == pytest.approx(10 * np.log10(np.exp(QUIET - 2.0)), abs=1e-4)


@pytest.mark.parametrize("frames", [5, 3_199, 3_204, 3_300, 13_500])
def test_a_take_of_any_length_keeps_its_span_and_its_loudest_moment(frames: int) -> None:
    powers = quiet(frames)
    powers[frames // 2] = 3.0
    maker = OverviewMaker(GRID)
    for first in range(0, frames, 64):
        maker.add(powers[first : first + 64])
    told = maker.made()
    assert len(told.time_s) <= MOST_COLUMNS
    assert len(told.frequency_hz) < 2 * ROWS
    column_s = 2 * float(told.time_s[0])
    assert np.diff(told.time_s) == pytest.approx(column_s)
    # All but the last column, if it is not full, is told.
    whole_s = frames * GRID.step_s
    assert whole_s - 2 * column_s < told.time_s[-1] + column_s / 2 <= whole_s + 1e-9
    loudest = int(np.argmax(told.level_db.max(axis=1)))
    at_s = frames // 2 * GRID.step_s
    assert abs(told.time_s[loudest] - at_s) <= column_s


def test_blocks_make_no_difference() -> None:
    powers = np.random.default_rng(1).normal(size=(300, GRID.bins)).astype(np.float32)
    whole, parts = OverviewMaker(GRID), OverviewMaker(GRID)
    whole.add(powers)
    for first in range(0, 300, 7):
        parts.add(powers[first : first + 7])
    assert np.array_equal(whole.made().level_db, parts.made().level_db)
    assert np.array_equal(whole.made().time_s, parts.made().time_s)


def test_no_sound_makes_an_empty_picture() -> None:
    told = OverviewMaker(GRID).made()
    assert told.level_db.shape == (0, len(told.frequency_hz))
    assert len(told.time_s) == 0
