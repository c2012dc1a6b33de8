"""The likeliest course of the spindle speed through a take, "not running" included."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

OFF = -1  # marks "not running" in a path
# Steps from one to the next of the windows gone through side by side, and in which two overlap.
EVERY, OVERLAP = 128, 64


def best_path(
    evidence: npt.NDArray[np.float32], *, glide_cost: float, switch_cost: float
) -> npt.NDArray[np.int64]:
    """Viterbi path through candidate speeds and the off state.

    The cost of a change of speed is proportional to its size in log speed, so that a
    spin-up is cheap for how far it goes and a hop to double speed is dear.

    Parameters
    ----------
    evidence : array, shape (steps, candidates)
        Log likelihood of each candidate against "not running".
    glide_cost : float
        Cost of moving by one candidate, > 0.
    switch_cost : float
        Cost of going from running to off or back, > 0.

    Returns
    -------
    array, shape (steps,)
        Index of the candidate, or OFF.

    Notes
    -----
    The best predecessor under a cost linear in the distance is a running maximum taken
    from both sides (a distance transform), so a step costs a few passes over the
    candidates instead of all pairs. Back-pointers are not kept: a predecessor is found
    again on the way back.

    What lies seconds away hardly ever decides where a path leads. So windows of the take are
    gone through at once, and where two that overlap pass through one state at one time, the one
    goes on as the other: before it the first is the best way there, after it the second the best
    way on. If two never meet, the whole is gone through as one.
    """
    steps = len(evidence)
    windows = max(1, (steps - OVERLAP) // EVERY)
    every = max(0, steps - OVERLAP) // windows
    costs = np.float32(glide_cost), np.float32(switch_cost)
    path = _joined(_paths(evidence, windows, every, *costs), every)
    return _paths(evidence, 1, 0, *costs)[0] if path is None else path


def best_paths(
    evidence: npt.NDArray[np.float32], *, glide_cost: float, switch_cost: float
) -> npt.NDArray[np.int64]:
    """The best paths through several courses of one length, gone through side by side.

    `evidence` has shape (courses, steps, candidates), the paths (courses, steps).
    """
    courses, steps, candidates = evidence.shape
    costs = np.float32(glide_cost), np.float32(switch_cost)
    return _paths(evidence.reshape(courses * steps, candidates), courses, steps, *costs)


def _joined(paths: npt.NDArray[np.int64], every: int) -> npt.NDArray[np.int64] | None:
    """Windows' paths as one, or None if two that follow each other don't meet."""
    whole: npt.NDArray[np.int64] = paths[0]
    for window, path in enumerate(paths[1:], start=1):
        begin = window * every
        met = np.flatnonzero(whole[begin:] == path[: len(whole) - begin])
        if not len(met):
            return None
        meet = met[np.argmin(np.abs(met - OVERLAP // 2))]
        whole = np.concatenate([whole[: begin + meet], path[meet:]])
    return whole


def _paths(
    evidence: npt.NDArray[np.float32],
    windows: int,
    every: int,
    glide_cost: np.float32,
    switch_cost: np.float32,
) -> npt.NDArray[np.int64]:
    """The best path through each of some windows, shape (windows, their steps).

    A window begins `every` so many steps, and the last one ends with the evidence.
    """
    begins, count = (windows - 1) * every, evidence.shape[1]
    steps = len(evidence) - begins
    ramp = glide_cost * np.arange(count, dtype=np.float32)
    if windows == 1:  # by itself it is gone through in half the time
        own, own_off = evidence.astype(np.float32), np.zeros(steps, np.float32)
        carry_on(own, own_off, first=1, ramp=ramp, switch_cost=switch_cost)
        return trace_back(own, own_off, ramp=ramp, switch_cost=switch_cost)[None]
    scores = np.empty((steps, windows, count), np.float32)
    off = np.zeros((steps, windows), np.float32)
    ramps = np.stack([ramp, ramp[::-1]])[:, None]
    ways = np.empty((2, windows, count), np.float32)  # from below and from above
    back = ways[1, :, ::-1]
    scores[0] = evidence[: begins + 1 : every or 1]
    for t in range(1, steps):
        previous, now = scores[t - 1], scores[t]
        best = np.maximum.reduce(previous, axis=1)
        np.add(previous, ramps, out=ways)
        np.maximum.accumulate(ways[0], axis=1, out=ways[0])
        np.maximum.accumulate(back, axis=1, out=back)
        ways -= ramps
        np.maximum(ways[0], ways[1], out=now)
        np.maximum(now, (off[t - 1] - switch_cost)[:, None], out=now)
        now += evidence[t : begins + t + 1 : every or 1]
        # Only differences matter; taking the best off keeps float32 sharp on long takes.
        now -= best[:, None]
        off[t] = np.maximum(off[t - 1], best - switch_cost) - best
    paths = np.empty((windows, steps), np.int64)
    row = np.arange(windows)
    state = scores[-1].argmax(axis=1)
    paths[:, -1] = state = np.where(scores[-1, row, state] > off[-1], state, OFF)
    slope = glide_cost * np.abs(np.arange(1 - count, count))
    # From off it is as far to any speed.
    slope = np.concatenate([slope, np.zeros(count, np.float32)])
    slopes = np.lib.stride_tricks.sliding_window_view(slope, count)
    for t in range(steps - 2, -1, -1):
        was_off = state == OFF
        came = scores[t] - slopes[np.where(was_off, 2 * count - 1, count - 1 - state)]
        state = came.argmax(axis=1)
        lead = came[row, state] - off[t]
        runs = np.where(was_off, lead > switch_cost, lead >= -switch_cost)
        paths[:, t] = state = np.where(runs, state, OFF)
    return paths


def carry_on(
    scores: npt.NDArray[np.float32],
    off: npt.NDArray[np.float32],
    *,
    first: int,
    ramp: npt.NDArray[np.float32],
    switch_cost: np.float32,
) -> None:
    """Turn the evidence from the step `first` on into scores, in place.

    `scores`, shape (steps, candidates), holds the best courses' scores before that step and the
    evidence from there on; `off`, shape (steps,), those of not running. `ramp` is what it costs
    to move by 0, 1, 2, ... candidates.
    """
    ways = np.empty((2, len(ramp)), np.float32)  # from below, and from above turned round
    for t in range(first, len(scores)):
        previous, now = scores[t - 1], scores[t]
        best = previous.max()
        np.add(previous, ramp, out=ways[0])
        np.add(previous[::-1], ramp, out=ways[1])
        np.maximum.accumulate(ways, axis=1, out=ways)
        ways -= ramp
        way = np.maximum(ways[0], ways[1, ::-1])
        np.maximum(way, off[t - 1] - switch_cost, out=way)
        now += way
        # Only differences matter; taking the best off keeps float32 sharp on long takes.
        now -= best
        off[t] = max(off[t - 1], best - switch_cost) - best


def trace_back(
    scores: npt.NDArray[np.float32],
    off: npt.NDArray[np.float32],
    *,
    ramp: npt.NDArray[np.float32],
    switch_cost: np.float32,
) -> npt.NDArray[np.int64]:
    """The best path that ends with the last step, from the scores of `carry_on`, shape (steps,)."""
    count, slope = len(ramp), np.concatenate([ramp[:0:-1], ramp])
    path = np.empty(len(scores), np.int64)
    state = int(scores[-1].argmax())
    path[-1] = state = state if scores[-1, state] > off[-1] else OFF
    for t in range(len(scores) - 2, -1, -1):
        # From off it is as far to any speed.
        came, cost = scores[t], switch_cost
        if state != OFF:
            came, cost = came - slope[count - 1 - state : 2 * count - 1 - state], -switch_cost
        before = int(came.argmax())
        lead = came[before] - off[t]
        runs = lead > cost if state == OFF else lead >= cost
        path[t] = state = before if runs else OFF
    return path
