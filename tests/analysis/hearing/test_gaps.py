from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.hearing.gaps import (
    CUT_LEFT,
    LONGEST_DWELL_S,
    RUB,
    SHORTEST_DWELL_S,
    SHORTEST_S,
    SURELY_STANDING_S,
    WAY_BACK_S,
    Break,
    cut_left_measure,
    name_breaks,
    rub_measure,
)

STEP_S = 0.0232
QUIET, RUBBING = 0.5, 9.0


def named(
    *lengths_s: float, rub: float = QUIET, cut_left: float | None = None, step_s: float = 0.01
) -> list[Break]:
    breaks, at = [], 0
    for length_s in lengths_s:
        breaks.append((at, at + round(length_s / step_s)))
        at = breaks[-1][1] + 500
    left = rub / 10 if cut_left is None else cut_left
    return name_breaks(breaks, rub=lambda *_: rub, cut_left=lambda *_: left, step_s=step_s)


@pytest.mark.parametrize(
    ("length_s", "quiet", "rubbing"),
    [
        (0.05, Break.NONE, Break.NONE),
        (0.11, Break.NONE, Break.NONE),
        (0.13, Break.LIFTOFF, Break.LIFTOFF),
        (0.29, Break.LIFTOFF, Break.LIFTOFF),
        (0.31, Break.LIFTOFF, Break.DWELL),
        (0.74, Break.LIFTOFF, Break.DWELL),
        (0.76, Break.DWELL, Break.DWELL),
        (1.51, Break.DWELL, Break.DWELL),
        (1.53, Break.WAY_BACK, Break.DWELL),
        (3.9, Break.WAY_BACK, Break.DWELL),
        (4.1, Break.WAY_BACK, Break.WAY_BACK),
        (60.0, Break.WAY_BACK, Break.WAY_BACK),
    ],
)
def test_a_break_is_named_by_its_length_and_its_rub(
    length_s: float, quiet: Break, rubbing: Break
) -> None:
    assert named(length_s, rub=QUIET) == [quiet]
    assert named(length_s, rub=RUBBING) == [rubbing]


def test_the_lengths_come_in_the_order_that_the_names_suppose() -> None:
    assert (
        SHORTEST_S < SHORTEST_DWELL_S < SURELY_STANDING_S < WAY_BACK_S < LONGEST_DWELL_S
    )  # fmt: skip


def test_how_much_rub_makes_a_long_break_a_dwell() -> None:
    assert named(2.0, rub=0.98 * RUB) == [Break.WAY_BACK]
    assert named(2.0, rub=1.02 * RUB) == [Break.DWELL]


def test_how_much_of_the_cut_makes_a_short_break_a_dwell() -> None:
    assert named(0.5, cut_left=0.98 * CUT_LEFT) == [Break.LIFTOFF]
    assert named(0.5, cut_left=1.02 * CUT_LEFT) == [Break.DWELL]


@pytest.mark.parametrize("share", [0.0, 0.1, 0.5, 1.0])
def test_what_is_left_of_the_cut_is_its_share_on_the_way_from_free_to_cut(share: float) -> None:
    # By definition: features that lie that far along the way, here without any noise.
    contact = np.zeros(300, bool)
    contact[100:180] = contact[220:260] = True
    features = np.zeros((300, 4))
    features[contact] = [2.0, -1.0, 0.5, 3.0]
    features[180:220] = share * np.array([2.0, -1.0, 0.5, 3.0])
    left = cut_left_measure(features, contact=contact, settled=~contact, step_s=STEP_S)
    assert left(180, 220) == pytest.approx(share, abs=1e-9)


def test_where_running_free_drifts_more_rub_is_called_for() -> None:
    # The six seconds are surely the way back; sounding 3 off, they make 3 usual.
    def rub(first: int, end: int) -> float:
        return 3.0 if end - first == 600 else 4.0

    breaks = [(0, 600), (900, 1100)]
    assert name_breaks(breaks, rub=rub, cut_left=lambda *_: 0.0, step_s=0.01) == [
        Break.WAY_BACK,
        Break.WAY_BACK,
    ]
    assert name_breaks(breaks[1:], rub=rub, cut_left=lambda *_: 0.0, step_s=0.01) == [Break.DWELL]


@given(
    lengths_s=st.lists(st.floats(0.02, 9), max_size=6),
    rub=st.floats(0, 10),
    finer=st.sampled_from([2, 5]),
)
def test_each_break_gets_a_name_whatever_the_step(
    lengths_s: list[float], rub: float, finer: int
) -> None:
    lengths_s = [round(length_s, 1) + 0.05 for length_s in lengths_s]  # off the limits
    coarse = named(*lengths_s, rub=rub, step_s=0.01)
    assert len(coarse) == len(lengths_s)
    assert named(*lengths_s, rub=rub, step_s=0.01 / finer) == coarse


def measured(
    *, offset: float = 0.0, seed: int = 1, free_s: float = 20.0, gap_s: float = 1.0
) -> tuple[Callable[[int, int], float], tuple[int, int], npt.NDArray[np.float64]]:
    """A take of free running with one cut; in it a break that lies `offset` off running free."""
    rng = np.random.default_rng(seed)
    free, cut, gap = (round(s / STEP_S) for s in (free_s, 3.0, gap_s))
    count = free + 2 * cut + gap
    features = rng.normal(0, 0.5, (count, 6))
    contact = np.zeros(count, bool)
    contact[free : free + cut] = contact[free + cut + gap :] = True
    features[contact] += 3
    where = (free + cut, free + cut + gap)
    features[slice(*where)] += offset
    rub = rub_measure(
        features, contact=contact, settled=~contact, breaks=[where], step_s=STEP_S
    )  # fmt: skip
    return rub, where, features


def test_a_break_that_is_running_free_measures_under_one() -> None:
    told = []
    for seed in range(12):
        rub, where, _ = measured(seed=seed)
        told.append(rub(*where))
    # Less of it than sqrt(block / length) = 0.63 as the scale has a floor; never over RUB.
    assert 0.1 < float(np.mean(told)) < 1.0
    assert max(told) < RUB


@given(offset=st.floats(0.8, 3))
def test_the_further_off_a_break_lies_the_more_it_measures(offset: float) -> None:
    near, where, _ = measured(offset=offset)
    far, _, _ = measured(offset=1.5 * offset)
    assert RUB < near(*where) <= far(*where)


def test_the_doubtful_break_itself_does_not_teach_what_running_free_is() -> None:
    # Without that the two seconds between the cuts would outvote the two before them.
    rub, where, _ = measured(offset=2.0, free_s=2.0, gap_s=2.6)
    assert rub(*where) > RUB


def test_the_measure_stands_on_what_lies_inside_the_edges() -> None:
    rub, (first, end), features = measured()
    before = rub(first, end)
    features[first : first + 4] += 50  # reverberation: the first tenth of a second
    features[end - 4 : end] += 50
    assert rub(first, end) == before


@pytest.mark.parametrize("free_s", [0.0, 0.5])
def test_without_running_free_nothing_is_a_rub(free_s: float) -> None:
    rub, where, _ = measured(offset=4.0, free_s=free_s)
    assert rub(*where) == 0
