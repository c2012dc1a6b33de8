"""What is made of the window's contact before passes are looked for in it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from analysis.hearing.gaps import CLEAR_S, WAY_BACK_S
from analysis.hearing.parting import SHORTEST_PASS_S
from analysis.hearing.passes import HeardPass
from analysis.hearing.recent import RecentCourse
from analysis.hearing.trace import Contact, Trace
from analysis.hearing.watching import Watch, _believable, _but_for_a_touch, _first_passes
from tests.analysis.hearing import traces

STEP_S = 0.02


def contact(*parts: tuple[bool, float]) -> np.ndarray:
    """Frames in and out of the wood, for so many seconds each."""
    return np.concatenate([np.full(round(seconds / STEP_S), cut) for cut, seconds in parts])


def left(mask: np.ndarray) -> np.ndarray:
    return _but_for_a_touch(mask, np.zeros(len(mask)), STEP_S).mask


def test_contact_that_has_just_begun_after_a_way_back_is_left_out() -> None:
    before = [(True, 3.0), (False, WAY_BACK_S + 0.1)]
    young = contact(*before, (True, SHORTEST_PASS_S - 0.1))
    assert left(young).tolist() == contact(*before, (False, SHORTEST_PASS_S - 0.1)).tolist()


@pytest.mark.parametrize(
    "mask",
    [
        contact((True, 3.0), (False, WAY_BACK_S + 0.1), (True, SHORTEST_PASS_S + 0.1)),
        contact((True, 3.0), (False, WAY_BACK_S - 0.1), (True, 0.2)),
        contact((True, 3.0), (False, WAY_BACK_S + 0.1), (True, 0.2), (False, 0.1)),
        contact((False, 3.0), (True, 0.2)),
        contact((False, 3.0)),
    ],
    ids=["old enough", "too soon for a way back", "over again", "the first", "none"],
)
def test_other_contact_stays(mask: np.ndarray) -> None:
    assert left(mask).tolist() == mask.tolist()


def test_a_reviews_word_is_taken_for_the_window() -> None:
    heard = contact((False, 1.0), (True, 2.0), (False, 0.5))
    course = RecentCourse(step_s=STEP_S, bands=3, most=1000)
    course.grow(np.zeros((len(heard), 3), np.float32))
    watch = Watch()
    watch.first = round(0.6 / STEP_S)
    watch._contact = contact((True, 2.8))
    watch.correct(course, heard)
    assert watch._contact.tolist() == contact((False, 0.4), (True, 2.0), (False, 0.5)).tolist()
    assert not watch.in_contact


def running(count: int) -> Trace:
    """A router at 300 turns a second; the lead numbers the frames."""
    course = RecentCourse(step_s=STEP_S, bands=3, most=count)
    course.grow(np.zeros((count, 3), np.float32))
    course.trace.rotation_hz[:] = 300.0
    course.trace.lead[:] = np.arange(count)
    return course.trace


def course_of(trace: Trace) -> RecentCourse:
    course = RecentCourse(step_s=STEP_S, bands=3, most=len(trace.lead))
    course.grow(trace.bands)
    course.trace = trace
    return course


def test_examples_are_learned_anew_from_what_lies_before_the_window() -> None:
    cut = contact((False, 2.0), (True, 3.0), (False, 2.0), (True, 1.0))
    course, watch = course_of(running(len(cut))), Watch()
    watch.first = round(7.0 / STEP_S)
    watch.relearn(course, free=~cut, cut=cut)
    assert watch.reference.cut is not None
    assert watch.reference.free is not None
    assert watch.reference.cut.lead.tolist() == list(range(100, 250))
    clear = round(CLEAR_S / STEP_S)
    free = [*range(100 - clear), *range(250 + clear, 350 - clear)]
    assert watch.reference.free.lead.tolist() == free


def test_much_poorer_examples_are_not_learned() -> None:
    long, short = (contact((False, 4.0), (True, seconds), (False, 2.0)) for seconds in (3.0, 1.0))
    watch = Watch()
    for cut in (long, short, np.zeros(350, bool)):
        watch.first = len(cut)
        watch.relearn(course_of(running(len(cut))), free=~cut, cut=cut)
        assert watch.reference.cut is not None
        assert len(watch.reference.cut.lead) == round(3.0 / STEP_S)


def test_a_first_pass_is_believed_once_its_exit_is_over() -> None:
    """An exit that takes a third of a second, in the midst of which the pass was said to end."""
    exit_s = 5.0
    evidence = np.interp(
        STEP_S * np.arange(round(8.0 / STEP_S)),
        [2.0, 2.01, exit_s - 0.1, exit_s + 0.25],
        [-100.0, 100.0, 100.0, -100.0],
    )
    mask = contact((False, 2.0), (True, exit_s - 2.0), (False, 3.0))
    heard = HeardPass(2.0, exit_s, 0.1, 0.1, 18_000.0, 5.0, 1.0, (), (), 0.9, complete=True)

    def believed(now_s: float) -> bool:
        end = round(now_s / STEP_S)
        return _believable(running(end), Contact(mask[:end], evidence[:end]), heard)

    assert [believed(exit_s + later_s) for later_s in (0.1, 0.2, 0.5, 1.0, 3.0)] == [
        False, False, True, True, True,
    ]  # fmt: skip


def first_pass(speeds: list[tuple[float, float]]) -> tuple[Trace, Contact, HeardPass]:
    """A plain cut from 2 to 5 s of 8, and the speed (seconds until then, Hz; NaN: not heard)."""
    mask = contact((False, 2.0), (True, 3.0), (False, 3.0))
    trace, begun = running(len(mask)), 0
    for until_s, rotation_hz in speeds:
        trace.rotation_hz[begun : round(until_s / STEP_S)] = rotation_hz
        begun = round(until_s / STEP_S)
    heard = HeardPass(2.0, 5.0, 0.1, 0.1, 18_000.0, 5.0, 1.0, (), (), 0.9, complete=True)
    return trace, Contact(mask, np.where(mask, 100.0, -100.0)), heard


@pytest.mark.parametrize(
    ("speeds", "believed"),
    [
        ([(8.0, 300.0)], True),
        ([(1.4, 300.0), (1.7, np.nan), (8.0, 300.0)], True),  # lost for 0.3 of 0.8 s
        ([(1.3, 300.0), (1.9, np.nan), (8.0, 300.0)], False),
        ([(2.0, 300.0), (5.0, 260.0), (8.0, 300.0)], True),  # slower under load
        ([(2.0, 300.0), (5.0, 300.0), (8.0, 280.0)], False),  # faster than after it: no load
        ([(2.0, 280.0), (5.0, 300.0), (8.0, 300.0)], False),
        ([(2.0, 300.0), (5.0, np.nan), (8.0, 300.0)], False),
    ],
)
def test_a_first_pass_needs_the_router_beside_it_and_no_slower(
    speeds: list[tuple[float, float]], believed: bool
) -> None:
    assert _believable(*first_pass(speeds)) is believed


@pytest.mark.parametrize(("kept", "standing"), [(0.35, True), (0.05, False)])
def test_a_rub_must_keep_some_of_the_cut_to_be_called_standing_still(
    kept: float, standing: bool
) -> None:
    """The teeth are heard in both breaks; a third of the chips' sound is left, or next to none."""
    mask = contact((False, 5.0), (True, 3.0), (False, 0.5))
    free, trace = running(round(5.0 / STEP_S)), running(len(mask))
    for part in (free, trace):
        part.bands[:] = np.random.default_rng(4).normal(0, 0.05, part.bands.shape)
    trace.bands[mask] += [3.0, 1.0, 5.0]
    trace.teeth[mask] += 2.0
    trace.bands[-round(0.5 / STEP_S) :] += np.float32(kept) * np.array([3.0, 1.0, 5.0], np.float32)
    trace.teeth[-round(0.5 / STEP_S) :] += np.float32(0.25)
    watch = Watch()
    watch.reference.free = free
    since_s = watch._standing_s(trace, Contact(mask, np.zeros(len(mask))), 0.0)
    assert since_s == (pytest.approx(8.0) if standing else None)


@pytest.mark.parametrize(("cuts", "believed"), [(1, 0), (2, 2), (3, 3)])
def test_faint_passes_are_believed_when_they_come_and_go_again(cuts: int, believed: int) -> None:
    """Neither the speed nor the teeth tell anything: one might be anybody's noise."""
    made = [traces.Cut(4.0 + 8.0 * n, 9.0 + 8.0 * n) for n in range(cuts)]
    trace = traces.trace(made, seconds=4.0 + 8.0 * cuts, louder=0.5)
    steady = 300.0 + np.random.default_rng(2).normal(0, 0.05, len(trace.lead))
    teeth = np.random.default_rng(3).normal(-0.6, 0.4, trace.teeth.shape).astype(np.float32)
    lead = np.random.default_rng(4).normal(-6, 2, len(trace.lead))
    trace = replace(trace, rotation_hz=steady, teeth=teeth, lead=lead)
    _, passes = _first_passes(trace, None)
    assert len(passes) == believed
    for heard, cut in zip(passes, made, strict=False):
        assert heard.entry_s == pytest.approx(cut.start_s, abs=0.15)
        assert heard.exit_s == pytest.approx(cut.end_s, abs=0.15)
