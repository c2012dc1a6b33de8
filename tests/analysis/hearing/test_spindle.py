import numpy as np
import numpy.typing as npt
import pytest

from analysis.hearing.spindle import UNSEEN, SpindleTrack, idle_speed, spindle_track

STEP_S = 0.0235
FloatArray = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]


def told_idle(rotation: FloatArray, free: Mask, *, deviation_hz: float = 0.01) -> FloatArray:
    """Idle speed and its u95, rpm."""
    deviation = np.full(len(rotation), deviation_hz)
    speed, u95 = idle_speed(
        rotation_hz=rotation, deviation_hz=deviation, free=free, step_s=STEP_S
    )  # fmt: skip
    assert speed is not None
    assert u95 is not None
    return np.array([speed, u95])


def test_the_idle_speed_leaves_out_spin_up_and_coasting() -> None:
    up, hold = np.linspace(150, 300, 60), np.full(300, 300.0)
    rotation = np.concatenate([up, hold, up[::-1]])
    speed, u95 = told_idle(rotation, np.ones(len(rotation), bool))
    # The plain mean would be 16,714 rpm.
    assert speed == pytest.approx(18_000, rel=0.001)
    assert 1.96 * 60 * 0.01 <= u95 < 0.01 * speed


def test_the_idle_speed_leaves_out_slow_recovery_too() -> None:
    # 1.5 % in two seconds; taken in, it would pull the mean down by 0.17 %.
    rotation = np.concatenate([np.linspace(295.5, 300, round(2 / STEP_S)), np.full(300, 300.0)])
    assert told_idle(rotation, np.ones(len(rotation), bool))[0] == pytest.approx(18_000, rel=2e-4)


def test_the_idle_speed_is_of_the_free_frames_only() -> None:
    rotation = np.concatenate([np.full(200, 300.0), np.full(200, 285.0), np.full(200, 300.0)])
    free = np.ones(600, bool)
    free[195:405] = False
    assert told_idle(rotation, free)[0] == pytest.approx(18_000, rel=1e-9)


def test_another_dial_setting_does_not_move_the_idle_speed() -> None:
    rotation = np.concatenate([np.full(400, 300.0), np.full(150, 250.0)])
    assert told_idle(rotation, np.ones(550, bool))[0] == pytest.approx(18_000, rel=1e-4)


def test_two_dial_settings_of_equal_length_do_not_leave_it_between_them() -> None:
    rotation = np.concatenate([np.full(300, 300.0), np.full(300, 250.0)])
    speed = told_idle(rotation, np.ones(600, bool))[0]
    assert speed == pytest.approx(18_000, rel=1e-4) or speed == pytest.approx(15_000, rel=1e-4)


def test_the_idle_speeds_interval_holds_its_wander_and_its_reading() -> None:
    rng = np.random.default_rng(1)
    steady = np.full(2_000, 300.0)
    free = np.ones(2_000, bool)
    assert told_idle(steady, free, deviation_hz=0.05)[1] == pytest.approx(1.96 * 60 * 0.05)
    wander = 0.1 * rng.normal(size=2_000)
    # A second of sound counts as one reading of the wander.
    expected = 1.96 * 60 * 0.1 / (2_000 * STEP_S) ** 0.5
    assert told_idle(steady + wander, free, deviation_hz=1e-6)[1] == pytest.approx(
        expected, rel=3 / (2 * 2_000) ** 0.5
    )


@pytest.mark.parametrize("free_frames", [0, 3])
def test_without_running_free_there_is_no_idle_speed(free_frames: int) -> None:
    free = np.arange(200) < free_frames
    speed = idle_speed(
        rotation_hz=np.full(200, 300.0), deviation_hz=np.full(200, 0.01), free=free, step_s=STEP_S
    )
    assert speed == (None, None)


def track(*, sureness: float = 20.0) -> SpindleTrack:
    rotation = np.concatenate(
        [np.full(100, np.nan), np.full(200, 300.0), np.full(100, 290.0), np.full(201, 300.0)]
    )
    contact = np.zeros(601, bool)
    contact[300:400] = True
    return spindle_track(
        rotation_hz=rotation, deviation_hz=np.where(np.isnan(rotation), np.nan, 0.02),
        sureness=np.where(np.isnan(rotation), -sureness, sureness), contact=contact,
        step_s=STEP_S,
    )  # fmt: skip


def test_a_track_is_told_in_rpm_every_other_frame() -> None:
    told = track()
    assert told.time_s == pytest.approx(np.arange(301) * 2 * STEP_S)
    assert np.diff(told.time_s).max() <= 0.05
    assert np.isnan(told.spindle_rpm[:50]).all()
    assert told.spindle_rpm[50:150] == pytest.approx(18_000)
    assert told.spindle_rpm[150:200] == pytest.approx(17_400)
    # Two parts that have nothing to do with each other: root of the sum of squares.
    expected = np.hypot(1.96 * 60 * 0.02, UNSEEN * told.spindle_rpm[50:])
    assert told.spindle_rpm_u95[50:] == pytest.approx(expected)


def test_the_idle_speed_of_a_track_stays_clear_of_the_pass() -> None:
    # Half a second before and after contact the spindle is a third of a percent slow.
    rotation = np.full(600, 300.0)
    contact = np.zeros(600, bool)
    contact[250:350] = True
    rotation[228:372] = 299.0
    told = spindle_track(
        rotation_hz=rotation, deviation_hz=np.full(600, 0.02), sureness=np.full(600, 9.0),
        contact=contact, step_s=STEP_S,
    )  # fmt: skip
    assert told.idle_rpm == pytest.approx(18_000, rel=1e-9)
    assert track().idle_rpm == pytest.approx(18_000, rel=1e-9)


def test_confidence_is_of_what_is_said() -> None:
    told = track()
    off, on = told.confidence[5:45], told.confidence[55:]
    assert off.min() > 0.99
    assert on.min() > 0.99
    # Nothing speaks either way: even odds.
    assert track(sureness=0.0).confidence == pytest.approx(0.5)
    assert track(sureness=1e4).confidence.max() <= 1
    # 4 nats over 9 frames, worth half: 1 / (1 + exp(-2))
    assert track(sureness=4.0).confidence[100] == pytest.approx(1 / (1 + np.exp(-2)))
