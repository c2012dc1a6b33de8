"""Which plateau is which setting: in the order they were set, and never by force."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum
from itertools import groupby, pairwise

import numpy as np

from analysis.dial.plateaus import Plateau
from analysis.dial.repeats import split_plateau
from analysis.dial.settings import Setting
from analysis.hearing.spindle import SpindleTrack

LEAST_LENGTH = 0.55  # of the usual setting's: a hand holds some 4 to 6 s, less what is lost
FALL = 0.004  # share by which a higher setting may turn slower: wander, warm-up, a hand's aim


class Trouble(Enum):
    """Why the plateaus can't be given their settings."""

    NONE_FOUND = "no plateau"
    TOO_FEW = "fewer plateaus than settings"
    TOO_MANY = "more plateaus than settings"
    NOT_RISING = "speeds that don't rise with the settings"
    ONE_SETTING = "one setting only"
    TWO_MACHINES = "a second machine whose speed changes"


@dataclass(frozen=True, slots=True)
class DialPoint:
    """One plateau with its setting."""

    setting: Setting
    plateau: Plateau


@dataclass(frozen=True, slots=True)
class Mismatch:
    """Plateaus and settings that don't fit, with what could be the matter.

    Attributes
    ----------
    trouble : Trouble
    plateaus : tuple of Plateau
    settings : tuple of Setting
    breaking : tuple of Setting
        The settings that break the rise, fewest first; empty for a wrong count.
    would_rise : tuple of Setting or None
        The same settings in the one order that would rise, if the order alone is wrong.
    """

    trouble: Trouble
    plateaus: tuple[Plateau, ...]
    settings: tuple[Setting, ...]
    breaking: tuple[Setting, ...] = ()
    would_rise: tuple[Setting, ...] | None = None


def match_settings(
    plateaus: tuple[Plateau, ...],
    settings: tuple[Setting, ...],
    tracks: tuple[SpindleTrack, ...],
) -> tuple[DialPoint, ...] | Mismatch:
    """Give each plateau its setting, in order, if the counts agree and the speeds rise.

    The same setting may come more than once, and one after the other without a break: then
    one plateau is parted. A higher setting must not turn slower by more than FALL, beyond
    what the measurement leaves open. `tracks` are those of the takes, by number.
    """
    plateaus = part_repeats(plateaus, settings, tracks)
    if not plateaus:
        return Mismatch(Trouble.NONE_FOUND, plateaus, settings)
    if len(plateaus) != len(settings):
        few = len(plateaus) < len(settings)
        trouble = Trouble.TOO_FEW if few else Trouble.TOO_MANY
        return Mismatch(trouble, plateaus, settings)
    if len({setting.position for setting in settings}) < 2:
        return Mismatch(Trouble.ONE_SETTING, plateaus, settings)
    points = tuple(map(DialPoint, settings, plateaus))
    breaking = breaking_settings(points)
    if breaking:
        return Mismatch(Trouble.NOT_RISING, plateaus, settings, breaking, _order_that_rises(points))
    return points


def part_repeats(
    plateaus: tuple[Plateau, ...],
    settings: tuple[Setting, ...],
    tracks: tuple[SpindleTrack, ...],
) -> tuple[Plateau, ...]:
    """Part plateaus that are one number set again and again, where that makes the count right.

    Else they come back as they are.
    """
    if len(plateaus) >= len(settings):
        return plateaus
    runs = [len(list(run)) for _, run in groupby(settings, key=lambda setting: setting.position)]
    for lengths in part_some(runs, len(plateaus)):
        if not _long_enough(plateaus, lengths):
            continue
        parts = [
            split_plateau(plateau, tracks[plateau.take], length)
            for plateau, length in zip(plateaus, lengths, strict=True)
        ]
        if all(part is not None for part in parts):
            return tuple(one for part in parts if part is not None for one in part)
    return plateaus


def _long_enough(plateaus: tuple[Plateau, ...], lengths: list[int]) -> bool:
    """Whether what is parted is about as long as so many settings: else one was not heard."""
    single = [p.length_s for p, length in zip(plateaus, lengths, strict=True) if length == 1]
    if not single:
        return True
    least_s = LEAST_LENGTH * float(np.median(single))
    return all(
        plateau.length_s >= length * least_s
        for plateau, length in zip(plateaus, lengths, strict=True)
        if length > 1
    )


def part_some(runs: list[int], count: int) -> list[list[int]]:
    """Ways to lay runs of one setting on `count` plateaus: each whole run on one, or singly."""
    ways: list[list[int]] = [[]]
    for run in runs:
        more = [[1] * run] if run == 1 else [[run], [1] * run]
        ways = [way + new for way in ways for new in more if len(way + new) <= count]
    return [way for way in ways if len(way) == count]


def breaking_settings(points: tuple[DialPoint, ...]) -> tuple[Setting, ...]:
    """The fewest settings to leave out so that the rest rise, in dial order."""
    ordered = sorted(points, key=lambda point: (point.setting.position, point.plateau.spindle_rpm))
    # Longest chain in which each point may follow the one before it.
    length = [1] * len(ordered)
    before = [-1] * len(ordered)
    for i, point in enumerate(ordered):
        for j in range(i):
            if _may_follow(ordered[j], point) and length[j] + 1 > length[i]:
                length[i], before[i] = length[j] + 1, j
    kept = set()
    at = int(np.argmax(length))
    while at >= 0:
        kept.add(at)
        at = before[at]
    left_out = [point.setting for i, point in enumerate(ordered) if i not in kept]
    return tuple(dict.fromkeys(left_out))


def _may_follow(lower: DialPoint, higher: DialPoint) -> bool:
    low, high = lower.plateau, higher.plateau
    slack = FALL * high.spindle_rpm + math.hypot(low.spindle_rpm_u95, high.spindle_rpm_u95)
    if lower.setting.position == higher.setting.position:
        return abs(low.spindle_rpm - high.spindle_rpm) < MOST_APART * high.spindle_rpm + slack
    return low.spindle_rpm <= high.spindle_rpm + slack


MOST_APART = 0.03  # share: the aim of a hand, a third of a step on a dial of seven settings


def _order_that_rises(points: tuple[DialPoint, ...]) -> tuple[Setting, ...] | None:
    """The settings sorted to fit the speeds, unless a repeat makes it a guess."""
    if len({point.setting.position for point in points}) < len(points):
        return None
    speeds = [point.plateau.spindle_rpm for point in points]
    if any(high - low < FALL * high for low, high in pairwise(sorted(speeds))):
        return None
    by_position = sorted((point.setting for point in points), key=lambda setting: setting.position)
    rank = np.argsort(np.argsort(speeds))
    return tuple(by_position[place] for place in rank)
