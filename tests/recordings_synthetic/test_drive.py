"""Speed over time: starting, regulation, sag, coasting."""

from dataclasses import replace

import numpy as np
import pytest

from recordings_synthetic.drive import Drive, Spindle, State, Switching, Turn, spin
from recordings_synthetic.timebase import CONTROL_HZ, Timebase

QUIET = Drive(
    switchings=(Switching(0.5, on=True), Switching(8.0, on=False)),
    turns=(Turn(-30.0, 18_000.0, 1.0),),
    soft_start_s=0.8, overshoot=0.03, coast_s=1.5, coast_shape=3.0, drift_fraction=0.0,
    drift_s=10.0, wander_fraction=0.0, wander_hz=0.5, regulation="open loop", sag_fraction=0.2,
    droop_share=0.5, regulator_hz=1.0, regulator_damping=0.5,
)  # fmt: skip
TIMEBASE = Timebase(12.0, 48_000)


def spun(drive: Drive, load_from_s: float = 99.0, until_s: float = 99.0) -> Spindle:
    load = ((TIMEBASE.control_s >= load_from_s) & (TIMEBASE.control_s < until_s)).astype(float)
    return spin(drive, TIMEBASE, load, np.random.default_rng(1))


def at(values: np.ndarray, time_s: float) -> float:
    return float(values[round(time_s * CONTROL_HZ)])


def test_the_switch_starts_it_softly_with_an_overshoot_and_coasting_ends_at_rest() -> None:
    spindle = spun(QUIET)
    assert at(spindle.rotation_hz, 0.4) == 0
    assert spindle.rotation_hz.max() == pytest.approx(300 * 1.03, rel=0.01)
    assert at(spindle.rotation_hz, 6.0) == pytest.approx(300, rel=1e-3)
    coasting = spindle.rotation_hz[8000:9500]
    assert np.all(np.diff(coasting) < 0)
    assert at(spindle.rotation_hz, 9.51) == 0
    assert State(int(at(spindle.state, 8.5))) is State.COASTING
    assert State(int(at(spindle.state, 9.6))) is State.OFF


def test_friction_and_windage_slow_it_as_they_should() -> None:
    # d f/d t = -(a + c f^2) gives, between two instants, a straight line in f^2.
    spindle = spun(replace(QUIET, coast_shape=4.0))
    hz = spindle.rotation_hz[8050:9400]
    slowing = -np.gradient(hz) * CONTROL_HZ
    slope, friction = np.polyfit(hz[5:-5] ** 2, slowing[5:-5], 1)
    residual = slowing[5:-5] - (slope * hz[5:-5] ** 2 + friction)
    assert np.abs(residual).max() < 1e-3 * slowing.max()
    # Windage over friction at the moment of switching off is the stated shape.
    assert slope * at(spindle.rotation_hz, 8.0) ** 2 / friction == pytest.approx(4.0, rel=0.01)


def test_an_open_loop_motor_stays_down_under_load() -> None:
    spindle = spun(QUIET, 3.0, 7.9)
    # The loss is pressed under 40 %: 0.4 tanh(0.2 / 0.4).
    assert at(spindle.rotation_hz, 7.5) == pytest.approx(300 * (1 - 0.4 * np.tanh(0.5)), rel=1e-3)
    assert at(spindle.no_load_hz, 7.5) == pytest.approx(300, rel=1e-3)


def test_a_regulated_motor_dips_and_comes_back_to_its_droop() -> None:
    spindle = spun(replace(QUIET, regulation="electronic", sag_fraction=0.02), 3.0, 7.9)
    loaded = spindle.rotation_hz[3000:7800]
    assert loaded.min() < 300 * (1 - 0.011)
    assert loaded[-1] == pytest.approx(300 * (1 - 0.01), rel=5e-4)


def test_a_take_that_begins_under_load_begins_settled() -> None:
    always_on = replace(QUIET, switchings=(Switching(-20.0, on=True),))
    spindle = spun(always_on, 0.0, 99.0)
    assert spindle.rotation_hz[0] == pytest.approx(spindle.rotation_hz[3000], rel=1e-6)


def test_wander_has_the_stated_size() -> None:
    drive = replace(
        QUIET, switchings=(Switching(-20.0, on=True),), wander_fraction=0.002, wander_hz=1.5
    )
    long = Timebase(200.0, 8000)
    spindle = spin(drive, long, np.zeros(long.control_count), np.random.default_rng(5))
    # Some 300 independent swings of the fast part, 40 of the slow: 10 % on the whole.
    assert np.std(spindle.rotation_hz) / 300 == pytest.approx(0.002, rel=0.25)
