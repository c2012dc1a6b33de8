import itertools

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.hearing.orders import TOP_ORDER
from analysis.hearing.search import spans
from analysis.hearing.spectra import FLOOR_EVERY, SpectrumGrid
from analysis.hearing.spindle import (
    TEETH,
    UNSEEN,
    SpindleTrack,
    as_frames,
    candidate_range_hz,
    idle_speed,
    spindle_track,
    teeth_orders,
)

STEP_S = 0.0235
FloatArray = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]


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


@pytest.mark.parametrize(
    ("plate_rpm", "low_hz", "high_hz"),
    [
        # A third of the plate's lowest speed may be lost in the cut, 8 % on top of its highest.
        ((12_000.0, 24_000.0), 12_000 * 2 / 3 / 60, 24_000 * 1.08 / 60),
        (None, 8_000 * 2 / 3 / 60, 35_000 * 1.08 / 60),
    ],
)
def test_where_the_rotation_is_looked_for(
    plate_rpm: tuple[float, float] | None, low_hz: float, high_hz: float
) -> None:
    assert candidate_range_hz(plate_rpm) == pytest.approx((low_hz, high_hz))


def test_frames_are_set_against_their_floor_and_paired() -> None:
    grid = SpectrumGrid(8_000.0)
    rng = np.random.default_rng(1)
    powers = np.log(rng.exponential(size=(131, grid.bins))).astype(np.float32)
    bands = rng.normal(size=(131, 5)).astype(np.float32)
    told = as_frames(powers.astype(np.complex64), powers, bands, grid=grid)
    over = powers[:, ::FLOOR_EVERY] - told.log_floor
    # An odd frame at the end has no partner.
    assert told.steps.excess.shape == (65, grid.bins)
    paired = (over[0:130:2] + over[1:131:2]) / 2
    assert told.steps.excess[:, ::FLOOR_EVERY] == pytest.approx(paired, abs=1e-5)
    assert told.steps.bands == pytest.approx((bands[0:130:2] + bands[1:131:2]) / 2, abs=1e-6)
    assert len(told.steps.log_floor) == 65


@pytest.mark.parametrize("flutes", [None, 1, 2, 3, 12])
def test_the_teeths_orders_are_the_multiples_of_the_flutes(flutes: int | None) -> None:
    orders = np.tile(np.arange(1, TOP_ORDER + 1) / 20, (3, 1)).astype(np.float32)
    told = teeth_orders(orders, flutes)
    every = flutes or 1
    expected = [every * n / 20 if every * n <= TOP_ORDER else -0.6 for n in range(1, TEETH + 1)]
    assert told.shape == (3, TEETH)
    assert told[1] == pytest.approx(expected)


def test_an_order_above_the_top_counts_as_noise_and_no_order_counts_too_much() -> None:
    orders = np.full((1, TOP_ORDER), np.nan, np.float32)
    orders[0, :2] = 30.0, -30.0
    assert teeth_orders(orders, 1)[0, :3] == pytest.approx([5, -2, -0.6])


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
