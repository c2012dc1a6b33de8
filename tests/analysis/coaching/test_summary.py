"""The take as a whole."""

import itertools
from statistics import stdev
from types import SimpleNamespace
from typing import Any

import pytest
from scipy.stats import kendalltau

from analysis.coaching.summary import _chance_of_order, review_take, trend_percent
from analysis.hearing.passes import HeardPass, Span, moved
from tests.analysis.coaching.passes import HALF_INCH, heard


def hearing(*passes: HeardPass) -> Any:
    """Only the passes of a hearing: all that a review looks at."""
    return SimpleNamespace(passes=passes)


def test_counts_and_spread() -> None:
    times_s = [9, 10, 30, 3]
    review = review_take(
        hearing(
            *(heard(time_s=t, spindle_rpm=16_000) for t in times_s),
            heard(time_s=4, spindle_rpm=16_000, complete=False),
        ),
        HALF_INCH,
    )
    summary = review.summary
    assert (summary.passes_heard, summary.passes_judged, summary.passes_cut_off) == (5, 4, 1)
    assert (summary.rubbing, summary.in_the_band, summary.overloading) == (1, 2, 1)
    feeds = [604.2001302 / t for t in times_s]
    assert summary.feed_spread_percent == pytest.approx(
        100 * stdev(feeds) / (sum(feeds) / 4), rel=1e-6
    )


def test_a_pass_in_which_sound_was_lost_is_not_judged_and_its_neighbours_are() -> None:
    first, second = (moved(heard(time_s=9, spindle_rpm=16_000), by_s) for by_s in (0.0, 20.0))
    gap = (second.exit_s - 0.5, second.exit_s + 1.0)
    review = review_take(hearing(first, second), HALF_INCH, gaps=[gap])
    before, lost = (passed.reading for passed in review.passes)
    assert before == review_take(hearing(first), HALF_INCH).passes[0].reading
    assert lost.verdict is None
    assert lost.not_judged_because == "part of its sound was lost"
    assert (review.summary.passes_judged, review.summary.passes_cut_off) == (1, 1)


@pytest.mark.parametrize("count", [5, 6, 8])
def test_chance_of_an_order_is_the_exact_one(count: int) -> None:
    """Against scipy's exact Kendall test, over every number of falls that occurs."""
    seen: dict[int, tuple[int, ...]] = {}
    for order in itertools.islice(itertools.permutations(range(count)), 0, 40_000, 37):
        falls = sum(a > b for a, b in itertools.combinations(order, 2))
        seen.setdefault(falls, order)
    for falls, order in seen.items():
        exact = kendalltau(range(count), order, method="exact").pvalue
        assert _chance_of_order(falls, count) == pytest.approx(exact, rel=1e-9)


def test_four_passes_never_make_a_trend() -> None:
    assert trend_percent([50, 48, 46, 44]) is None


def test_a_trend_is_told() -> None:
    review = review_take(
        hearing(*(heard(time_s=t, spindle_rpm=16_000) for t in (8, 8.5, 9, 9.5, 10, 10.5))),
        HALF_INCH,
    )
    assert review.summary.feed_trend_percent == pytest.approx(-5.4, abs=0.5)
    assert "slower" in review.summary.trend


@pytest.mark.parametrize(
    ("passes", "words"),
    [
        ([heard(time_s=t, spindle_rpm=16_000) for t in (3, 9, 9)], "Overloading"),
        (
            [heard(time_s=9, spindle_rpm=16_000, dwells=(Span(8, 9),)) for _ in range(2)],
            "Keep the router moving: it stood still in 2 of 2 passes, at about",
        ),
        ([heard(time_s=t, spindle_rpm=16_000) for t in (20, 21, 9)], "Rubbing"),
        ([heard(time_s=t, spindle_rpm=16_000) for t in (7, 9, 12)], "Even out the pace"),
        ([heard(time_s=t, spindle_rpm=16_000) for t in (9, 9.2, 9.1)], "Nothing: keep"),
        ([heard(time_s=5, spindle_rpm=16_000)], "Too close to call"),
        ([heard(time_s=5, spindle_rpm=16_000, complete=False)], "Nothing to judge"),
        ([], "Nothing to judge"),
    ],
)
def test_one_thing_to_change_first(passes: list[HeardPass], words: str) -> None:
    assert review_take(hearing(*passes), HALF_INCH).summary.change_first.startswith(words)
