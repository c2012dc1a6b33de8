"""What is made of the window's contact before passes are looked for in it."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.hearing.gaps import WAY_BACK_S
from analysis.hearing.parting import SHORTEST_PASS_S
from analysis.hearing.recent import RecentCourse
from analysis.hearing.watching import Watch, _but_for_a_touch

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
