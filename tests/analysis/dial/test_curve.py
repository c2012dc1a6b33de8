import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.dial.curve import DialCurve, KeptError, curve_from_json, curve_to_json
from analysis.dial.drift import dial_drift
from analysis.dial.fitting import fit_curve
from analysis.dial.settings import parse_setting, parse_settings
from analysis.errors import InputError


def curve(written: str, speeds_rpm: list[float], u95_rpm: float = 3.0) -> DialCurve:
    settings = parse_settings(written)
    return fit_curve(
        settings=settings, speeds_rpm=speeds_rpm, speeds_u95_rpm=[u95_rpm] * len(settings)
    )


def speed(dial: DialCurve, position: float) -> float:
    told = dial.speed_at(position)
    assert told is not None
    return told.spindle_rpm


rising = st.lists(st.floats(0, 3_000), min_size=1, max_size=9).map(
    lambda steps: (8_000 + np.cumsum([0.0, *steps])).tolist()
)


@given(rising)
def test_the_curve_goes_through_its_points_and_never_falls(speeds_rpm: list[float]) -> None:
    dial = curve(f"1..{len(speeds_rpm)}", speeds_rpm)
    for position, rpm in enumerate(speeds_rpm, start=1):
        assert speed(dial, position) == pytest.approx(rpm, rel=1e-12)
    along = [speed(dial, p) for p in np.linspace(1, len(speeds_rpm), 200)]
    assert np.diff(along).min() >= -1e-9 * speeds_rpm[-1]


@given(rising.filter(lambda s: min(np.diff(s)) > 5), st.floats(0, 1))
def test_there_and_back_is_where_one_started(speeds_rpm: list[float], share: float) -> None:
    dial = curve(f"1..{len(speeds_rpm)}", speeds_rpm)
    position = 1 + share * (len(speeds_rpm) - 1)
    back = dial.setting_for(speed(dial, position))
    assert back is not None
    assert speed(dial, back.setting.position) == pytest.approx(speed(dial, position), rel=3e-6)


@pytest.mark.parametrize("position", [0.5, 0.999, 6.001, 7, -1])
def test_no_speed_is_told_beyond_the_measured_settings(position: float) -> None:
    assert curve("1..6", [10e3, 12e3, 14e3, 16e3, 19e3, 22e3]).speed_at(position) is None


@pytest.mark.parametrize("rpm", [9_999, 22_001, 0, 40_000])
def test_no_setting_is_told_beyond_the_measured_speeds(rpm: float) -> None:
    assert curve("1..6", [10e3, 12e3, 14e3, 16e3, 19e3, 22e3]).setting_for(rpm) is None


def test_the_advice_reads_as_a_person_sets_a_dial() -> None:
    told = curve("1..6", [10e3, 12e3, 14e3, 16e3, 18e3, 20e3]).setting_for(13_400)
    assert told is not None
    assert told.setting.label == "2.7"
    lettered = curve("A..F", [10e3, 12e3, 14e3, 16e3, 18e3, 20e3]).setting_for(13_400)
    assert lettered is not None
    assert lettered.setting.label == "between B and C, nearer C"


def test_repeats_give_the_repeatability_by_hand() -> None:
    # Setting 3 at 15,000 and 15,300: mean 15,150, deviations of 0.990 % of it each, one degree
    # of freedom: s = sqrt(2 x 0.00990099^2) = 1.4002 %; Student's t(0.975, 1) = 12.706 (printed
    # in every table of t).
    dial = curve("1,3,3", [10e3, 15_000, 15_300])
    assert dial.repeatability_percent == pytest.approx(1.40022, rel=1e-4)
    assert dial.repeatability_factor == pytest.approx(12.706, abs=5e-4)
    told = dial.speed_at(3)
    assert told is not None
    assert told.spindle_rpm == pytest.approx(15_150)
    assert told.spindle_rpm_u95 == pytest.approx(15_150 * 0.0140022 * 12.7062, rel=1e-3)


def test_where_nobody_measured_the_interval_is_wider() -> None:
    dial = curve("1..4", [10e3, 12e3, 15e3, 22e3])
    at, between = dial.speed_at(2), dial.speed_at(2.5)
    assert at is not None
    assert between is not None
    assert between.spindle_rpm_u95 > 10 * at.spindle_rpm_u95


def test_a_dip_within_the_wander_is_made_level_by_least_squares() -> None:
    # Two means weigh as often as they were measured: (2 x 12,010 + 11,995)/3 = 12,005.
    dial = curve("1,2,2,3,4", [10e3, 12_010, 12_010, 11_995, 14e3])
    assert speed(dial, 2) == speed(dial, 3) == pytest.approx(12_005)
    flat = dial.setting_for(12_005)
    assert flat is not None
    assert flat.setting.position == pytest.approx(2.5, abs=0.1)
    assert flat.position_u95 >= 0.5


def test_one_setting_makes_no_curve() -> None:
    with pytest.raises(InputError, match="two different ones"):
        curve("3,3", [10e3, 10_010])


def test_a_kept_curve_comes_back_the_same() -> None:
    dial = curve("1,2,3.5,2", [10e3, 12e3, 15e3, 12_050])
    assert curve_from_json(json.loads(json.dumps(curve_to_json(dial)))) == dial


@pytest.mark.parametrize("gone", ["knots", "marks", "repeatability_factor"])
def test_a_damaged_curve_is_told(gone: str) -> None:
    kept = curve_to_json(curve("1,2", [10e3, 12e3]))
    del kept[gone]
    with pytest.raises(KeptError, match="Calibrate again"):
        curve_from_json(kept)


def test_a_dial_that_runs_four_percent_fast_is_told_and_a_still_one_is_not() -> None:
    dial = curve("1,2,3,4,3", [10e3, 12e3, 15e3, 22e3, 15_010])
    drift = dial_drift(dial, setting=parse_setting("3"), measured_rpm=15_605, measured_u95_rpm=5)
    assert drift is not None
    assert drift.beyond_doubt
    assert drift.percent == pytest.approx(4.0, abs=0.01)
    assert "now runs 4.0 % fast" in drift.sentence
    same = dial_drift(dial, setting=parse_setting("3"), measured_rpm=15_020, measured_u95_rpm=5)
    assert same is not None
    assert not same.beyond_doubt
    assert "still holds" in same.sentence
    assert (
        dial_drift(dial, setting=parse_setting("5"), measured_rpm=25e3, measured_u95_rpm=5) is None
    )
    assert (
        dial_drift(dial, setting=parse_setting("C"), measured_rpm=15e3, measured_u95_rpm=5) is None
    )
