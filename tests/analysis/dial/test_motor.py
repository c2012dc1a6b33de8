from dataclasses import replace

import pytest

from analysis.dial.motor import MotorControl, hear_motor
from tests.analysis.dial.courses import pass_from


def passes(*sags_percent: float) -> tuple[object, ...]:
    return tuple(pass_from(10 * i, 10 * i + 5, sag_percent=s) for i, s in enumerate(sags_percent))


@pytest.mark.parametrize(
    ("sags_percent", "control"),
    [
        ((0.1, -0.2, 0.3, 0.0), MotorControl.HELD),
        # Up to a third of its speed is what an operator's manual calls acceptable without
        # electronics [seen by us in one, not named here]; ten percent is common practice.
        ((10.0, 12.0, 9.0), MotorControl.GIVES_WAY),
        ((30.0,), MotorControl.GIVES_WAY),
        ((1.8,), MotorControl.UNSURE),
    ],
)
def test_the_kind_of_motor_control_is_told_when_it_is_sure(
    sags_percent: tuple[float, ...], control: MotorControl
) -> None:
    reading = hear_motor(passes(*sags_percent))  # type: ignore[arg-type]
    assert reading is not None
    assert reading.control is control
    assert reading.passes == len(sags_percent)


def test_more_passes_make_it_surer() -> None:
    one = hear_motor(passes(5.0))  # type: ignore[arg-type]
    four = hear_motor(passes(5.0, 5.0, 5.0, 5.0))  # type: ignore[arg-type]
    assert one is not None
    assert four is not None
    assert four.chance_held < one.chance_held < 0.5


def test_without_a_pass_or_its_idle_speed_nothing_is_claimed() -> None:
    assert hear_motor(()) is None
    assert hear_motor((replace(pass_from(0, 5), sag_percent=None),)) is None
