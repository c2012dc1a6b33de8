"""The likeliest course of the spindle speed through a take, "not running" included."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

OFF = -1  # marks "not running" in a path


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
    """
    steps, count = evidence.shape
    ramp = np.float32(glide_cost) * np.arange(count, dtype=np.float32)
    scores = np.empty((steps, count), np.float32)
    off = np.empty(steps)
    # Both directions in one array, the second one counted from the other end.
    ways = np.empty((2, count), np.float32)
    back = ways[1, ::-1]
    scores[0], off[0] = evidence[0], 0.0
    for t in range(1, steps):
        previous, now = scores[t - 1], scores[t]
        best = float(np.maximum.reduce(previous))
        np.add(previous, ramp, out=ways[0])
        np.add(previous[::-1], ramp, out=ways[1])
        np.maximum.accumulate(ways, axis=1, out=ways)
        ways -= ramp
        np.maximum(ways[0], back, out=now)
        np.maximum(now, off[t - 1] - switch_cost, out=now)
        now += evidence[t]
        # Only differences matter; taking the best off keeps float32 sharp on long takes.
        now -= np.float32(best)
        off[t] = max(off[t - 1], best - switch_cost) - best
    path = np.empty(steps, np.int64)
    last = int(np.argmax(scores[-1]))
    state = last if scores[-1, last] > off[-1] else OFF
    path[-1] = state
    slope = np.float32(glide_cost) * np.abs(np.arange(1 - count, count))
    for t in range(steps - 2, -1, -1):
        if state == OFF:
            best = int(scores[t].argmax())
            state = OFF if off[t] >= scores[t, best] - switch_cost else best
        else:
            came = scores[t] - slope[count - 1 - state : 2 * count - 1 - state]
            best = int(came.argmax())
            state = best if came[best] >= off[t] - switch_cost else OFF
        path[t] = state
    return path
