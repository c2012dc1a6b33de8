import itertools

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from analysis.hearing.search import spans


@given(st.lists(st.booleans(), max_size=40))
def test_spans_are_the_runs_of_a_mask(mask: list[bool]) -> None:
    told = spans(np.array(mask, bool))
    again = np.zeros(len(mask), bool)
    for first, end in told:
        assert 0 <= first < end <= len(mask)
        again[first:end] = True
    assert again.tolist() == mask
    # Runs do not touch, or they were one.
    assert all(b > a for (_, a), (b, _) in itertools.pairwise(told))
