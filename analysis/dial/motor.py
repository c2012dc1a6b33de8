"""What load does to the speed: whether it is held electronically or gives way."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum

import numpy as np

from analysis.hearing.passes import HeardPass

# Sag of a held speed scatters about nothing; of an open-loop motor, about several percent,
# widely, with how hard the pass is. Typical figures: common practice.
HELD_PERCENT = 1.3  # a regulated motor still droops by a percent or two
OPEN_PERCENT, OPEN_SPREAD = 7.0, 0.9  # median, and spread of its natural logarithm
PASSES_WORTH = 0.5  # passes of one take share its depth and wood
SURE = 0.95
STRAY = 3e-4  # per percent: a misheard idle speed


class MotorControl(Enum):
    """How a motor answers load."""

    HELD = "speed held electronically"
    GIVES_WAY = "speed gives way under load"
    UNSURE = "cannot tell from these passes"


@dataclass(frozen=True, slots=True)
class MotorReading:
    """What the passes of a take say about the motor.

    Attributes
    ----------
    control : MotorControl
        UNSURE below 95 %.
    chance_held : float
        Probability that the speed is held, 0 to 1, both being as likely beforehand.
    sag_percent : float
        Median loss of speed in the passes; negative where it rose.
    passes : int
        How many passes told.
    """

    control: MotorControl
    chance_held: float
    sag_percent: float
    passes: int


def hear_motor(passes: tuple[HeardPass, ...]) -> MotorReading | None:
    """Tell the kind of motor control from a cutting take; None without a pass and its idle speed.

    A likelihood ratio of two kinds of sag. A light cut sags little either way, so only a sag
    near nothing in several passes, or a clear one, makes it sure.
    """
    sags = [one.sag_percent for one in passes if one.sag_percent is not None]
    if not sags:
        return None
    log_ratio = PASSES_WORTH ** (len(sags) > 1) * sum(_log_ratio(sag) for sag in sags)
    chance_held = 1 / (1 + math.exp(-max(-50.0, min(50.0, log_ratio))))
    if chance_held >= SURE:
        control = MotorControl.HELD
    elif chance_held <= 1 - SURE:
        control = MotorControl.GIVES_WAY
    else:
        control = MotorControl.UNSURE
    return MotorReading(control, chance_held, float(np.median(sags)), len(sags))


def _log_ratio(sag_percent: float) -> float:
    """Log likelihood of one sag, held over giving way; neither may be certain from one pass."""
    held = math.exp(-0.5 * (sag_percent / HELD_PERCENT) ** 2) / HELD_PERCENT
    opened = 0.0
    if sag_percent > 0:
        z = math.log(sag_percent / OPEN_PERCENT) / OPEN_SPREAD
        opened = math.exp(-0.5 * z * z) / (OPEN_SPREAD * sag_percent)
    return math.log((held + STRAY) / (opened + STRAY))
