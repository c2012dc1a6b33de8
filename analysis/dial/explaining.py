"""Why a calibration was refused, in sentences someone at the router understands."""

from __future__ import annotations

import numpy as np

from analysis.dial.listening import FreeHearing
from analysis.dial.matching import Mismatch, Trouble
from analysis.dial.plateaus import MOST_SAG, Plateau, may_hold_cuts
from analysis.dial.settings import Setting
from analysis.hearing.listener import Hearing
from analysis.hearing.search import spans
from analysis.hearing.spindle import SpindleTrack

HELD_S = 0.5
LEAP = 0.04  # share by which no motor changes its speed in a tenth of a second
LEAP_S = 0.1
SAGGING_PERCENT = 1.0
FEW_CUTS = 2
MOST_SPEEDS_CUTTING = 2  # a take of cutting is made at one setting, or two
APART = 0.02  # share


def explain(mismatch: Mismatch, heard: FreeHearing, cuts: tuple[Hearing, ...]) -> tuple[str, ...]:
    """What doesn't fit, what it looks like, and what to do: one sentence each or two.

    `cuts` are the same takes heard for passes, from `hear_cuts`, or none where `cuts_matter`
    says that they'd make no difference.
    """
    return (_what(mismatch), *_why(mismatch, heard, cuts), _what_to_do(mismatch))


def cuts_matter(mismatch: Mismatch, heard: FreeHearing) -> bool:
    """Whether hearing passes in the takes, which is dear, could change what is made of them.

    It could where a plateau may be parted by a cut, or where few speeds are heard and one gives
    way again and again: the take may be one of cutting.
    """
    if mismatch.trouble is Trouble.TWO_MACHINES:
        return False
    if any(may_hold_cuts(track) for track in heard.tracks):
        return True
    few = _speeds_apart(mismatch.plateaus) <= MOST_SPEEDS_CUTTING
    return few and sum(_gives_way(one, heard) for one in mismatch.plateaus) >= FEW_CUTS


def _gives_way(plateau: Plateau, heard: FreeHearing) -> int:
    """How often the speed of a plateau falls, as in a cut, and is won back."""
    speed_rpm = heard.tracks[plateau.take].spindle_rpm
    speed_rpm = speed_rpm[np.isfinite(speed_rpm)]
    sag = 1 - speed_rpm / plateau.spindle_rpm
    cutting = (sag > SAGGING_PERCENT / 100) & (sag < MOST_SAG)
    free = np.abs(sag) < SAGGING_PERCENT / 100
    return sum(a > 0 and b < len(sag) and free[a - 1] and free[b] for a, b in spans(cutting))


def _what(mismatch: Mismatch) -> str:
    found, given = len(mismatch.plateaus), len(mismatch.settings)
    match mismatch.trouble:
        case Trouble.NONE_FOUND:
            return "No steady speed is heard in this take."
        case Trouble.TOO_FEW | Trouble.TOO_MANY:
            return (
                f"{_counted(found, 'steady speed')} {'is' if found == 1 else 'are'} heard, but "
                f"{_counted(given, 'setting')} {'is' if given == 1 else 'are'} given."
            )
        case Trouble.ONE_SETTING:
            return "One setting alone makes no curve."
        case Trouble.TWO_MACHINES:
            return "Two machines are heard that turn from speed to speed, each at its own time."
        case Trouble.NOT_RISING:
            labels = ", ".join(setting.label for setting in mismatch.breaking)
            many = len(mismatch.breaking) > 1
            return (
                f"With the settings in this order the speed does not rise with the dial: setting"
                f"{'s' if many else ''} {labels} break{'' if many else 's'} the row."
            )


def _why(mismatch: Mismatch, heard: FreeHearing, cuts: tuple[Hearing, ...]) -> list[str]:
    if mismatch.trouble is Trouble.TWO_MACHINES:
        return []
    reasons = []
    if any(leaps(track) for track in heard.tracks):
        reasons.append(
            "The speed leaps faster than a motor can, as if two machines were heard in turn. Run "
            "this router alone."
        )
    sagging = sum(
        1
        for hearing in cuts
        for one in hearing.passes
        if one.sag_percent is not None and one.sag_percent > SAGGING_PERCENT
    )
    if sagging >= FEW_CUTS and _speeds_apart(mismatch.plateaus) <= MOST_SPEEDS_CUTTING:
        reasons.append(
            "The speed gives way again and again as it does in a cut. Let the router run free, "
            "with nothing touching the bit."
        )
    elif _speeds_apart(mismatch.plateaus) == 1 and len({s.position for s in mismatch.settings}) > 1:
        reasons.append(
            "They all run at one speed, as with a dial left alone, or in a take of cutting."
        )
    if mismatch.would_rise is not None and len(mismatch.breaking) > 0:
        reasons.append(f"They would rise as {_list(mismatch.would_rise)}: was that the order?")
    same = _same_speeds(mismatch.plateaus)
    if mismatch.trouble is Trouble.TOO_MANY and same:
        reasons.append(
            "Some come more than once: name a setting as often as it was set, or leave out the "
            "take's false starts."
        )
    return reasons


def _what_to_do(mismatch: Mismatch) -> str:
    match mismatch.trouble:
        case Trouble.NONE_FOUND:
            return (
                "Record the router alone, running free, 4 to 6 s at each setting, with the phone "
                "one to three metres away."
            )
        case Trouble.TOO_FEW:
            return (
                "Give only the settings that were run, or record again with nothing else running "
                "and let each run for 4 to 6 s; a setting set twice needs another one, or off, "
                "between."
            )
        case Trouble.TOO_MANY:
            return "Give one setting for each steady speed, in order."
        case Trouble.TWO_MACHINES:
            return "Switch the other one off, and record this router alone."
        case Trouble.ONE_SETTING:
            return "Record at least two settings, better all of them."
        case Trouble.NOT_RISING:
            return "Give the settings in the order you set them."


def leaps(track: SpindleTrack) -> bool:
    """Whether the speed goes from one held value to another in no time, more than once."""
    step_s = float(track.time_s[1] - track.time_s[0]) if len(track.time_s) > 1 else 1.0
    held, across = round(HELD_S / step_s), max(1, round(LEAP_S / step_s))
    speed = np.log(track.spindle_rpm)
    if len(speed) < 2 * held + across + 1:
        return False
    windows = np.lib.stride_tricks.sliding_window_view(speed, held)
    before, after = windows[: -(held + across)], windows[held + across :]
    quiet = (np.ptp(before, axis=1) < LEAP / 8) & (np.ptp(after, axis=1) < LEAP / 8)
    leap = quiet & (np.abs(np.median(after, axis=1) - np.median(before, axis=1)) > LEAP)
    return int(np.count_nonzero(np.diff(leap.astype(np.int8)) == 1)) + int(leap[:1].sum()) > 1


def _speeds_apart(plateaus: tuple[Plateau, ...]) -> int:
    """How many clearly different speeds there are."""
    speeds = np.sort([plateau.spindle_rpm for plateau in plateaus])
    return int(np.count_nonzero(np.diff(speeds) > APART * speeds[:-1])) + min(len(speeds), 1)


def _same_speeds(plateaus: tuple[Plateau, ...]) -> bool:
    speeds = np.sort([plateau.spindle_rpm for plateau in plateaus])
    return bool(np.any(np.diff(speeds) < 0.005 * speeds[:-1])) if len(speeds) > 1 else False


def _counted(number: int, noun: str) -> str:
    return f"{number or 'No'} {noun}{'' if number == 1 else 's'}"


def _list(settings: tuple[Setting, ...]) -> str:
    return ", ".join(setting.label for setting in settings)
