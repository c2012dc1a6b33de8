"""From sound to calibration, on sound made here from phases and noise alone."""

import json

import numpy as np
import pytest

from analysis.dial.calibration import Calibration, calibrate, plateaus_heard
from analysis.dial.curve import KeptError
from analysis.dial.explaining import explain, leaps
from analysis.dial.keeping import calibration_from_json, calibration_to_json, heard_orders
from analysis.dial.listening import FreeHearing, Sound, hear_running_free
from analysis.dial.matching import Mismatch
from analysis.dial.settings import parse_settings
from analysis.errors import InputError
from recordings_synthetic.drawing import draw_take, seed_of
from recordings_synthetic.render import render
from recordings_synthetic.truth import truth
from tests.analysis.dial.courses import track_of
from tests.analysis.dial.free_running import SAMPLE_RATE_HZ, row_of_speeds, sound_of

PLATE_RPM = (10_000.0, 22_000.0)
SPEEDS_RPM = [10_130.0, 12_210.0, 14_500.0, 17_230.0, 19_800.0, 22_340.0]


def heard(
    speeds_rpm: list[float],
    *,
    off_between: bool = False,
    noise: float = 0.1,
    plate_rpm: tuple[float, float] | None = PLATE_RPM,
) -> FreeHearing:
    corners, _ = row_of_speeds(speeds_rpm, held_s=4, between_s=0.6, off_between=off_between)
    sound = Sound(sound_of(corners, noise=noise), SAMPLE_RATE_HZ)
    return hear_running_free((sound,), plate_range_rpm=plate_rpm)


@pytest.mark.parametrize("off_between", [False, True])
@pytest.mark.parametrize("plate_rpm", [PLATE_RPM, None])
def test_every_speed_is_read_to_a_hundredth_of_a_percent(
    off_between: bool, plate_rpm: tuple[float, float] | None
) -> None:
    # The issue of a comb: orders 1, 2, 9, 12, 18 and 24 sound; half, 2/3 and 3/2 must not win.
    plateaus = plateaus_heard(heard(SPEEDS_RPM, off_between=off_between, plate_rpm=plate_rpm))
    assert [p.spindle_rpm for p in plateaus] == pytest.approx(SPEEDS_RPM, rel=1e-4)


@pytest.mark.parametrize("blades", [7, 9, 10, 11])
def test_a_fan_heard_alone_is_counted_so_that_all_speeds_keep_to_the_plate(blades: int) -> None:
    # One blade more or less puts an end 7 % or more beyond the plate; nothing else tells.
    speeds = [10_200.0, 12_210.0, 14_500.0, 17_230.0, 19_800.0, 21_600.0]
    corners, _ = row_of_speeds(speeds, held_s=4, between_s=0.6, off_between=False)
    sound = Sound(sound_of(corners, orders={blades: 0.03, 2 * blades: 0.02}), SAMPLE_RATE_HZ)
    free = hear_running_free((sound,), plate_range_rpm=PLATE_RPM)
    made = calibrate(
        plateaus_heard(free), settings=parse_settings("1..6"), heard=free, plate_range_rpm=PLATE_RPM
    )
    assert isinstance(made, Calibration)
    assert [p.plateau.spindle_rpm for p in made.points] == pytest.approx(speeds, rel=2e-4)


def test_takes_add_up_and_the_voice_is_learned_from_all() -> None:
    sounds = []
    for speeds in (SPEEDS_RPM[:2], SPEEDS_RPM[2:4], SPEEDS_RPM[4:]):
        corners, _ = row_of_speeds(speeds, held_s=4, between_s=0.6, off_between=False)
        sounds.append(Sound(sound_of(corners, noise=0.05), SAMPLE_RATE_HZ))
    free = hear_running_free(tuple(sounds), plate_range_rpm=PLATE_RPM)
    plateaus = plateaus_heard(free)
    assert [p.take for p in plateaus] == [0, 0, 1, 1, 2, 2]
    assert [p.spindle_rpm for p in plateaus] == pytest.approx(SPEEDS_RPM, rel=1e-4)
    made = calibrate(
        plateaus, settings=parse_settings("1..6"), heard=free, plate_range_rpm=PLATE_RPM
    )
    assert isinstance(made, Calibration)
    assert made.voices is not None
    assert {9, 12, 18, 24} <= set(heard_orders(made.voices))
    assert not {5, 7, 11, 13, 17, 19, 23} & set(heard_orders(made.voices))
    kept = json.loads(json.dumps(calibration_to_json(made)))
    back = calibration_from_json(kept)
    assert back.curve == made.curve
    assert back.points == made.points
    assert back.voices is not None
    assert np.array_equal(back.voices.idle, made.voices.idle)
    with pytest.raises(KeptError, match="another version"):
        calibration_from_json(kept | {"schema": 99})
    with pytest.raises(KeptError, match="damaged"):
        calibration_from_json(kept | {"voice": {"idle": []}})


def test_a_vacuum_that_runs_on_does_not_lead_astray() -> None:
    corners, _ = row_of_speeds(SPEEDS_RPM, held_s=4, between_s=0.6, off_between=False)
    sound = sound_of(corners, noise=0.05)
    time_s = np.arange(len(sound)) / SAMPLE_RATE_HZ
    vacuum = sum(
        0.02 * np.sin(2 * np.pi * order * 331.7 * time_s + order) for order in (1, 2, 7, 14)
    )
    take = Sound((sound + vacuum).astype(np.float32), SAMPLE_RATE_HZ)
    plateaus = plateaus_heard(hear_running_free((take,), plate_range_rpm=PLATE_RPM))
    assert [p.spindle_rpm for p in plateaus] == pytest.approx(SPEEDS_RPM, rel=3e-4)


@pytest.mark.slow
def test_a_loud_router_at_a_speed_that_comes_again_is_no_machine_that_stays() -> None:
    # All orders to 45 stand out, and 15,530 rpm is run twice: its lines lie within 2.5 % of
    # others at the speeds between.
    rendering = render(draw_take("held_out", "plateaus", "clean", seed_of("held_out", 265, 3)))
    samples = (np.asarray(rendering.samples) / 32_768).astype(np.float32)
    take = Sound(samples, float(rendering.plan.sample_rate_hz))
    free = hear_running_free((take,), plate_range_rpm=rendering.plan.plate_range_rpm)
    true = [plateau["rpm"] for plateau in truth(rendering)["plateaus"]]
    made = calibrate(
        plateaus_heard(free), settings=parse_settings("2,3,4,4,3"), heard=free, plate_range_rpm=None
    )
    assert isinstance(made, Calibration)
    assert [point.plateau.spindle_rpm for point in made.points] == pytest.approx(true, rel=5e-4)


@pytest.mark.parametrize("level", [0.0, 0.02])
def test_silence_and_noise_hold_no_plateau(level: float) -> None:
    rng = np.random.default_rng(3)
    sound = Sound((level * rng.standard_normal(12 * 16_000)).astype(np.float32), 16_000)
    free = hear_running_free((sound,), plate_range_rpm=PLATE_RPM)
    assert plateaus_heard(free) == ()
    made = calibrate((), settings=parse_settings("1..6"), heard=free, plate_range_rpm=None)
    assert isinstance(made, Mismatch)
    assert "No steady speed" in explain(made, free, ())[0]


def test_one_setting_too_many_is_told_by_numbers() -> None:
    free = heard(SPEEDS_RPM[:4])
    made = calibrate(
        plateaus_heard(free), settings=parse_settings("1..5"), heard=free, plate_range_rpm=None
    )
    assert isinstance(made, Mismatch)
    assert explain(made, free, ())[0] == "4 steady speeds are heard, but 5 settings are given."


def test_a_wrong_order_is_told_with_the_order_that_fits() -> None:
    free = heard(SPEEDS_RPM[:4])
    made = calibrate(
        plateaus_heard(free), settings=parse_settings("1,3,2,4"), heard=free, plate_range_rpm=None
    )
    assert isinstance(made, Mismatch)
    told = " ".join(explain(made, free, ()))
    assert "does not rise" in told
    assert "They would rise as 1, 2, 3, 4" in told


def test_a_dial_beyond_its_plate_is_told() -> None:
    free = heard(SPEEDS_RPM[2:], plate_rpm=(14_000, 20_000))
    made = calibrate(
        plateaus_heard(free), settings=parse_settings("1..4"), heard=free,
        plate_range_rpm=(14_000, 20_000),
    )  # fmt: skip
    assert isinstance(made, Calibration)
    # 22,340 is 11.7 % over 20,000.
    assert any("12 % above the plate's 20,000" in note for note in made.notes), made.notes


def test_leaps_are_told_from_ramps() -> None:
    leaping = [(0, 15e3), (3, 15e3), (3.04, 18e3), (6, 18e3), (6.04, 15e3), (9, 15e3)]
    ramping = [(0, 15e3), (3, 15e3), (3.5, 18e3), (6, 18e3), (6.5, 15e3), (9, 15e3)]
    assert leaps(track_of(leaping))
    assert not leaps(track_of(ramping))


def test_too_long_and_nothing_are_refused() -> None:
    with pytest.raises(InputError, match=r"length of all takes \(s\)"):
        hear_running_free((Sound(np.zeros(8_000 * 601, np.float32), 8_000),), plate_range_rpm=None)
    with pytest.raises(InputError, match="takes must be"):
        hear_running_free((), plate_range_rpm=None)
