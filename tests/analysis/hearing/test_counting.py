"""Lines counted by another ratio."""

import numpy as np
import pytest

from analysis.hearing.counting import counted_otherwise
from analysis.hearing.orders import generic_voice, shift_to
from tests.analysis.hearing.searches import course_of

PATH = 300 + np.arange(100) // 10
VOICE = generic_voice(2)


@pytest.mark.parametrize("ratio", [0.5, 2.0, 1.5, 2 / 3, 0.75])
def test_courses_on_the_same_lines_are_told_by_their_ratio(ratio: float) -> None:
    other = course_of(PATH + shift_to(ratio), VOICE)
    assert counted_otherwise(course_of(PATH, VOICE), other) == pytest.approx(ratio)


@pytest.mark.parametrize("shift", [0, 20, shift_to(1.25)])
def test_other_courses_have_no_ratio(shift: int) -> None:
    # The same speed, a little faster, and another machine's.
    assert counted_otherwise(course_of(PATH, VOICE), course_of(PATH + shift, VOICE)) is None
