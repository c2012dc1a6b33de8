import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.dial.matching import Mismatch, Trouble, breaking_settings, match_settings
from analysis.dial.plateaus import Plateau, find_plateaus
from analysis.dial.settings import parse_settings
from tests.analysis.dial.courses import held, track_of


def plateau(spindle_rpm: float, u95_rpm: float = 3.0) -> Plateau:
    return Plateau(0, 5, spindle_rpm, u95_rpm, 0.05, 0.0, 0)


def labels(settings: object) -> list[str]:
    assert isinstance(settings, tuple)
    return [setting.label for setting in settings]


def match(speeds_rpm: list[float], written: str) -> object:
    return match_settings(tuple(map(plateau, speeds_rpm)), parse_settings(written), ())


def refused(speeds_rpm: list[float], written: str) -> Mismatch:
    made = match(speeds_rpm, written)
    assert isinstance(made, Mismatch)
    return made


@given(st.permutations(range(6)))
def test_any_order_is_matched_when_given_in_that_order(order: list[int]) -> None:
    speeds = [10_000.0 + 2_000 * i for i in order]
    points = match(speeds, ",".join(str(i + 1) for i in order))
    assert isinstance(points, tuple)
    assert [point.plateau.spindle_rpm for point in points] == speeds


@given(st.permutations(range(6)).filter(lambda order: list(order) != list(range(6))))
def test_a_wrong_order_is_refused_and_the_right_one_offered(order: list[int]) -> None:
    made = refused([10_000 + 2_000 * i for i in order], "1..6")
    assert made.trouble is Trouble.NOT_RISING
    assert made.breaking
    assert made.would_rise is not None
    assert labels(made.would_rise) == [str(i + 1) for i in order]


def test_the_fewest_settings_that_break_the_row_are_named() -> None:
    assert labels(refused([10e3, 12e3, 19e3, 16e3, 18e3], "1..5").breaking) == ["3"]


@pytest.mark.parametrize(
    ("speeds_rpm", "written", "trouble"),
    [
        ([], "1,2", Trouble.NONE_FOUND),
        ([10e3, 12e3], "1,2,3", Trouble.TOO_FEW),
        ([10e3, 12e3, 14e3], "1,2", Trouble.TOO_MANY),
        ([10e3], "1", Trouble.ONE_SETTING),
        ([10e3, 10.01e3], "3,3", Trouble.ONE_SETTING),
        ([10e3, 15e3, 12e3], "3,3,5", Trouble.NOT_RISING),
        # A 5 left out of 5,6,6,5: its speed would be a 6, and 9 % below the other one.
        ([19.3e3, 21.1e3, 19.4e3], "6,6,5", Trouble.NOT_RISING),
    ],
)
def test_what_does_not_fit_is_never_forced(
    speeds_rpm: list[float], written: str, trouble: Trouble
) -> None:
    made = refused(speeds_rpm, written)
    assert made.trouble is trouble
    assert made.plateaus == tuple(map(plateau, speeds_rpm))


def test_two_settings_within_the_wander_of_each_other_may_stand() -> None:
    points = match([10e3, 12_010, 12_000, 14e3], "1,2,3,4")
    assert isinstance(points, tuple)
    assert breaking_settings(points) == ()


def test_a_number_set_twice_in_a_row_parts_its_plateau() -> None:
    track = track_of(held([10e3, 15e3, 15_030, 12e3], ramp_s=0.6))
    plateaus = find_plateaus(track, cuts_s=(), take=0)
    assert len(plateaus) == 3
    points = match_settings(plateaus, parse_settings("1,3,3,2"), (track,))
    assert isinstance(points, tuple)
    assert [p.plateau.spindle_rpm for p in points] == pytest.approx(
        [10e3, 15e3, 15_030, 12e3], rel=5e-4
    )
