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
    begins = every * np.arange(windows)
    steps = len(evidence) - begins[-1]
    scores = evidence[begins + np.arange(steps)[:, None]]
    off = np.zeros((steps, windows), np.float32)
    ramp = glide_cost * np.arange(evidence.shape[1], dtype=np.float32)
    carry_on(scores, off, first=1, ramp=ramp, switch_cost=switch_cost)
    return trace_back(scores, off, ramp=ramp, switch_cost=switch_cost).T


def carry_on(
    scores: npt.NDArray[np.float32],
    off: npt.NDArray[np.float32],
    *,
    first: int,
    ramp: npt.NDArray[np.float32],
    switch_cost: np.float32,
) -> None:
    """Turn the evidence from the step `first` on into scores, in place.

    `scores`, shape (steps, windows, candidates), holds the best courses' scores before that step
    and the evidence from there on; `off`, shape (steps, windows), those of not running. `ramp` is
    what it costs to move by 0, 1, 2, ... candidates.
    """
    ways = np.empty((2, *scores.shape[1:]), np.float32)  # from below, and from above turned round
    for t in range(first, len(scores)):
        previous, now = scores[t - 1], scores[t]
        best = np.maximum.reduce(previous, axis=1)
        np.add(previous, ramp, out=ways[0])
        np.add(previous[:, ::-1], ramp, out=ways[1])
        np.maximum.accumulate(ways, axis=2, out=ways)
        ways -= ramp
        way = np.maximum(ways[0], ways[1, :, ::-1])
        np.maximum(way, (off[t - 1] - switch_cost)[:, None], out=way)
        now += way
        # Only differences matter; taking the best off keeps float32 sharp on long takes.
        now -= best[:, None]
        off[t] = np.maximum(off[t - 1], best - switch_cost) - best


def trace_back(
    scores: npt.NDArray[np.float32],
    off: npt.NDArray[np.float32],
    *,
    ramp: npt.NDArray[np.float32],
    switch_cost: np.float32,
) -> npt.NDArray[np.int64]:
    """The best paths that end with the last step, from `carry_on`, shape (steps, windows)."""
    steps, windows, count = scores.shape
    # What each speed is behind by, told from the one that was gone to; from OFF, the last, nothing.
    slope = np.concatenate([np.zeros_like(ramp), ramp[:0:-1], ramp])
    slopes = np.lib.stride_tricks.sliding_window_view(slope, count)[::-1]
    row = np.arange(windows)
    paths = np.empty((steps, windows), np.int64)
    state = scores[-1].argmax(axis=1)
    paths[-1] = state = np.where(scores[-1, row, state] > off[-1], state, OFF)
    for t in range(steps - 2, -1, -1):
        was_off = state == OFF
        came = scores[t] - slopes[state]
        state = came.argmax(axis=1)
        lead = came[row, state] - off[t]
        runs = np.where(was_off, lead > switch_cost, lead >= -switch_cost)
        paths[t] = state = np.where(runs, state, OFF)
    return paths
