"""Plateaus: the stretches of a spindle's course in which the speed was left alone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.ndimage import binary_closing, median_filter

from analysis.hearing.passes import HeardPass
from analysis.hearing.spindle import SpindleTrack, spans

FloatArray = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

SHORTEST_S = 1.5  # a hand that turns a dial on does not rest for longer
LAG_S = 0.4
SETTLING_PER_S = 0.008  # faster than this the speed is still being changed, share per second
SAME_SPEED = 0.006  # share within which two neighbouring stretches are one plateau
DROP_OUT_S = 0.8  # the track may slip or lose the router for so long inside a plateau
TAIL = 0.6  # the last part of a stretch tells where it settled
STRAY = 3.5  # spreads from the settled speed beyond which the ends are still moving
LEAST_STRAY = 0.0008  # share; a start within this of the settled speed has arrived
IN_CUT = 0.5  # share of a stretch inside heard passes
MOST_SAG = 0.35
HALF_LIFE_S = 0.5  # the spindle's wander is about as long


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
    track: SpindleTrack, *, passes: tuple[HeardPass, ...], take: int
) -> tuple[Plateau, ...]:
    """Find the plateaus of a take, in the order of time.

    Left out are ramps, the overshoot after switching on, the tail of a warm-up, coasting,
    and a stretch pulled down by a cut, when the speed before and after it is the same.

    Parameters
    ----------
    track : SpindleTrack
    passes : tuple of HeardPass
        Heard in the same take; a stretch counts as cut only if it lies in one.
    take : int
        Index of the take, kept in the result.

    Notes
    -----
    1. Settled steps: the speed changes by less than SETTLING_PER_S across +-LAG_S.
    2. Neighbouring settled stretches of one speed, DROP_OUT_S apart at most, are joined.
    3. The ends are put where the speed reaches, and leaves, what its last part settled to.
    4. What lasts less than SHORTEST_S is dropped.
    """
    step_s = float(track.time_s[1] - track.time_s[0]) if len(track.time_s) > 1 else 0.05
    log_rpm = _smooth(np.log(track.spindle_rpm), step_s)
    stretches = _joined(_settled(log_rpm, step_s), log_rpm, step_s)
    placed = [_ends(log_rpm, first, last, step_s) for first, last in stretches]
    kept = [(a, b) for a, b in placed if (b - a) * step_s >= SHORTEST_S]
    groups = _without_cuts(kept, log_rpm, track, passes)
    return tuple(_plateau(group, track, step_s=step_s, take=take) for group in groups)


def _smooth(log_rpm: FloatArray, step_s: float) -> FloatArray:
    """A short running median: single slips of the track are nobody's hand on the dial."""
    smooth = log_rpm.copy()
    width = max(3, 2 * round(0.12 / step_s) + 1)
    for first, last in spans(np.isfinite(log_rpm)):
        smooth[first:last] = median_filter(log_rpm[first:last], width, mode="nearest")
    return smooth


def _settled(log_rpm: FloatArray, step_s: float) -> Mask:
    lag = max(1, round(LAG_S / step_s))
    settled = np.zeros(len(log_rpm), bool)
    for first, last in spans(np.isfinite(log_rpm)):
        length = last - first
        if length * step_s < SHORTEST_S / 2:
            continue
        place = np.arange(first, last)
        before, after = np.maximum(place - lag, first), np.minimum(place + lag, last - 1)
        change = np.abs(log_rpm[after] - log_rpm[before]) / ((after - before) * step_s)
        settled[first:last] = change < SETTLING_PER_S
    return settled


def _joined(settled: Mask, log_rpm: FloatArray, step_s: float) -> list[tuple[int, int]]:
    """Stretches of settled steps; those that a slip parted are one."""
    joined: list[tuple[int, int]] = []
    gap = round(DROP_OUT_S / step_s)
    for first, last in spans(binary_closing(settled, iterations=2) & np.isfinite(log_rpm)):
        if (last - first) * step_s < 0.2:
            continue
        if joined and first - joined[-1][1] <= gap:
            a, b = joined[-1]
            reach = round(1.0 / step_s)
            left = np.nanmedian(log_rpm[max(a, b - reach) : b])
            right = np.nanmedian(log_rpm[first : min(last, first + reach)])
            if abs(right - left) < SAME_SPEED:
                joined[-1] = (a, last)
                continue
        joined.append((first, last))
    return joined


def _ends(log_rpm: FloatArray, first: int, last: int, step_s: float) -> tuple[int, int]:
    """Move a stretch's ends in, or out, to where the speed reached and left its settled value."""
    piece = log_rpm[first:last]
    tail = piece[round((1 - TAIL) * len(piece)) : max(1, len(piece) - round(0.2 / step_s))]
    if not len(tail) or np.isnan(tail).all():
        return first, first
    middle = float(np.nanmedian(tail))
    spread = 1.4826 * float(np.nanmedian(np.abs(tail - middle)))
    reach = round(LAG_S / step_s)
    a, b = max(0, first - reach), min(len(log_rpm), last + reach)
    near = np.abs(log_rpm[a:b] - middle) <= max(STRAY * spread, LEAST_STRAY)
    inside = a + np.flatnonzero(near)
    return (int(inside[0]), int(inside[-1]) + 1) if len(inside) else (first, first)


def _without_cuts(
    stretches: list[tuple[int, int]],
    log_rpm: FloatArray,
    track: SpindleTrack,
    passes: tuple[HeardPass, ...],
) -> list[list[tuple[int, int]]]:
    """Group stretches into plateaus: a cut's stretch goes, and its two neighbours are one."""

    def level(stretch: tuple[int, int]) -> float:
        return float(np.nanmedian(log_rpm[slice(*stretch)]))

    def parted_by_a_cut(
        before: tuple[int, int], cut: tuple[int, int], after: tuple[int, int]
    ) -> bool:
        return (
            abs(level(before) - level(after)) < SAME_SPEED
            and 0 < level(before) - level(cut) < MOST_SAG
            and bool(np.isfinite(log_rpm[before[0] : after[1]]).all())
            and _in_a_pass(cut, track, passes)
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


def _in_a_pass(
    stretch: tuple[int, int], track: SpindleTrack, passes: tuple[HeardPass, ...]
) -> bool:
    start_s, end_s = track.time_s[stretch[0]], track.time_s[stretch[1] - 1]
    inside = sum(
        max(0.0, min(end_s, heard.exit_s) - max(start_s, heard.entry_s)) for heard in passes
    )
    return bool(inside > IN_CUT * (end_s - start_s))


def _plateau(
    group: list[tuple[int, int]], track: SpindleTrack, *, step_s: float, take: int
) -> Plateau:
    places = np.concatenate([np.arange(a, b) for a, b in group])
    places = places[np.isfinite(track.spindle_rpm[places])]
    speed, time_s = track.spindle_rpm[places], track.time_s[places]
    middle = np.median(speed)
    fair = np.abs(speed / middle - 1) < 2 * SAME_SPEED  # slips of the track
    speed, time_s, u95 = speed[fair], time_s[fair], track.spindle_rpm_u95[places][fair]
    mean = float(np.mean(speed))
    spread = float(np.std(speed))
    slope = float(np.polyfit(time_s - time_s.mean(), speed, 1)[0]) if len(speed) > 2 else 0.0
    return Plateau(
        start_s=float(track.time_s[group[0][0]]),
        end_s=float(track.time_s[group[-1][1] - 1]) + step_s,
        spindle_rpm=mean,
        spindle_rpm_u95=_mean_u95(spread, u95, length_s=len(speed) * step_s),
        unsteadiness_percent=100 * spread / mean,
        drift_percent=100 * slope * float(time_s[-1] - time_s[0]) / mean,
        take=take,
    )


def _mean_u95(spread: float, u95: FloatArray, *, length_s: float) -> float:
    """95 % half-width of a plateau's mean.

    The track's own uncertainty is that of windows seconds long, so averaging gains nothing
    on it; the spindle's wander averages out over its half-life.
    """
    return float(
        np.hypot(np.median(u95), 1.96 * spread / np.sqrt(max(1.0, length_s / HALF_LIFE_S)))
    )
