"""Conformance probabilities at their fixed points."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.coaching.uncertainty import Chances, chances
from analysis.coaching.verdict import Verdict, decide


@given(
    value=st.floats(0.001, 1),
    u95=st.floats(0, 0.5),
    low=st.floats(0.01, 0.1),
    width=st.floats(0.001, 0.2),
)
def test_chances_are_probabilities_that_sum_to_one(
    value: float, u95: float, low: float, width: float
) -> None:
    odds = chances(value=value, u95=u95, low=low, high=low + width)
    assert min(odds.below, odds.within, odds.above) >= 0
    assert odds.below + odds.within + odds.above == pytest.approx(1, abs=1e-12)


def test_exactly_known_values_are_judged_outright() -> None:
    assert chances(value=0.05, u95=0, low=0.05, high=0.1) == Chances(0.0, 1.0, 0.0)
    assert chances(value=0.049, u95=0, low=0.05, high=0.1) == Chances(1.0, 0.0, 0.0)


@pytest.mark.parametrize(
    ("odds", "verdict"),
    [
        (Chances(0.95, 0.05, 0.0), Verdict.RUBBING),
        (Chances(0.949, 0.051, 0.0), Verdict.UNSURE),
        (Chances(0.05, 0.95, 0.0), Verdict.IN_THE_BAND),
        (Chances(0.0, 0.05, 0.95), Verdict.OVERLOADING),
        (Chances(0.03, 0.94, 0.03), Verdict.UNSURE),
    ],
)
def test_the_rule_at_its_threshold(odds: Chances, verdict: Verdict) -> None:
    assert decide(odds) is verdict
