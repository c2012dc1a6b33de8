"""Where a plateau begins and ends: the dial left alone, and a start from rest settled."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from analysis.hearing.search import spans

FloatArray = npt.NDArray[np.float64]

SLOPE_S = 0.1
TURNED_PER_S = 0.03  # share per second: no hand turns a dial so slowly
NEAR_END_S = 0.5
LEFT = 0.004  # share: no wander changes the speed so fast by so much
OVERSHOOT_S, FITTED_S = 1.5, 3.0
LATEST_S = 0.8  # after the speed is nearly reached: what is fastest later has wandered there
TAUS_S = np.array([0.1, 0.14, 0.2, 0.28, 0.4, 0.55])
LEAST_OVERSHOOT, CLEAR_OF_WANDER = 0.003, 2.5  # share; standard deviations
DIED_AWAY_TAUS = 3.9  # to a tenth of its height
FEWEST_STEPS = 5
TURN_TAUS_S = np.array([0.1, 0.15, 0.2, 0.3, 0.4, 0.55, 0.8, 1.2, 1.8])
LEAST_FITTED_S, FEWEST_TURNS = 2.0, 3
CLEAR_ENOUGH = 5.0  # times what is left beside it: clearer says no more
ONE_SIDED = 4.0  # standard deviations of a mean over the turns
PLAIN, PLAINLY, QUICK_S = 0.005, 12.0, 0.6  # share; times what is left beside it; tau
ARRIVED = 0.0007  # share: what is left of a way adds a hundredth of a percent to a mean, no more
LEAST_KEPT_S = 2.6  # of a plateau, however slowly it arrives
ALIKE = 0.5  # of the usual overshoot
SPIN_UP_S, LOST_S = 2.5, 1.7  # no ramp takes so long
MOMENT_S, HELD_S = 0.5, 1.5


def placed_ends(
    stretches: list[tuple[int, int]], log_rpm: FloatArray, smooth: FloatArray, *, step_s: float
) -> list[tuple[int, int]]:
    """Move stretches' ends in to where the speed is no longer, and not yet, being changed.

    Parameters
    ----------
    stretches : list of (int, int)
        First step and end (exclusive) of each, some of a ramp included.
    log_rpm, smooth : arrays, shape (steps,)
        Logarithm of the speed, and the same without slips; NaN where off.
    step_s : float
    """
    near = round(NEAR_END_S / step_s)
    placed = []
    for first, last in stretches:
        piece = log_rpm[first:last]
        start = _left_alone(piece, step_s=step_s, near=near)
        end = len(piece) - _left_alone(piece[::-1], step_s=step_s, near=near)
        placed.append((first + start, first + max(start, end)))
    settled = _settled(stretches, smooth, step_s)
    placed = [
        (min(max(start, after_start), end), end)
        for (start, end), after_start in zip(placed, settled, strict=True)
    ]
    reached = _reached(placed, smooth, step_s)
    return [(min(start, end), end) for start, (_, end) in zip(reached, placed, strict=True)]


def _reached(stretches: list[tuple[int, int]], log_rpm: FloatArray, step_s: float) -> list[int]:
    """Steps at which a speed that is still on its way to where the dial was turned has come there.

    What is left of the way, or of what a regulator goes too far, dies away as exp(-t/tau), with
    one tau for all turns of a take, and one for all starts from rest: a motor is the same each
    time. It is believed where it lies to one side, seen from the speed before, in turn after turn,
    as no wander does, and is quick: what takes longer is a wander, or warming up.
    """
    starts = [first for first, _ in stretches]
    turns: dict[bool, dict[int, tuple[FloatArray, FloatArray]]] = {False: {}, True: {}}
    for place, (first, last) in enumerate(stretches):
        piece = log_rpm[first : min(last, first + round(FITTED_S / step_s))]
        rested = from_rest(log_rpm, first, step_s)
        known = np.isfinite(piece).all() and (rested or place > 0)
        if not known or len(piece) * step_s < LEAST_FITTED_S:
            continue
        before = -np.inf if rested else _level(log_rpm, stretches[place - 1])
        side = np.sign(before - _level(log_rpm, (first, last)))
        left = np.exp(-np.arange(len(piece)) * step_s / TURN_TAUS_S[:, None])
        heights, scatter = _beside(piece, left)
        turns[rested][place] = side * heights, scatter
    for rested, alike in turns.items():
        on_their_way = _on_their_way(alike, either_side=not rested) or _plainly_on_their_way(alike)
        for place, tau_s, height in on_their_way:
            if height > ARRIVED:
                first, last = stretches[place]
                way = round(float(np.log(height / ARRIVED)) * tau_s / step_s)
                starts[place] += min(way, max(0, last - first - round(LEAST_KEPT_S / step_s)))
    return starts


def _on_their_way(
    turns: dict[int, tuple[FloatArray, FloatArray]], *, either_side: bool
) -> list[tuple[int, float, float]]:
    """Which of some turns that end alike begin off their speed, the tau, and how far off, a share.

    `turns` holds for each the heights and what is left beside them, for each tau. What lies on
    the far side of a speed, seen from the one before, counts only if `either_side` does.
    """
    if len(turns) < FEWEST_TURNS:
        return []
    heights, scatter = (np.array(values) for values in zip(*turns.values(), strict=True))
    best = int(np.argmin(np.log(scatter).sum(axis=0)))
    clear = np.clip(heights[:, best] / scatter[:, best], -CLEAR_ENOUGH, CLEAR_ENOUGH)
    alike = abs(clear.mean()) > ONE_SIDED * clear.std(ddof=1) / np.sqrt(len(clear))
    near = either_side or clear.mean() > 0
    if not (alike and near) or best == len(TURN_TAUS_S) - 1:
        return []
    towards = heights[:, best] * np.sign(clear.mean())
    tau_s = float(TURN_TAUS_S[best])
    return [(place, tau_s, height) for place, height in zip(turns, towards.tolist(), strict=True)]


def _plainly_on_their_way(
    turns: dict[int, tuple[FloatArray, FloatArray]],
) -> list[tuple[int, float, float]]:
    """The same for turns that are few, on the near side: so far, and gone so soon, is no wander."""
    plain = []
    for place, (heights, scatter) in turns.items():
        best = int(np.argmin(scatter))
        height, tau_s = float(heights[best]), float(TURN_TAUS_S[best])
        if height > max(PLAIN, PLAINLY * scatter[best]) and tau_s < QUICK_S:
            plain.append((place, tau_s, height))
    return plain


def _level(log_rpm: FloatArray, stretch: tuple[int, int]) -> float:
    return float(np.nanmedian(log_rpm[slice(*stretch)]))


def _left_alone(piece: FloatArray, *, step_s: float, near: int) -> int:
    """The first step at which the dial is left alone: beyond the last fast change near the end."""
    reach = max(1, round(SLOPE_S / step_s))
    place = np.arange(len(piece))
    before, after = np.maximum(place - reach, 0), np.minimum(place + reach, len(piece) - 1)
    per_s = (piece[after] - piece[before]) / (np.maximum(after - before, 1) * step_s)
    start = 0
    for first, last in spans(np.abs(per_s) > TURNED_PER_S):
        change = abs(piece[after[last - 1]] - piece[before[first]])
        if first == 0 or (first < near and change > LEFT):
            start = last
    return start


def _settled(stretches: list[tuple[int, int]], log_rpm: FloatArray, step_s: float) -> list[int]:
    """Steps at which what starts from rest overshoot has died away, else the stretches' first.

    A bump (1 + t/tau) exp(-t/tau) from the highest speed on, that of a critically damped
    system, is fitted beside each settled speed. A motor starts alike each time, so tau is that
    which fits all starts of a take best, and one start's wander is not taken for its bump. Nor
    need the rest have been silent, if what is lost before a stretch is followed by that bump.
    """
    settled = [first for first, _ in stretches]
    starts: dict[int, _Start] = {}
    for place, (first, last) in enumerate(stretches):
        if lost_before(log_rpm, first, step_s):
            start = _start(log_rpm, first, last, step_s)
            if start is not None:
                starts[place] = start
    rested = [place for place in starts if from_rest(log_rpm, stretches[place][0], step_s)]
    if not rested:
        return settled
    heights, scatter = (np.array([starts[place][i] for place in rested]) for i in (1, 2))
    best = int(np.argmin(np.log(scatter).sum(axis=0)))
    height, wander = float(heights[:, best].mean()), float(np.sqrt((scatter[:, best] ** 2).mean()))
    if height < max(LEAST_OVERSHOOT, CLEAR_OF_WANDER * wander / np.sqrt(len(rested))):
        return settled
    died_away = round(DIED_AWAY_TAUS * float(TAUS_S[best]) / step_s)
    for place, start in starts.items():
        alike = start.heights[best] > max(ALIKE * height, CLEAR_OF_WANDER * start.scatter[best])
        if place in rested or (alike and _long_after(stretches, place, step_s)):
            settled[place] = start.top + died_away
    return settled


def _long_after(stretches: list[tuple[int, int]], place: int, step_s: float) -> bool:
    """Whether a stretch begins later after the speed that was held before than a ramp takes."""
    held = [last for first, last in stretches[:place] if (last - first) * step_s > HELD_S]
    return not held or (stretches[place][0] - held[-1]) * step_s > LOST_S


class _Start(NamedTuple):
    """What may be a start: where it is fastest, and how a bump fits from there on, for each tau."""

    top: int
    heights: FloatArray
    scatter: FloatArray


def _start(log_rpm: FloatArray, first: int, last: int, step_s: float) -> _Start | None:
    lost = int(np.flatnonzero(np.isnan(log_rpm[:first]))[-1]) if first else -1
    top = lost + 1 + int(np.nanargmax(log_rpm[lost + 1 : first + round(OVERSHOOT_S / step_s)]))
    piece = log_rpm[top : min(last, top + round(FITTED_S / step_s))]
    piece = piece[np.isfinite(piece)]
    if len(piece) < FEWEST_STEPS or (top - first) * step_s > LATEST_S:
        return None
    return _Start(top, *_fitted(piece, step_s))


def _fitted(piece: FloatArray, step_s: float) -> tuple[FloatArray, FloatArray]:
    """Height of the bump and what is left beside it, shape (taus,) each."""
    turn = np.arange(len(piece)) * step_s / TAUS_S[:, None]
    return _beside(piece, (1 + turn) * np.exp(-turn))


def _beside(piece: FloatArray, bumps: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Height of each bump, shape (taus, steps), beside a level, and what is left: (taus,) each."""
    aside = bumps - bumps.mean(axis=1, keepdims=True)
    off = piece - piece.mean()
    heights = aside @ off / (aside**2).sum(axis=1)
    left = np.mean((off - heights[:, None] * aside) ** 2, axis=1)
    return heights, np.sqrt(left) + 1e-9


def lost_before(log_rpm: FloatArray, first: int, step_s: float) -> bool:
    """Whether the course was lost, on a ramp or at rest, shortly before a stretch."""
    lost = np.flatnonzero(np.isnan(log_rpm[:first]))
    return bool(len(lost)) and (first - lost[-1]) * step_s <= SPIN_UP_S


def from_rest(log_rpm: FloatArray, first: int, step_s: float) -> bool:
    """Whether the router was off shortly before, and not only lost on a ramp.

    What is heard for a moment while it starts is no speed that was left.
    """
    if not lost_before(log_rpm, first, step_s):
        return False
    last = int(np.flatnonzero(np.isnan(log_rpm[:first]))[-1])
    heard = [b for a, b in spans(np.isfinite(log_rpm[:last])) if (b - a) * step_s > MOMENT_S]
    return not heard or (last + 1 - heard[-1]) * step_s > LOST_S
