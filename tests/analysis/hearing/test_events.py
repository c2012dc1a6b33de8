"""What is said of passes as they are heard better and better: each thing once, in order."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.hearing.events import (
    CLOSED_S,
    LOST_S,
    DwellHeard,
    Event,
    PassEnded,
    PassEntered,
    PassesRevised,
    PassResumed,
    Record,
)
from analysis.hearing.passes import HeardPass, Span

TICK_S = 0.1


def heard_pass(entry_s: float, exit_s: float, *, dwells: tuple[Span, ...] = ()) -> HeardPass:
    return HeardPass(
        entry_s=entry_s,
        exit_s=exit_s,
        time_u95_s=0.1,
        moving_time_u95_s=0.1,
        spindle_rpm=18_000.0,
        spindle_rpm_u95=5.0,
        sag_percent=1.0,
        dwells=dwells,
        liftoffs=(),
        evenness=0.9,
        complete=True,
    )


def said(
    *passes: tuple[float, float], until_s: float, standing: tuple[float, float] | None = None
) -> list[tuple[float, Event]]:
    """News while stretches of contact go by, joined over breaks in which nobody can go back."""
    from analysis.hearing.gaps import WAY_BACK_S

    record, events = Record(), []
    for now_s in np.arange(0, until_s, TICK_S):
        joined: list[tuple[float, float]] = []
        for entry_s, exit_s in passes:
            if entry_s >= now_s:
                continue
            if joined and entry_s - joined[-1][1] < WAY_BACK_S:
                joined[-1] = (joined[-1][0], min(exit_s, now_s))
            else:
                joined.append((entry_s, min(exit_s, now_s)))
        open_ones = [heard_pass(*one) for one in joined if one[1] > now_s - CLOSED_S - TICK_S]
        stands = standing is not None and standing[0] <= now_s < standing[1]
        events += [
            (now_s, event)
            for event in record.news(
                open_ones,
                now_s=now_s,
                standing_s=standing[0] if stands and standing is not None else None,
            )
        ]
    return events


def names(events: list[tuple[float, Event]]) -> list[str]:
    return [type(event).__name__ for _, event in events]


def test_a_pass_is_entered_and_ended_once() -> None:
    events = said((1.0, 4.0), until_s=9.0)
    assert names(events) == ["PassEntered", "PassEnded"]
    ended_s, ended = events[1]
    assert isinstance(ended, PassEnded)
    assert ended.heard == heard_pass(1.0, 4.0)
    assert LOST_S <= ended_s - 4.0 <= LOST_S + 1.5 * TICK_S


def test_contact_that_comes_back_soon_resumes_the_pass() -> None:
    events = said((1.0, 4.0), (5.0, 7.0), until_s=12.0)
    assert names(events) == ["PassEntered", "PassEnded", "PassResumed", "PassEnded"]
    assert events[2][1] == PassResumed(1.0)
    last = events[3][1]
    assert isinstance(last, PassEnded)
    assert (last.heard.entry_s, last.heard.exit_s) == (1.0, 7.0)


def test_a_touch_between_is_nothing() -> None:
    assert names(said((1.0, 4.0), (4.1, 7.0), until_s=12.0)) == ["PassEntered", "PassEnded"]


def test_contact_that_comes_back_late_is_another_pass() -> None:
    events = said((1.0, 4.0), (6.0, 9.0), until_s=14.0)
    assert names(events) == ["PassEntered", "PassEnded"] * 2
    assert events[2][1] == PassEntered(6.0)


def test_standing_still_is_called_and_holds_the_end_back() -> None:
    events = said((1.0, 4.0), (4.8, 7.0), until_s=12.0, standing=(4.0, 4.8))
    assert names(events) == ["PassEntered", "DwellHeard", "PassEnded"]
    called_s, dwell = events[1]
    assert dwell == DwellHeard(4.0)
    assert called_s - 4.0 < 0.6


def test_a_dwell_found_later_is_told_once() -> None:
    record = Record()
    dwell = Span(2.0, 2.9)
    first = record.news([heard_pass(1.0, 3.5, dwells=(dwell,))], now_s=3.5, standing_s=None)
    again = record.news([heard_pass(1.0, 3.7, dwells=(dwell,))], now_s=3.7, standing_s=None)
    assert first == [PassEntered(1.0), DwellHeard(2.0)]
    assert again == []


def test_a_short_stop_is_not_worth_a_word() -> None:
    heard = heard_pass(1.0, 3.5, dwells=(Span(2.0, 2.3),))
    assert Record().news([heard], now_s=3.5, standing_s=None) == [PassEntered(1.0)]


def test_an_entry_heard_a_little_otherwise_is_the_same_pass() -> None:
    record = Record()
    record.news([heard_pass(1.0, 3.0)], now_s=3.0, standing_s=None)
    assert record.news([heard_pass(1.2, 3.2)], now_s=3.2, standing_s=None) == []
    assert record.news([heard_pass(0.7, 3.4)], now_s=3.4, standing_s=None) == []


def test_a_pass_longer_than_what_is_kept_is_still_one() -> None:
    record = Record()
    record.news([heard_pass(1.0, 100.0)], now_s=100.0, standing_s=None)
    assert record.news([heard_pass(30.0, 140.0)], now_s=140.0, standing_s=None) == []
    (ended,) = record.news([heard_pass(31.0, 150.0)], now_s=151.0, standing_s=None)
    assert isinstance(ended, PassEnded)
    assert (ended.heard.entry_s, ended.heard.complete) == (1.0, False)


def test_passes_heard_anew_take_the_place_of_those_told() -> None:
    record = Record()
    record.news([heard_pass(1.0, 4.0)], now_s=7.0, standing_s=None)
    record.news([heard_pass(9.0, 12.0)], now_s=12.0, standing_s=None)
    same = PassesRevised(0.0, 5.0, (heard_pass(1.02, 4.01),))
    assert record.revise(same) == []
    two = PassesRevised(0.0, 5.0, (heard_pass(1.0, 2.0), heard_pass(2.5, 4.0)))
    assert record.revise(two) == [two]
    assert record.revise(two) == []
    assert record.inside(np.array([1.5, 2.2, 3.0, 10.0])).tolist() == [True, False, True, True]
    # What goes on is not touched.
    assert record.cutting
    none = PassesRevised(0.0, 20.0, ())
    assert record.revise(none) == [none]
    assert record.cutting


def doubtful(heard: HeardPass) -> HeardPass:
    return replace(heard, moving_time_u95_s=0.3 * heard.moving_time_s)


def test_told_passes_become_one_of_which_it_is_unsure_only_when_it_is_heard_so_twice() -> None:
    record = Record()
    record.news([heard_pass(1.0, 4.0)], now_s=7.0, standing_s=None)
    record.news([heard_pass(6.0, 9.0)], now_s=12.0, standing_s=None)
    one = PassesRevised(0.0, 9.5, (doubtful(heard_pass(1.0, 9.0, dwells=(Span(4.0, 6.0),))),))
    two = PassesRevised(0.0, 9.5, (heard_pass(1.0, 4.0), heard_pass(6.0, 9.0)))
    assert record.revise(one) == []
    assert record.revise(two) == []
    assert record.revise(one) == []
    assert record.revise(one) == [one]


def test_told_passes_become_one_at_once_if_that_is_well_known() -> None:
    record = Record()
    record.news([heard_pass(1.0, 4.0)], now_s=7.0, standing_s=None)
    record.news([heard_pass(6.0, 9.0)], now_s=12.0, standing_s=None)
    one = PassesRevised(0.0, 9.5, (heard_pass(1.0, 9.0, dwells=(Span(4.0, 6.0),)),))
    assert record.revise(one) == [one]


def test_a_break_too_short_for_a_way_back_is_mended_at_once() -> None:
    record = Record()
    record.news([heard_pass(1.0, 4.0), heard_pass(4.6, 9.0)], now_s=12.0, standing_s=None)
    one = PassesRevised(0.0, 9.5, (doubtful(heard_pass(1.0, 9.0)),))
    assert record.revise(one) == [one]


@pytest.mark.parametrize("other", [(0.2, 9.0), (6.0, 10.2)])
def test_a_doubtful_pass_begins_or_ends_elsewhere_only_when_it_is_heard_so_twice_running(
    other: tuple[float, float],
) -> None:
    record = Record()
    record.news([heard_pass(6.0, 9.0)], now_s=12.0, standing_s=None)
    elsewhere = PassesRevised(0.0, 10.5, (doubtful(heard_pass(*other)),))
    same = PassesRevised(0.0, 10.5, (heard_pass(6.0, 9.0),))
    for anew in (elsewhere, same, elsewhere):
        assert record.revise(anew) == []
    assert record.revise(elsewhere) == [elsewhere]


def test_one_pass_that_was_two_is_mended_at_once_and_so_is_one_that_was_missed() -> None:
    record = Record()
    record.news([heard_pass(6.0, 15.0)], now_s=18.0, standing_s=None)
    three = PassesRevised(
        0.0, 15.5, (heard_pass(1.0, 4.0), heard_pass(6.0, 9.0), heard_pass(11.0, 15.0))
    )
    assert record.revise(three) == [three]


@pytest.mark.parametrize(("little_u95_s", "much_u95_s"), [(0.35, 0.2), (0.45, 3.0)])
def test_a_pass_much_more_or_less_surely_known_is_told_anew(
    little_u95_s: float, much_u95_s: float
) -> None:
    record = Record()
    record.news([replace(heard_pass(1.0, 4.0), moving_time_u95_s=0.4)], now_s=7.0, standing_s=None)
    little, much = (
        PassesRevised(0.0, 5.0, (replace(heard_pass(1.0, 4.0), moving_time_u95_s=u95_s),))
        for u95_s in (little_u95_s, much_u95_s)
    )
    assert record.revise(little) == []
    assert record.revise(much) == [much]
    assert record.revise(much) == []


def test_a_pass_that_began_before_what_is_heard_anew_stays() -> None:
    record = Record()
    record.news([heard_pass(1.0, 4.0)], now_s=7.0, standing_s=None)
    record.news([heard_pass(9.0, 12.0)], now_s=15.0, standing_s=None)
    # What is kept begins in the first pass, or as it begins: it is not to be told otherwise.
    assert record.clear_s(3.0) == record.clear_s(1.3) == record.clear_s(0.8) == 4.0
    assert record.clear_s(5.0) == 5.0
    same = PassesRevised(4.0, 12.5, (heard_pass(9.02, 12.01),))
    assert record.revise(same) == []
    better = PassesRevised(3.5, 12.5, (heard_pass(8.6, 12.0),))
    assert record.revise(better) == [better]
    assert record.inside(np.array([2.0, 8.8, 11.0])).tolist() == [True, True, True]


def test_only_the_last_passes_are_remembered() -> None:
    record = Record()
    for number in range(1000):
        at_s = 10.0 * number
        record.news([heard_pass(at_s, at_s + 4)], now_s=at_s + 9, standing_s=None)
    assert len(record._told) < 50


def test_moments_inside_passes() -> None:
    record = Record()
    record.news([heard_pass(1.0, 3.0)], now_s=6.0, standing_s=None)
    assert record.inside(np.array([0.9, 1.1, 2.9, 3.1])).tolist() == [False, True, True, False]


@given(
    st.lists(st.tuples(st.floats(0.7, 5.0), st.floats(0.05, 4.0)), min_size=1, max_size=6),
)
def test_whatever_happens_ends_are_entered_and_resumed_in_turn(
    cuts: list[tuple[float, float]],
) -> None:
    passes, at_s = [], 1.0
    for length_s, gap_s in cuts:
        passes.append((at_s, at_s + length_s))
        at_s += length_s + gap_s
    open_entry: float | None = None
    ended: list[float] = []
    for _, event in said(*passes, until_s=at_s + 4):
        if isinstance(event, PassEntered):
            assert open_entry is None
            open_entry = event.entry_s
        elif isinstance(event, PassResumed):
            assert open_entry is None
            assert ended[-1] == event.entry_s
            open_entry = ended.pop()
        elif isinstance(event, PassEnded):
            assert open_entry == event.heard.entry_s
            ended.append(event.heard.entry_s)
            open_entry = None
    assert open_entry is None
    assert len(ended) == len(set(ended))
