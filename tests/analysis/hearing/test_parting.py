import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import multivariate_normal

from analysis.hearing.gaps import IMPOSSIBLE, Break
from analysis.hearing.parting import (
    CUT_OFF,
    JOBS_SPREAD,
    MOST_AT_ONCE,
    MOST_TOGETHER,
    PASS_SPREADS,
    SHORTEST_PASS_S,
    SPREADS_SHARES,
    TOUCH,
    USUAL_PASS_S,
    alike,
    parted,
)

# By its length a break of some two seconds is more often a way back.
OPEN = {Break.DWELL: -2.0, Break.LIFTOFF: -6.0, Break.WAY_BACK: 0.0}


@given(st.lists(st.floats(0.7, 60), min_size=1, max_size=7))
def test_passes_are_as_likely_as_their_normal_says(times_s: list[float]) -> None:
    # The same by scipy's multivariate normal, averaged over the spreads.
    count = len(times_s)
    off = np.log(np.array(times_s) / USUAL_PASS_S)
    each = [
        multivariate_normal(np.zeros(count), spread**2 * np.eye(count) + JOBS_SPREAD**2).pdf(off)
        for spread in PASS_SPREADS
    ]
    with np.errstate(divide="ignore"):
        expected = np.log(np.dot(SPREADS_SHARES, each))
    if expected > -600:  # scipy's density has not yet run out
        assert alike(np.array(times_s)) == pytest.approx(expected, rel=1e-6, abs=1e-6)


def test_no_pass_says_nothing() -> None:
    assert alike(np.zeros(0)) == pytest.approx(0, abs=1e-12)


def kinds(
    contact_s: list[float],
    chances: list[dict[Break, float]],
    *,
    removed_s: list[float] | None = None,
    first_whole: bool = True,
    last_whole: bool = True,
) -> list[Break]:
    told = parted(
        chances,
        contact_s=np.array(contact_s),
        removed_s=np.array(removed_s or contact_s),
        first_whole=first_whole,
        last_whole=last_whole,
    )
    return [name.kind for name in told]


def named(contact_s: list[float], chances: list[dict[Break, float]] | None = None) -> list[Break]:
    return kinds(contact_s, chances or [OPEN] * (len(contact_s) - 1))


def test_pieces_that_make_up_a_usual_pass_are_one() -> None:
    back, stood = Break.WAY_BACK, Break.DWELL
    assert named([6.0, 6.2, 2.0, 4.1, 5.9]) == [back, back, stood, back]
    assert named([6.0, 6.2, 5.8, 6.1, 5.9]) == [back] * 4


def test_a_slow_pass_is_no_two_and_a_hurried_one_no_half() -> None:
    # The third took twice as long for the same wood, in two pieces, the last half as long.
    contact_s, removed_s = [6.0, 6.2, 6.0, 6.1, 3.0], [6.0, 6.1, 2.9, 3.1, 6.1]
    back, stood = Break.WAY_BACK, Break.DWELL
    assert kinds(contact_s, [OPEN] * 4, removed_s=removed_s) == [back, back, stood, back]


def test_a_break_that_sounds_plainly_is_not_argued_away() -> None:
    rubbing = {Break.DWELL: 0.0, Break.WAY_BACK: -30.0}
    assert named([6.0, 6.2, 6.1], [OPEN, rubbing]) == [Break.WAY_BACK, Break.DWELL]


def test_the_likeliest_kind_inside_a_pass_is_told() -> None:
    lifted = {Break.DWELL: -3.0, Break.LIFTOFF: -1.0}
    nothing = {Break.NONE: 0.0}
    assert named([2.0, 2.0, 2.0], [lifted, nothing]) == [Break.LIFTOFF, Break.NONE]


def test_a_touch_before_the_first_pass_is_not_taken_into_it() -> None:
    away = {Break.DWELL: -6.0, Break.WAY_BACK: 0.0}
    assert named([0.2, 6.0, 6.1], [away, OPEN]) == [Break.WAY_BACK, Break.WAY_BACK]


def test_contact_that_takes_nothing_off_is_no_pass_and_part_of_none() -> None:
    # A soft start may sound like a cut for seconds; but no chips fly.
    away = {Break.DWELL: -6.0, Break.WAY_BACK: 0.0}
    contact_s, removed_s = [1.9, 6.0, 6.1], [0.02, 6.1, 6.0]
    assert kinds(contact_s, [away, OPEN], removed_s=removed_s) == [Break.WAY_BACK] * 2


def test_a_pass_of_which_a_part_is_missing_need_not_be_like_the_others() -> None:
    whole = kinds([1.5, 6.0, 6.1], [OPEN, OPEN])
    begun = kinds([1.5, 6.0, 6.1], [OPEN, OPEN], first_whole=False)
    assert whole[0] is Break.DWELL
    assert begun == [Break.WAY_BACK, Break.WAY_BACK]


def test_a_pass_that_has_only_just_begun_is_no_touch() -> None:
    told = kinds([6.0, 0.1], [OPEN], last_whole=False)
    assert told == [Break.WAY_BACK]
    over = kinds([6.0, 0.1], [OPEN])
    assert over == [Break.DWELL]


def by_definition(contact_s: list[float], chances: list[dict[Break, float]]) -> float:
    """The best score of all ways to name the breaks."""
    best = -np.inf
    for kinds in itertools.product(*chances):
        times_s, score = [contact_s[0]], 0.0
        for kind, chance, more_s in zip(kinds, chances, contact_s[1:], strict=True):
            score += chance[kind]
            if kind is Break.WAY_BACK:
                times_s.append(more_s)
            else:
                times_s[-1] += more_s
        passes = [t for t in times_s if t >= SHORTEST_PASS_S]
        score += TOUCH * (len(times_s) - len(passes)) + alike(np.array(passes))
        best = max(best, score)
    return best


def contact(least_s: float) -> st.SearchStrategy[list[float]]:
    return st.lists(st.floats(least_s, 9), min_size=2, max_size=5)


def leads() -> st.SearchStrategy[list[float]]:
    return st.lists(st.floats(-6, 6), min_size=4, max_size=4)


def by_lead(contact_s: list[float], off: list[float]) -> list[dict[Break, float]]:
    return [{Break.DWELL: 0.0, Break.WAY_BACK: o} for o in off[: len(contact_s) - 1]]


@given(contact_s=contact(0.1), off=leads())
@settings(max_examples=60, deadline=None)
def test_few_breaks_are_named_best_of_all(contact_s: list[float], off: list[float]) -> None:
    chances = by_lead(contact_s, off)
    told = named(contact_s, chances)
    fixed = [{kind: chance[kind]} for kind, chance in zip(told, chances, strict=True)]
    assert by_definition(contact_s, fixed) == pytest.approx(by_definition(contact_s, chances))


def test_two_breaks_that_only_together_make_passes_alike_are_found() -> None:
    # Halves, each of which alone would leave a pass of nine seconds beside one of three.
    contact_s = [*([6.0, 6.3, 5.8] * 4), 3.0, 3.1, 3.1, 2.9]
    assert len(contact_s) > MOST_AT_ONCE
    told = named(contact_s)
    assert [place for place, kind in enumerate(told) if kind is Break.DWELL] == [12, 14]


def test_the_breaks_of_a_long_day_are_named_as_those_of_a_take() -> None:
    # All pairs of so many breaks at once would take hundreds of megabytes.
    day = [*([6.0, 6.3, 5.8] * 100), 2.9, 3.1, *([6.0, 6.3, 5.8] * 100)]
    assert len(day) > 8 * MOST_TOGETHER
    told = named(day)
    assert [place for place, kind in enumerate(told) if kind is Break.DWELL] == [300]


@given(contact_s=contact(0.7), off=leads())
@settings(max_examples=30, deadline=None)
def test_how_far_the_opposite_is_behind_is_told(contact_s: list[float], off: list[float]) -> None:
    chances = by_lead(contact_s, off)
    each_s = np.array(contact_s)
    told = parted(chances, contact_s=each_s, removed_s=each_s, first_whole=True, last_whole=True)
    best = [{name.kind: c[name.kind]} for name, c in zip(told, chances, strict=True)]
    for place, name in enumerate(told):
        (other,) = {Break.DWELL, Break.WAY_BACK} - {name.kind}
        turned = [*best[:place], {other: chances[place][other]}, *best[place + 1 :]]
        behind = by_definition(contact_s, best) - by_definition(contact_s, turned)
        assert name.parts_otherwise == pytest.approx(behind, abs=1e-6)
        assert name.parts_otherwise >= -1e-9


def test_whether_it_stood_or_only_faltered_is_told_by_how_much() -> None:
    chances = [{Break.DWELL: 1.0, Break.LIFTOFF: 2.0, Break.NONE: 0.5}, {Break.NONE: 0.0}]
    each_s = np.array([3.0, 3.0, 3.0])
    first, second = parted(
        chances, contact_s=each_s, removed_s=each_s, first_whole=True, last_whole=True
    )
    assert first.stands_otherwise == pytest.approx(1.5)
    assert second.stands_otherwise == -np.inf


def test_many_breaks_are_named_a_few_at_once() -> None:
    contact_s = [*([6.0, 6.3, 5.8] * 2), 2.9, 3.1, *([6.0, 6.3, 5.8] * 2)]
    assert len(contact_s) > MOST_AT_ONCE
    told = named(contact_s)
    assert [place for place, kind in enumerate(told) if kind is Break.DWELL] == [6]


def test_what_is_impossible_is_never_chosen() -> None:
    never = {Break.WAY_BACK: 0.0, Break.LIFTOFF: IMPOSSIBLE}
    assert named([1.0, 9.0], [never]) == [Break.WAY_BACK]
    assert CUT_OFF > TOUCH > IMPOSSIBLE
