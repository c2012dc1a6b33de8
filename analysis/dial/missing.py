"""Plateaus that the settings say are there, though they were not heard by themselves.

Their place among the others says when they ran, and the dial between which speeds.
"""

from __future__ import annotations

from itertools import combinations, groupby, permutations
from typing import NamedTuple

import numpy as np

from analysis.dial.listening import FreeHearing, HeardTake, hear_again
from analysis.dial.loudness import as_loud
from analysis.dial.matching import FALL, LEAST_LENGTH, DialPoint, breaking_settings, part_some
from analysis.dial.plateaus import WANDER, Plateau, find_plateaus
from analysis.dial.repeats import split_plateau
from analysis.dial.settings import Setting
from analysis.hearing.plate import ANY_ROUTER_RPM
from analysis.hearing.spindle import SpindleTrack

MOST_MISSING = 2
OFF_PLATE = 1.08  # a plate's speeds may be so far off
SAME_SETTING = 0.02  # share by which a hand's aim at one number may differ
LEAST_WORTH = 20.0  # nats, three times what the best of a thousand places wins by chance
LEAST_AHEAD = 8.0  # nats, of any other speed
UNTOLD_WORTH = (
    40.0  # nats for one that nobody told of: all of a plate is looked at, and it may not be
)
UNSURE = 0.01  # share: as far as a speed that was left alone may wander
AT_ONCE_S = 0.2  # within which one plateau may follow another


class _Run(NamedTuple):
    """Settings of one number in a row, on one plateau."""

    setting: Setting
    times: int


class _Found(NamedTuple):
    """A plateau of the second look, the track it was found on, and its worth, nats."""

    plateau: Plateau
    track: SpindleTrack
    worth: float


def with_missing(
    plateaus: tuple[Plateau, ...],
    settings: tuple[Setting, ...],
    heard: FreeHearing,
    *,
    plate_range_rpm: tuple[float, float] | None,
    one_is_wrong: bool,
    others: tuple[Plateau, ...] = (),
) -> tuple[Plateau, ...] | None:
    """The plateaus with those that were missing, in order; None if some can't be found.

    Where `one_is_wrong`, a plateau is given up for another at its time: it was another
    machine's. So may `others` be, which are not among the plateaus.
    """
    limits_rpm = _limits(plate_range_rpm)
    best: tuple[float, tuple[Plateau, ...]] | None = None
    for given_up in range(len(plateaus)) if one_is_wrong else (None,):
        kept = tuple(p for i, p in enumerate(plateaus) if i != given_up)
        wrong = others if given_up is None else (*others, plateaus[given_up])
        for row, places in _rows(settings, len(kept)):
            # Two that are missing side by side share a gap: the one that is found first, the
            # likelier, leaves the other its room.
            for order in permutations(places):
                found = _filled(kept, row, order, heard, limits_rpm, wrong)
                if found is not None and (best is None or found[0] > best[0]):
                    best = found
    return None if best is None else best[1]


def _limits(plate_range_rpm: tuple[float, float] | None) -> tuple[float, float]:
    low_rpm, high_rpm = plate_range_rpm or ANY_ROUTER_RPM
    return low_rpm / OFF_PLATE, high_rpm * OFF_PLATE


def _rows(settings: tuple[Setting, ...], heard: int) -> list[tuple[list[_Run], tuple[int, ...]]]:
    """Ways to lay the settings on the plateaus, and which places of a row were not heard."""
    runs = [list(run) for _, run in groupby(settings, key=lambda setting: setting.position)]
    rows = []
    for missing in range(1, MOST_MISSING + 1):
        for lengths in part_some([len(run) for run in runs], heard + missing):
            row, rest = [], list(settings)
            for length in lengths:
                row.append(_Run(rest[0], length))
                rest = rest[length:]
            rows += [(row, places) for places in combinations(range(len(row)), missing)]
    return rows


def _filled(
    kept: tuple[Plateau, ...],
    row: list[_Run],
    places: tuple[int, ...],
    heard: FreeHearing,
    limits_rpm: tuple[float, float],
    wrong: tuple[Plateau, ...],
) -> tuple[float, tuple[Plateau, ...]] | None:
    """The plateaus with the row's missing places filled, in the order given, and their worth."""
    at: list[Plateau | None] = list(kept)
    for place in sorted(places):
        at.insert(place, None)
    if _breaks(row, at):
        return None
    total = 0.0
    parted: dict[int, tuple[Plateau, ...]] = {}
    for place in places:
        found = _look_again(row, at, place, heard, limits_rpm, wrong)
        if found is None:
            return None
        at[place] = found.plateau
        total += found.worth
        # By the track it was found on: the take's own track did not follow it.
        parts = split_plateau(found.plateau, found.track, row[place].times)
        if parts is None:
            return None
        parted[place] = parts
    return total, tuple(
        one
        for place, plateau in enumerate(at)
        if plateau is not None
        for one in parted.get(place, (plateau,))
    )


def _breaks(row: list[_Run], at: list[Plateau | None]) -> bool:
    points = [
        DialPoint(run.setting, plateau)
        for run, plateau in zip(row, at, strict=True)
        if plateau is not None
    ]
    return not points or bool(breaking_settings(tuple(points)))


def _look_again(
    row: list[_Run],
    at: list[Plateau | None],
    place: int,
    heard: FreeHearing,
    limits_rpm: tuple[float, float],
    wrong: tuple[Plateau, ...],
) -> _Found | None:
    """The plateau of one place."""
    between_rpm = _between(row, at, place, limits_rpm)
    before = next((p for p in reversed(at[:place]) if p is not None), None)
    after = next((p for p in at[place + 1 :] if p is not None), None)
    # What goes on at one speed is one plateau, unless its number was set again.
    others = [
        p
        for run, p in zip(row, at, strict=True)
        if p is not None
        and p in (before, after)
        and run.setting.position != row[place].setting.position
    ]
    best: _Found | None = None
    first = before.take if before is not None else 0
    last = after.take if after is not None else len(heard.takes) - 1
    for take in range(first, last + 1):
        track = heard.tracks[take]
        step_s = 2 * heard.takes[take].spectra.grid.step_s
        start_s, end_s = 0.0, len(heard.takes[take].spectra.excess) * step_s
        if before is not None and before.take == take:
            start_s = _reach_s(before, track)[1] + AT_ONCE_S
        if after is not None and after.take == take:
            end_s = _reach_s(after, track)[0] - AT_ONCE_S
        but_not = next((p for p in wrong if p.take == take and start_s < p.end_s <= end_s), None)
        found = _held(
            heard, take, between_s=(start_s, end_s), between_rpm=between_rpm, but_not=but_not
        )
        if found is None or (best is not None and found.worth <= best.worth):
            continue
        if not any(_goes_on(found.plateau, other) for other in others):
            best = found
    return best


def _reach_s(plateau: Plateau, track: SpindleTrack) -> tuple[float, float]:
    """First and last second to which the course keeps to a plateau's speed beyond its ends.

    There it had not settled yet, or no longer: no other setting ran.
    """
    near = np.abs(track.spindle_rpm / plateau.spindle_rpm - 1) < WANDER  # NaN is not
    before = track.time_s[~near & (track.time_s < plateau.start_s)]
    after = track.time_s[~near & (track.time_s >= plateau.end_s)]
    first = float(before[-1]) if len(before) else 0.0
    last = float(after[0]) if len(after) else plateau.end_s
    return min(first, plateau.start_s), max(last, plateau.end_s)


def _held(
    heard: FreeHearing,
    take: int,
    *,
    between_s: tuple[float, float],
    between_rpm: tuple[float, float],
    told: bool = True,
    but_not: Plateau | None = None,
) -> _Found | None:
    """The likeliest plateau in a time and a range of speeds, if one is likely at all."""
    again = hear_again(
        heard.takes[take],
        between_s=between_s,
        between_rpm=between_rpm,
        faint=told,
        but_not=but_not,
    )
    if again is None:
        return None
    track, held = again
    if held.worth < (LEAST_WORTH if told else UNTOLD_WORTH) or (told and held.ahead < LEAST_AHEAD):
        return None
    found = find_plateaus(track, cuts_s=(), take=take)
    longest = max(found, key=lambda plateau: plateau.length_s, default=None)
    if longest is None or longest.spindle_rpm_u95 > UNSURE * longest.spindle_rpm:
        return None
    return _Found(longest, track, held.worth)


def gaps_s(
    plateaus: list[Plateau], take: HeardTake, *, clear_s: float = 0.0
) -> list[tuple[float, float]]:
    """First and last second of what a take holds before, between and after its plateaus.

    The plateaus lie in the order of time; so long beside each is left out.
    """
    length_s = len(take.spectra.excess) * 2 * take.spectra.grid.step_s
    starts = [0.0, *(plateau.end_s + clear_s for plateau in plateaus)]
    ends = [*(plateau.start_s - clear_s for plateau in plateaus), length_s]
    return list(zip(starts, ends, strict=True))


def not_told_of(
    plateaus: tuple[Plateau, ...],
    heard: FreeHearing,
    *,
    plate_range_rpm: tuple[float, float] | None,
) -> tuple[Plateau, ...]:
    """Plateaus that are likely in the gaps between those that the settings were laid on.

    Where one was not heard by itself and its setting was not given either, the counts agree,
    and every later setting would be laid on the speed of the one before.
    """
    limits_rpm = _limits(plate_range_rpm)
    least_s = LEAST_LENGTH * float(np.median([plateau.length_s for plateau in plateaus]))
    more = []
    for take, one in enumerate(heard.takes):
        mine = sorted((p for p in plateaus if p.take == take), key=lambda p: p.start_s)
        for place, gap_s in enumerate(gaps_s(mine, one, clear_s=AT_ONCE_S)):
            found = _held(heard, take, between_s=gap_s, between_rpm=limits_rpm, told=False)
            beside = mine[max(place - 1, 0) : place + 1]
            if found is None or found.plateau.length_s < least_s:
                continue
            if not any(_goes_on(found.plateau, p) for p in beside):
                more.append(found.plateau)
    return as_loud(tuple(more), plateaus, heard.takes)


def _goes_on(found: Plateau, other: Plateau) -> bool:
    """Whether it is the rest of a plateau beside it: no two settings lie so near each other."""
    return abs(found.spindle_rpm / other.spindle_rpm - 1) < WANDER


def _between(
    row: list[_Run], at: list[Plateau | None], place: int, limits_rpm: tuple[float, float]
) -> tuple[float, float]:
    """Between which speeds a place's setting lies, by the plate and all other settings."""
    position = row[place].setting.position
    known = [(run.setting.position, p.spindle_rpm) for run, p in zip(row, at, strict=True) if p]
    same = [rpm for other, rpm in known if other == position]
    if same:
        return (1 - SAME_SETTING) * min(same), (1 + SAME_SETTING) * max(same)
    low = max((rpm for other, rpm in known if other < position), default=limits_rpm[0])
    high = min((rpm for other, rpm in known if other > position), default=limits_rpm[1])
    return (1 - FALL) * low, (1 + FALL) * max(high, low)
