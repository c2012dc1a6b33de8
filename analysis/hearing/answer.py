"""Does the spindle answer the wood? What a change of load does to the speed at once.

Whatever its governor makes of it later, a motor loses speed in the moment the bit goes in and
wins it back in the moment it comes out. No other machine's speed does that, and no sound tells
it: two states parted by their sound at whose meetings the speed turns so are free and cut.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

BEFORE_S, REACTION_S, AFTER_S = 0.4, 0.05, 0.4
LEAST_MEETINGS, LEAST_ELSEWHERE = 2, 20
LEAST_CHANGE = 2e-4  # ln speed: what a track is good for
MOST_DEVIATIONS = 4.0  # that one meeting can bring


def spindle_answer(rotation_hz: FloatArray, second: Mask, *, step_s: float) -> float:
    """How surely the speed falls where the second of two states begins, and rises where it ends.

    Parameters
    ----------
    rotation_hz : array, shape (frames,)
        NaN where off.
    second : array, shape (frames,)
        Frames in the second state.
    step_s : float
        Seconds from frame to frame.

    Returns
    -------
    float
        In standard deviations of what the speed does elsewhere in as short a time: about 0 if the
        states have nothing to do with the spindle, below if they are named the wrong way round.
        0 where fewer than two meetings lie clear of others and of the run's ends.
    """
    before, after = round(BEFORE_S / step_s), round(AFTER_S / step_s)
    gap = round(REACTION_S / step_s)
    running = np.isfinite(rotation_hz)
    total = np.concatenate([[0.0], np.cumsum(np.log(np.where(running, rotation_hz, 1.0)))])
    heard = np.concatenate([[0], np.cumsum(running)])
    # `change[i]`: the mean just after frame before + i less that just before.
    places = np.arange(before, len(second) - gap - after + 1)
    change = (total[places + gap + after] - total[places + gap]) / after
    change -= (total[places] - total[places - before]) / before
    unbroken = heard[places + gap + after] - heard[places - before] == before + gap + after
    meetings = 1 + np.flatnonzero(second[1:] != second[:-1])
    clear = unbroken.copy()
    for place in meetings:
        clear[max(0, place - 2 * before) : max(0, place + after - before)] = False
    elsewhere = change[clear]
    apart = np.diff(np.concatenate([[-np.inf], meetings, [np.inf]]))
    alone = (apart[:-1] >= before) & (apart[1:] >= gap + after)
    alone &= (meetings >= before) & (meetings - before < len(places))
    at = meetings[alone] - before
    at = at[unbroken[at]]
    if len(at) < LEAST_MEETINGS or len(elsewhere) < LEAST_ELSEWHERE:
        return 0.0
    usual = max(1.4826 * float(np.median(np.abs(elsewhere))), LEAST_CHANGE)
    falls = np.where(second[at + before], -change[at], change[at])
    return float(np.clip(falls / usual, -MOST_DEVIATIONS, MOST_DEVIATIONS).sum() / len(at) ** 0.5)
