"""Plateaus: the stretches of a spindle's course in which the speed was left alone."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import combinations, pairwise

import numpy as np
import numpy.typing as npt
from scipy.ndimage import median_filter

from analysis.dial.ends import from_rest, placed_ends
from analysis.hearing.search import spans
from analysis.hearing.spindle import SpindleTrack

FloatArray = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

SHORTEST_S = 1.5  # a hand that turns a dial on does not rest for longer
SETTLING_PER_S = 0.008  # faster than this the speed is still being changed, share per second
SAME_SPEED = 0.006  # share within which two neighbouring stretches are one plateau
LAG_S, SEED_S = 0.4, 0.6
DROP_OUT_S = 1.2  # the track may slip or lose the router for so long inside a plateau
UNSURE = 0.002  # share: unsurer than that the track tells nothing a plateau needs
WANDER = 0.012  # share within which a speed left alone may wander
OVERSHOOT, LONGEST_OVERSHOOT_S = 0.03, 3.5  # share; hands leave a dial alone for longer
IN_CUT, MOST_SAG = 0.5, 0.35  # share of a stretch inside a pass, and of the speed
TURNING_S = 0.3
LEFT, LEFT_S = 0.04, 0.25  # share, and seconds: longer than a slip of the track
LEAPT_S, LEAPT = 0.35, 0.08  # seconds in which no motor changes its speed by that share
LEAPT_LEAST_S = 3.8
HALF_LIFE_S = 0.5  # the spindle's wander is about as long
# What of the wander a mean misses whose stretch begins a tenth later or earlier than the speed
# was settled: two means, one over a share 1 - q of the other, differ by sqrt(q / (1 - q)).
WANDER_SHARE = 0.33
STARTED_S = 1.5  # by which two would differ on when a start from rest has settled
ENDS_SHARE = 0.25  # what of the ends' weight, for most of them are the plateau's


@dataclass(frozen=True, slots=True)
class Plateau:
    """A stretch at one dial setting, running free.

    Attributes
    ----------
    start_s, end_s : float
        Seconds from the start of its take.
    spindle_rpm, spindle_rpm_u95 : float
        Mean speed and the half-width of its 95 % interval.
    unsteadiness_percent : float
        Standard deviation of the speed within the plateau.
    drift_percent : float
        Change of speed from its start to its end, by a straight line.
    take : int
        Index of the take it was heard in.
    """

    start_s: float
    end_s: float
    spindle_rpm: float
    spindle_rpm_u95: float
    unsteadiness_percent: float
    drift_percent: float
    take: int

    @property
    def length_s(self) -> float:
        """Seconds from start to end."""
        return self.end_s - self.start_s


def find_plateaus(
    track: SpindleTrack, *, cuts_s: tuple[tuple[float, float], ...], take: int
) -> tuple[Plateau, ...]:
    """Find the plateaus of a take, in the order of time.

    Left out are ramps, the overshoot after switching on, the tail of a warm-up, coasting,
    and a stretch pulled down by a cut, when the speed before and after it is the same.

    Parameters
    ----------
    track : SpindleTrack
    cuts_s : tuple of (float, float)
        First and last second of each pass that is heard in the same take; a stretch counts as
        cut only if it lies in one.
    take : int
        Index of the take, kept in the result.

    Notes
    -----
    1. Seeds: the speed changes by less than SETTLING_PER_S across +-LAG_S for SEED_S.
    2. A seed grows for as long as the speed stays within SAME_SPEED of it; seeds of one speed
       that meet, DROP_OUT_S apart at most, are one stretch.
    3. What is reached or left faster than a motor turns is another machine's, if it is short
       or comes again.
    4. The ends are put where the speed reaches, and leaves, what its last part settled to.
    5. What lasts less than SHORTEST_S is dropped.
    """
    step_s = step_of(track)
    track = bridged(track, step_s)
    log_rpm = _smooth(np.log(track.spindle_rpm), step_s)
    stretches = _joined(_grown(_seeds(log_rpm, step_s), log_rpm), log_rpm, step_s)
    stretches = _without_leaps(stretches, log_rpm, step_s)
    placed = placed_ends(stretches, np.log(track.spindle_rpm), log_rpm, step_s=step_s)
    kept = [(a, b) for a, b in placed if (b - a) * step_s >= SHORTEST_S]
    kept = _without_overshoot(kept, log_rpm, step_s)
    groups = _without_cuts(kept, log_rpm, track, cuts_s)
    return tuple(
        plateau_on(group, track, step_s=step_s, take=take)
        for group in groups
        if _steady_s(group, track, step_s) >= SHORTEST_S
    )


def may_hold_cuts(track: SpindleTrack) -> bool:
    """Whether a cut by mistake would part a plateau, were one heard: else none need be sought."""
    if not len(track.time_s):
        return False
    everywhere = ((-math.inf, math.inf),)
    without, within = (find_plateaus(track, cuts_s=cuts_s, take=0) for cuts_s in ((), everywhere))
    return len(without) != len(within)


def is_left_for_another(plateau: Plateau, track: SpindleTrack) -> bool:
    """Whether the course leaves a plateau for quite another speed and comes back, in no time.

    No motor does: two machines are heard in turn, and either may be the router.
    """
    within = (track.time_s >= plateau.start_s) & (track.time_s < plateau.end_s)
    off = np.abs(track.spindle_rpm[within] / plateau.spindle_rpm - 1) > LEFT  # NaN is not
    least = round(LEFT_S / step_of(track))
    return any(a > 0 and b < len(off) and b - a >= least for a, b in spans(off))


def step_of(track: SpindleTrack) -> float:
    """Seconds between two values of a track."""
    return float(track.time_s[1] - track.time_s[0]) if len(track.time_s) > 1 else 0.05


def bridged(track: SpindleTrack, step_s: float) -> SpindleTrack:
    """The track drawn straight through unsure moments between which the speed is one.

    Unsure for longer than DROP_OUT_S is all there is to hear, and stays.
    """
    rpm = track.spindle_rpm.copy()
    known = np.isfinite(rpm)
    for first, last in spans(known & (track.spindle_rpm_u95 > UNSURE * rpm)):
        if first == 0 or last == len(rpm) or (last - first) * step_s > DROP_OUT_S:
            continue
        before, after = rpm[first - 1], rpm[last]
        if abs(after - before) < SAME_SPEED * before:  # NaN is not
            rpm[first:last] = np.linspace(before, after, last - first + 2)[1:-1]
    return replace(track, spindle_rpm=rpm)


def _smooth(log_rpm: FloatArray, step_s: float) -> FloatArray:
    """A short running median: single slips of the track are nobody's hand on the dial."""
    smooth = log_rpm.copy()
    width = max(3, 2 * round(0.12 / step_s) + 1)
    for first, last in spans(np.isfinite(log_rpm)):
        smooth[first:last] = median_filter(log_rpm[first:last], width, mode="nearest")
    return smooth


def _seeds(log_rpm: FloatArray, step_s: float) -> list[tuple[int, int]]:
    lag = max(1, round(LAG_S / step_s))
    settled = np.zeros(len(log_rpm), bool)
    for first, last in spans(np.isfinite(log_rpm)):
        if (last - first) * step_s < SEED_S:
            continue
        place = np.arange(first, last)
        before, after = np.maximum(place - lag, first), np.minimum(place + lag, last - 1)
        change = np.abs(log_rpm[after] - log_rpm[before]) / ((after - before) * step_s)
        settled[first:last] = change < SETTLING_PER_S
    return [(a, b) for a, b in spans(settled) if (b - a) * step_s >= SEED_S]


def _grown(seeds: list[tuple[int, int]], log_rpm: FloatArray) -> list[tuple[int, int]]:
    """Seeds with the neighbouring steps of the same speed."""
    grown = []
    for first, last in seeds:
        same = np.abs(log_rpm - np.median(log_rpm[first:last])) < WANDER
        before = np.flatnonzero(~same[:first])
        after = np.flatnonzero(~same[last:])
        a = int(before[-1]) + 1 if len(before) else 0
        b = last + int(after[0]) if len(after) else len(same)
        grown.append((a, b))
    return grown


def _joined(
    stretches: list[tuple[int, int]], log_rpm: FloatArray, step_s: float
) -> list[tuple[int, int]]:
    """Join neighbours of one speed; where two of different speeds overlap, part them."""
    joined: list[tuple[int, int]] = []
    gap, touching = round(DROP_OUT_S / step_s), round(TURNING_S / step_s)
    for first, last in sorted(stretches):
        if joined:
            a, b = joined[-1]
            apart = abs(_level(log_rpm, first, last) - _level(log_rpm, a, b))
            # No dial has two settings so near each other: a wander that takes its time.
            if apart < (WANDER if first - b <= touching else SAME_SPEED) and first - b <= gap:
                joined[-1] = (a, max(b, last))
                continue
            if last <= b:
                continue
            first = max(first, b)
        joined.append((first, last))
    return joined


def _level(log_rpm: FloatArray, first: int, last: int) -> float:
    return float(np.nanmedian(log_rpm[first:last]))


def _without_overshoot(
    stretches: list[tuple[int, int]], log_rpm: FloatArray, step_s: float
) -> list[tuple[int, int]]:
    """Drop a stretch that is the top of an overshoot: just beyond the next, and shorter.

    Beyond is above after a rest, else on the far side seen from the speed before.
    """
    kept: list[tuple[int, int]] = []
    for i, (first, last) in enumerate(stretches):
        if i + 1 < len(stretches):
            a, b = stretches[i + 1]
            above = _level(log_rpm, first, last) - _level(log_rpm, a, b)
            soon = (a - last) * step_s < DROP_OUT_S
            shorter = last - first < b - a
            if from_rest(log_rpm, first, step_s):
                beyond = above
            elif kept and (last - first) * step_s < LONGEST_OVERSHOOT_S:
                beyond = above * np.sign(_level(log_rpm, a, b) - _level(log_rpm, *kept[-1]))
            else:
                beyond = 0.0
            if soon and shorter and 0 < beyond < OVERSHOOT:
                continue
        kept.append((first, last))
    return kept


def _without_leaps(
    stretches: list[tuple[int, int]], log_rpm: FloatArray, step_s: float
) -> list[tuple[int, int]]:
    """Drop what is reached or left faster than a motor turns, and is short or comes again.

    It is another machine's: one that runs on is heard whenever the router is off.
    """

    def level(stretch: tuple[int, int]) -> float:
        return _level(log_rpm, *stretch)

    dropped, reached = set(), []
    for before, after in pairwise(stretches):
        if abs(level(before) - level(after)) < LEAPT or (after[0] - before[1]) * step_s > LEAPT_S:
            continue
        reached.append(after)
        shorter = min(before, after, key=lambda stretch: stretch[1] - stretch[0])
        if (shorter[1] - shorter[0]) * step_s < LEAPT_LEAST_S:
            dropped.add(shorter)
    for one, other in combinations(reached, 2):
        if abs(level(one) - level(other)) < WANDER:
            dropped |= {one, other}
    return [stretch for stretch in stretches if stretch not in dropped]


def _without_cuts(
    stretches: list[tuple[int, int]],
    log_rpm: FloatArray,
    track: SpindleTrack,
    cuts_s: tuple[tuple[float, float], ...],
) -> list[list[tuple[int, int]]]:
    """Group stretches into plateaus: a cut's stretch goes, and its two neighbours are one."""

    def level(stretch: tuple[int, int]) -> float:
        return _level(log_rpm, *stretch)

    def parted_by_a_cut(
        before: tuple[int, int], cut: tuple[int, int], after: tuple[int, int]
    ) -> bool:
        return (
            abs(level(before) - level(after)) < SAME_SPEED
            and 0 < level(before) - level(cut) < MOST_SAG
            and bool(np.isfinite(log_rpm[before[0] : after[1]]).all())
            and _in_a_cut(cut, track, cuts_s)
        )

    groups: list[list[tuple[int, int]]] = []
    i = 0
    while i < len(stretches):
        group = [stretches[i]]
        while i + 2 < len(stretches) and parted_by_a_cut(*stretches[i : i + 3]):
            i += 2
            group.append(stretches[i])
        groups.append(group)
        i += 1
    return groups


def _in_a_cut(
    stretch: tuple[int, int], track: SpindleTrack, cuts_s: tuple[tuple[float, float], ...]
) -> bool:
    start_s, end_s = track.time_s[stretch[0]], track.time_s[stretch[1] - 1]
    inside = sum(max(0.0, min(end_s, last_s) - max(start_s, first_s)) for first_s, last_s in cuts_s)
    return bool(inside > IN_CUT * (end_s - start_s))


def _steady_s(group: list[tuple[int, int]], track: SpindleTrack, step_s: float) -> float:
    """Seconds of a group that hold its speed."""
    speed = np.concatenate([track.spindle_rpm[a:b] for a, b in group])
    speed = speed[np.isfinite(speed)]
    return float(np.count_nonzero(_fair(speed))) * step_s if len(speed) else 0.0


def _fair(speed_rpm: FloatArray) -> Mask:
    """All but slips of the track."""
    return np.asarray(np.abs(speed_rpm / np.median(speed_rpm) - 1) < 2 * SAME_SPEED)


def plateau_on(
    group: list[tuple[int, int]], track: SpindleTrack, *, step_s: float, take: int
) -> Plateau:
    """The plateau that a group of stretches, first step and end (exclusive) of each, makes."""
    places = np.concatenate([np.arange(a, b) for a, b in group])
    places = places[np.isfinite(track.spindle_rpm[places])]
    speed, time_s = track.spindle_rpm[places], track.time_s[places]
    fair = _fair(speed)
    speed, time_s, u95 = speed[fair], time_s[fair], track.spindle_rpm_u95[places][fair]
    mean, spread = float(np.mean(speed)), float(np.std(speed))
    started = from_rest(np.log(track.spindle_rpm), group[0][0], step_s)
    slope = float(np.polyfit(time_s - time_s.mean(), speed, 1)[0]) if len(speed) > 2 else 0.0
    return Plateau(
        start_s=float(track.time_s[group[0][0]]),
        end_s=float(track.time_s[group[-1][1] - 1]) + step_s,
        spindle_rpm=mean,
        spindle_rpm_u95=math.hypot(
            _mean_u95(speed, u95, step_s, started=started),
            mean - _mean_since_near(track, group[0][0], int(places[-1]) + 1, mean),
        ),
        unsteadiness_percent=100 * spread / mean,
        drift_percent=100 * slope * float(time_s[-1] - time_s[0]) / mean,
        take=take,
    )


def _mean_u95(speed: FloatArray, u95: FloatArray, step_s: float, *, started: bool) -> float:
    """95 % half-width of a plateau's mean.

    The track's own uncertainty is that of windows seconds long, so averaging gains nothing on
    it; the spindle's wander averages out over its half-life; and its ends are a judgement, whose
    weight the middle part's mean shows, and after a start from rest the later part's.
    """
    mean = float(np.mean(speed))
    edge = len(speed) // 7
    middle = float(np.mean(speed[edge : len(speed) - edge])) if len(speed) > 2 * edge else mean
    wander = np.std(speed) / np.sqrt(max(1.0, len(speed) * step_s / HALF_LIFE_S))
    ends = ENDS_SHARE * (middle - mean)
    if started:
        late = speed[min(round(STARTED_S / step_s), len(speed) // 2) :]
        ends = np.hypot(ends, float(np.mean(late)) - mean)
    return float(np.hypot(np.hypot(np.median(u95), WANDER_SHARE * 1.96 * wander), ends))


def _mean_since_near(track: SpindleTrack, first: int, last: int, mean_rpm: float) -> float:
    """What the mean were for one who lets a plateau begin where its speed is nearly reached."""
    near = np.abs(track.spindle_rpm[:last] / mean_rpm - 1) < SAME_SPEED  # NaN is not
    off = np.flatnonzero(~near[:first])
    since = slice(int(off[-1]) + 1 if len(off) else 0, last)
    return float(np.mean(track.spindle_rpm[since][near[since]]))
