"""A plateau that was not believed by itself is found where the settings leave room for it."""

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest

from analysis.dial.calibration import Calibration, calibrate, plateaus_heard
from analysis.dial.listening import FreeHearing, Sound, hear_running_free, worth_of
from analysis.dial.matching import Mismatch, Trouble
from analysis.dial.missing import not_told_of
from analysis.dial.settings import parse_settings
from tests.analysis.dial.free_running import SAMPLE_RATE_HZ, row_of_speeds, sound_of

SPEEDS_RPM = [10_130.0, 12_210.0, 14_500.0, 17_230.0, 19_800.0, 22_340.0]


@pytest.fixture(scope="module")
def heard() -> FreeHearing:
    corners, _ = row_of_speeds(SPEEDS_RPM, held_s=4, between_s=0.6, off_between=False)
    sound = Sound(sound_of(corners, noise=0.1), SAMPLE_RATE_HZ)
    return hear_running_free((sound,), plate_range_rpm=None)


@pytest.mark.parametrize("missing", range(6))
def test_what_was_dropped_is_found_again_at_its_speed(heard: FreeHearing, missing: int) -> None:
    plateaus = plateaus_heard(heard)
    kept = tuple(p for i, p in enumerate(plateaus) if i != missing)
    made = calibrate(kept, settings=parse_settings("1..6"), heard=heard, plate_range_rpm=None)
    assert isinstance(made, Calibration)
    assert [p.plateau.spindle_rpm for p in made.points] == pytest.approx(SPEEDS_RPM, rel=1e-4)
    assert any(note.startswith(f"Setting {missing + 1} was hardly heard") for note in made.notes)


@pytest.mark.parametrize("first", range(5))
def test_two_that_were_dropped_side_by_side_are_both_found(heard: FreeHearing, first: int) -> None:
    kept = tuple(p for i, p in enumerate(plateaus_heard(heard)) if i not in (first, first + 1))
    made = calibrate(kept, settings=parse_settings("1..6"), heard=heard, plate_range_rpm=None)
    assert isinstance(made, Calibration)
    assert [p.plateau.spindle_rpm for p in made.points] == pytest.approx(SPEEDS_RPM, rel=1e-4)


def test_the_rest_of_a_plateau_beside_it_does_not_hide_a_setting(heard: FreeHearing) -> None:
    """Of the second plateau's 4 s so much was left out as not settled."""
    _, second, *others = plateaus_heard(heard)
    late = replace(second, start_s=second.start_s + 2.5)
    made = calibrate(
        (late, *others), settings=parse_settings("1..6"), heard=heard, plate_range_rpm=None
    )
    assert isinstance(made, Calibration)
    assert [p.plateau.spindle_rpm for p in made.points] == pytest.approx(SPEEDS_RPM, rel=1e-4)


def test_another_machine_taken_for_a_plateau_gives_way_to_the_router(heard: FreeHearing) -> None:
    plateaus = plateaus_heard(heard)
    # 31,000 rpm: no ratio of small numbers to the 14,500 that the router turned at.
    wrong = (*plateaus[:2], replace(plateaus[2], spindle_rpm=31_000.0), *plateaus[3:])
    made = calibrate(wrong, settings=parse_settings("1..6"), heard=heard, plate_range_rpm=None)
    assert isinstance(made, Calibration)
    assert [p.plateau.spindle_rpm for p in made.points] == pytest.approx(SPEEDS_RPM, rel=1e-4)


@pytest.mark.parametrize(
    ("written", "trouble"),
    [("1..7", Trouble.TOO_FEW), ("1,2,3,3.5,4..6", Trouble.TOO_FEW), ("1..5", Trouble.TOO_MANY)],
)
def test_no_plateau_is_found_that_was_not_run(
    heard: FreeHearing, written: str, trouble: Trouble
) -> None:
    plateaus, settings = plateaus_heard(heard), parse_settings(written)
    made = calibrate(plateaus, settings=settings, heard=heard, plate_range_rpm=None)
    assert isinstance(made, Mismatch)
    assert made.trouble is trouble


def test_settings_in_a_wrong_order_are_not_made_to_fit(heard: FreeHearing) -> None:
    made = calibrate(
        plateaus_heard(heard),
        settings=parse_settings("1,3,2,4,5,6"),
        heard=heard,
        plate_range_rpm=None,
    )
    assert isinstance(made, Mismatch)
    assert made.trouble is Trouble.NOT_RISING


def test_half_of_a_plateau_is_not_taken_for_another_setting(heard: FreeHearing) -> None:
    first, *others = plateaus_heard(heard)
    half = replace(first, end_s=first.start_s + 0.5 * first.length_s)
    made = calibrate(
        (half, *others), settings=parse_settings("1..7"), heard=heard, plate_range_rpm=None
    )
    assert isinstance(made, Mismatch)
    assert made.trouble is Trouble.TOO_FEW


@pytest.mark.parametrize("missing", range(6))
def test_a_setting_not_given_is_told_though_its_plateau_was_not_heard_either(
    heard: FreeHearing, missing: int
) -> None:
    kept = tuple(p for i, p in enumerate(plateaus_heard(heard)) if i != missing)
    settings = tuple(s for i, s in enumerate(parse_settings("1..6")) if i != missing)
    made = calibrate(kept, settings=settings, heard=heard, plate_range_rpm=None)
    assert isinstance(made, Mismatch)
    assert made.trouble is Trouble.TOO_MANY
    assert [p.spindle_rpm for p in made.plateaus] == pytest.approx(SPEEDS_RPM, rel=1e-4)


def test_a_speed_that_is_hardly_known_or_at_which_nothing_sounds_is_not_believed(
    heard: FreeHearing,
) -> None:
    right = plateaus_heard(heard)
    for wrong in (
        replace(right[3], spindle_rpm_u95=0.008 * right[3].spindle_rpm),
        replace(right[3], spindle_rpm=1.06 * right[3].spindle_rpm),  # no multiple of it
    ):
        plateaus = (*right[:3], wrong, *right[4:])
        made = calibrate(
            plateaus, settings=parse_settings("1..6"), heard=heard, plate_range_rpm=None
        )
        assert isinstance(made, Calibration)
        speeds = [p.plateau.spindle_rpm for p in made.points]
        assert speeds == pytest.approx(SPEEDS_RPM, rel=1e-4)
        assert any(note.startswith("Setting 4 was hardly heard") for note in made.notes)


def test_a_faint_plateau_that_drifts_is_told(
    heard: FreeHearing, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of seven nats a second, say, where the others have hundreds."""
    plateaus = plateaus_heard(heard)
    drifts = replace(plateaus[3], drift_percent=1.3)
    plateaus = (*plateaus[:3], drifts, *plateaus[4:])
    worths = {drifts: 7.0 * drifts.length_s}
    monkeypatch.setattr(
        "analysis.dial.calibration.worth_of",
        lambda one, take: worths.get(one, worth_of(one, take)),
    )
    settings = parse_settings("1..6")
    made = calibrate(plateaus, settings=settings, heard=heard, plate_range_rpm=None)
    assert isinstance(made, Calibration)
    assert any(note.startswith("Setting 4 was hardly heard, and seems") for note in made.notes)


def gone_elsewhere(
    heard: FreeHearing, moments: npt.NDArray[np.bool_], spindle_rpm: float
) -> FreeHearing:
    """One take whose course is at another speed for some moments."""
    (track,) = heard.tracks
    speeds_rpm = np.where(moments, spindle_rpm, track.spindle_rpm)
    return replace(heard, tracks=(replace(track, spindle_rpm=speeds_rpm),))


def test_one_number_set_twice_that_is_found_late_is_parted_where_it_was_found() -> None:
    speeds = [*SPEEDS_RPM[:3], 17_230.0, 17_290.0, *SPEEDS_RPM[4:]]
    corners, _ = row_of_speeds(speeds, held_s=4, between_s=0.6, off_between=False)
    sound = Sound(sound_of(corners, noise=0.1), SAMPLE_RATE_HZ)
    heard = hear_running_free((sound,), plate_range_rpm=None)
    kept = tuple(p for p in plateaus_heard(heard) if not 17_000 < p.spindle_rpm < 17_500)
    # The course went astray there: what it says of these ten seconds is another speed.
    track = heard.tracks[0]
    astray = (track.spindle_rpm > 17_000) & (track.spindle_rpm < 17_500)
    made = calibrate(
        kept,
        settings=parse_settings("1,2,3,4,4,5,6"),
        heard=gone_elsewhere(heard, astray, 18_100.0),
        plate_range_rpm=None,
    )
    assert isinstance(made, Calibration)
    # Where the two are parted is a guess, so either may hold some of the other.
    assert [p.plateau.spindle_rpm for p in made.points] == pytest.approx(speeds, rel=1e-3)


def test_a_speed_in_turn_with_another_is_refused_and_not_taken_on_trust(heard: FreeHearing) -> None:
    plateaus, track = plateaus_heard(heard), heard.tracks[0]
    away = np.abs(track.time_s - (plateaus[2].start_s + plateaus[2].end_s) / 2) < 0.3
    in_turn = gone_elsewhere(heard, away, 16_100.0)
    made = calibrate(plateaus, settings=parse_settings("1..6"), heard=in_turn, plate_range_rpm=None)
    assert isinstance(made, Mismatch)
    assert made.trouble is Trouble.TOO_FEW


def test_what_is_heard_for_a_moment_in_a_gap_is_no_setting_that_was_not_told(
    heard: FreeHearing,
) -> None:
    # The others are named as held for 10 s; what is left in the gap is held for 4.
    plateaus = plateaus_heard(heard)
    longer = tuple(
        replace(p, start_s=p.start_s - 3 * (i > 0), end_s=p.end_s + 3)
        for i, p in enumerate(plateaus)
    )
    kept = (*longer[:2], *longer[3:])
    assert not_told_of(kept, heard, plate_range_rpm=None) == ()
    assert len(not_told_of((*plateaus[:2], *plateaus[3:]), heard, plate_range_rpm=None)) == 1


def test_where_a_setting_may_have_run_unheard_is_told(heard: FreeHearing) -> None:
    # The last one, and the rest of the take after it, is silent now, and was not named.
    corners, _ = row_of_speeds(SPEEDS_RPM[:5], held_s=4, between_s=0.6, off_between=False)
    sound = sound_of([*corners, (corners[-1][0] + 8, 0.0)], noise=0.1)
    longer = hear_running_free((Sound(sound, SAMPLE_RATE_HZ),), plate_range_rpm=None)
    made = calibrate(
        plateaus_heard(longer), settings=parse_settings("1..5"), heard=longer, plate_range_rpm=None
    )
    assert isinstance(made, Calibration)
    # 1 s of silence, five of 0.6 + 4 s: the last speed ends at 24 s, the take at 34.5 s.
    assert any("No steady speed is heard from 24 to 3" in note for note in made.notes)
    whole = calibrate(
        plateaus_heard(heard), settings=parse_settings("1..6"), heard=heard, plate_range_rpm=None
    )
    assert isinstance(whole, Calibration)
    assert not any("No steady speed" in note for note in whole.notes)
