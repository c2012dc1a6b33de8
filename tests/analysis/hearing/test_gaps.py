from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st

from analysis.hearing.gaps import (
    BLOCK_S,
    DWELLS,
    EDGE_S,
    FALTERS,
    IMPOSSIBLE,
    LIFT_OFFS,
    MOST_ODDS,
    NEVER_BACK_S,
    RUB_LEVELS,
    SHORTEST_S,
    WAY_BACK_S,
    WAYS_BACK,
    Break,
    HeardBreak,
    chances,
    cut_left_measure,
    rub_measure,
)

STEP_S = 0.0232
FREE = 2.3  # more than a break that is running free may measure


def broken(
    length_s: float,
    *,
    rub: float,
    left: float,
    left_sd: float,
    hiss: float = 0.0,
    relief: float | None = None,
    at_one_setting: bool = True,
) -> HeardBreak:
    return HeardBreak(
        length_s,
        at_one_setting=at_one_setting,
        rub=rub,
        left=left,
        left_sd=left_sd,
        hiss=hiss,
        hiss_sd=0.08,
        relief=relief,
    )


def told(
    length_s: float,
    *,
    rub: float = 0.7,
    left: float = 0.0,
    left_sd: float = 0.08,
    hiss: float = 0.0,
    relief: float | None = None,
) -> dict[Break, float]:
    heard = broken(length_s, rub=rub, left=left, left_sd=left_sd, hiss=hiss, relief=relief)
    return chances([heard])[0]


def likeliest(length_s: float, **heard: float) -> Break:
    kinds = told(length_s, **heard)
    return max(kinds, key=lambda kind: kinds[kind])


@pytest.mark.parametrize(
    ("length_s", "quiet", "rubbing"),
    [
        (0.05, Break.NONE, Break.NONE),
        (0.11, Break.NONE, Break.NONE),
        (0.35, Break.LIFTOFF, Break.DWELL),
        (0.9, Break.DWELL, Break.DWELL),  # hands do not lift off for that long
        (1.8, Break.WAY_BACK, Break.DWELL),
        (3.0, Break.WAY_BACK, Break.DWELL),
        (20.0, Break.WAY_BACK, Break.WAY_BACK),
    ],
)
def test_a_break_by_itself_is_named_by_its_length_and_its_rub(
    length_s: float, quiet: Break, rubbing: Break
) -> None:
    assert likeliest(length_s) is quiet
    assert likeliest(length_s, rub=4.0, left=0.5) is rubbing


def test_the_lengths_come_in_the_order_that_the_names_suppose() -> None:
    assert SHORTEST_S < FALTERS.middle_s < LIFT_OFFS.middle_s < DWELLS.middle_s
    assert LIFT_OFFS.middle_s < NEVER_BACK_S < WAY_BACK_S < WAYS_BACK.middle_s


def test_while_chips_fly_the_feed_has_only_faltered() -> None:
    assert likeliest(0.25, rub=4.0, left=0.8, hiss=0.6) is Break.NONE
    assert likeliest(0.25, rub=4.0, left=0.8, hiss=0.05) is Break.DWELL
    assert likeliest(1.2, rub=4.0, left=0.8, hiss=0.4) is Break.DWELL  # nobody falters that long


@given(low=st.floats(-0.1, 0.9), more=st.floats(0.01, 0.5))
def test_the_more_hiss_the_less_it_stands(low: float, more: float) -> None:
    less, much = (told(0.3, rub=3.0, left=0.7, hiss=hiss) for hiss in (low, low + more))
    for_none = [kinds[Break.NONE] - kinds[Break.DWELL] for kinds in (less, much)]
    # Between the two middles at least; far beyond both the wider of two bells leads anyhow.
    assert for_none[0] < for_none[1]


def test_where_the_load_is_off_the_feed_has_not_only_faltered() -> None:
    heard = {"rub": 3.0, "left": 0.6, "hiss": 0.6}
    assert likeliest(0.4, **heard) is Break.NONE
    assert likeliest(0.4, relief=0.9, **heard) is Break.DWELL


def test_where_the_load_stays_on_the_edge_does_not_stand() -> None:
    # A motor wins back two thirds of its sag in one time constant, some tenths of a second.
    heard = {"rub": 2.0, "left": 0.4, "hiss": 0.3}
    assert likeliest(1.5, **heard) is Break.DWELL
    assert likeliest(1.5, relief=0.9, **heard) is Break.DWELL
    assert likeliest(1.5, relief=0.1, **heard) is Break.NONE


def test_a_kind_is_likeliest_where_it_lasts_as_it_mostly_does() -> None:
    for kind in (DWELLS, LIFT_OFFS, WAYS_BACK):
        lengths_s = np.geomspace(kind.middle_s / 9, kind.middle_s * 9, 401)
        best = max(lengths_s, key=kind.chance)
        assert best == pytest.approx(kind.middle_s, rel=0.012)  # the grid's step
        # Log-normal: one spread off costs half a nat.
        off = kind.chance(kind.middle_s * float(np.exp(kind.spread)))
        assert kind.chance(kind.middle_s) - off == pytest.approx(0.5)


def test_where_the_router_was_off_between_nobody_stood_in_the_wood() -> None:
    off, blinked = chances(
        [
            broken(seconds, at_one_setting=False, rub=9.0, left=0.9, left_sd=0.05)
            for seconds in (1.0, 0.6)
        ]
    )
    assert off[Break.WAY_BACK] - off[Break.LIFTOFF] > 90
    assert Break.DWELL not in off
    assert IMPOSSIBLE < -90
    # Nobody switches it off and on again in so short a time: it was only not heard.
    assert Break.WAY_BACK not in blinked


@given(
    low=st.floats(-0.2, 0.7), more=st.floats(0.02, 0.5), length_s=st.floats(0.2, 4.0),
    rub=st.floats(0.3, 6.0),
)  # fmt: skip
def test_the_more_of_the_cut_is_left_the_likelier_it_stands(
    low: float, more: float, length_s: float, rub: float
) -> None:
    one, two = (told(length_s, rub=rub, left=left)[Break.DWELL] for left in (low, low + more))
    assert one <= two + 1e-9


@given(rub=st.floats(0.01, 12), left=st.floats(-1, 2), length_s=st.floats(0.12, 60))
def test_no_sound_turns_over_everything(rub: float, left: float, length_s: float) -> None:
    heard = told(length_s, rub=rub, left=left)
    assert all(np.isfinite(chance) for chance in heard.values())
    assert abs(heard[Break.DWELL] - DWELLS.chance(length_s)) <= MOST_ODDS + 1e-9


def test_beside_a_rub_that_was_plain_a_silent_break_is_hardly_a_dwell() -> None:
    def standing(*lefts: float) -> list[float]:
        heard = [broken(0.6, rub=0.7, left=left, left_sd=0.03) for left in lefts]
        return [kinds[Break.DWELL] - kinds[Break.LIFTOFF] for kinds in chances(heard)]

    assert standing(0.5, 0.03)[1] < standing(0.03)[0] - 0.3
    assert standing(0.5, 0.03)[1] < 0 < standing(0.5, 0.45)[1]


def test_the_levels_of_rub_are_eighths_of_an_exponential() -> None:
    # The middle of each eighth by scipy's own quantiles.
    assert pytest.approx(scipy.stats.expon(scale=0.28).ppf((np.arange(8) + 0.5) / 8)) == RUB_LEVELS


def test_without_a_measure_the_length_decides() -> None:
    assert told(2.5, rub=0.0, left=0.9)[Break.DWELL] == pytest.approx(DWELLS.chance(2.5))


@pytest.mark.parametrize("share", [0.0, 0.1, 0.5, 1.0])
def test_what_is_left_of_the_cut_is_its_share_on_the_way_from_free_to_cut(share: float) -> None:
    # By definition: features that lie that far along the way, here without any noise.
    contact = np.zeros(300, bool)
    contact[100:180] = contact[220:260] = True
    features = np.zeros((300, 4))
    features[contact] = [2.0, -1.0, 0.5, 3.0]
    features[180:220] = share * np.array([2.0, -1.0, 0.5, 3.0])
    left = cut_left_measure(features, contact=contact, settled=~contact, step_s=STEP_S)
    assert left.measure(180, 220) == pytest.approx(share, abs=1e-9)


def test_how_far_running_free_itself_strays_is_read_in_blocks() -> None:
    rng = np.random.default_rng(5)
    contact = np.zeros(6000, bool)
    contact[3000:3500] = True
    features = rng.normal(0, 0.5, (6000, 1)) + 2.0 * contact[:, None]
    left = cut_left_measure(features, contact=contact, settled=~contact, step_s=STEP_S)
    # Means of 13 independent frames, in shares of a step of 2; some 400 blocks.
    expected = 0.5 / round(BLOCK_S / STEP_S) ** 0.5 / 2
    assert left.sd == pytest.approx(expected, rel=4 * 1.17 / 400**0.5)


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
    # Less of it than sqrt(block / length) = 0.63 as the scale has a floor; never over FREE.
    assert 0.1 < float(np.mean(told)) < 1.0
    assert max(told) < FREE


@given(offset=st.floats(0.8, 3))
def test_the_further_off_a_break_lies_the_more_it_measures(offset: float) -> None:
    near, where, _ = measured(offset=offset)
    far, _, _ = measured(offset=1.5 * offset)
    assert FREE < near(*where) <= far(*where)


def test_the_doubtful_break_itself_does_not_teach_what_running_free_is() -> None:
    # Without that the two seconds between the cuts would outvote the two before them.
    rub, where, _ = measured(offset=2.0, free_s=2.0, gap_s=2.6)
    assert rub(*where) > FREE


def test_the_measure_stands_on_what_lies_inside_the_edges() -> None:
    rub, (first, end), features = measured()
    before = rub(first, end)
    features[first : first + 4] += 50  # reverberation: the first tenth of a second
    features[end - 4 : end] += 50
    assert rub(first, end) == before


def test_a_knock_is_no_rub() -> None:
    rub, (first, end), features = measured()
    inner = first + round(EDGE_S / STEP_S) + 5
    features[inner : inner + 5] += 50  # a tenth of a second of a whole one
    assert rub(first, end) < FREE


@pytest.mark.parametrize("free_s", [0.0, 0.5])
def test_without_running_free_nothing_is_a_rub(free_s: float) -> None:
    rub, where, _ = measured(offset=4.0, free_s=free_s)
    assert rub(*where) == 0
