"""Where the edge first touches: hands lead in slowly, and the first chips are too thin to hear.

But the spindle feels them. Running free its speed hardly moves; the moment that the bit goes in
it begins to fall, and it falls on until the chips fly.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from analysis.hearing.trace import Trace

FloatArray = npt.NDArray[np.float64]
Stretch = tuple[int, int]

LONGEST_S = 1.2  # from the first touch to flying chips
LEARNED_S, LEAST_LEARNED_S = 1.5, 0.5  # of running free before that
FALLEN_S = 0.4  # into the cut: by then the speed has fallen
LEAST_FALL = 1e-3  # ln speed
BEGUN, FALLEN_BY_ENTRY = 0.15, 0.35  # of the fall
AT_ONCE_S, AT_ONCE, WANDERS = 0.15, 0.15, 1.5  # of the fall, and times what it wanders by


def led_in(trace: Trace, stretches: list[Stretch]) -> list[Stretch]:
    """Stretches of contact that follow running free, their entries put back to the first touch.

    Parameters
    ----------
    trace : Trace
    stretches : list of (first, end), frames
        In order; entries never move behind, nor into the stretch before.
    """
    led, before = [], 0
    for first, end in stretches:
        led.append((_touched(trace, before, first, end), end))
        before = end
    return led


def _touched(trace: Trace, before: int, entry: int, end: int) -> int:
    """The frame from which on the speed falls towards this entry; the entry if that's not plain."""
    step_s, hz = trace.step_s, trace.rotation_hz
    longest, learned, least, fallen, lag = (
        round(seconds / step_s)
        for seconds in (LONGEST_S, LEARNED_S, LEAST_LEARNED_S, FALLEN_S, AT_ONCE_S)
    )
    begin = max(before, entry - longest - learned)
    until = max(begin + least, entry - longest)
    if until >= entry or not np.isfinite(hz[begin : entry + 1]).all():
        return entry
    log_hz = np.log(hz[begin : min(end, entry + fallen)])
    free, place = log_hz[: until - begin], entry - begin
    usual = float(np.median(free))
    fall = usual - float(np.nanmin(log_hz[place:]))
    if fall < LEAST_FALL or usual - log_hz[place] < FALLEN_BY_ENTRY * fall:
        return entry
    still = np.flatnonzero(log_hz[:place] > usual - BEGUN * fall)
    touched = int(still[-1]) + 1
    at_once = log_hz[touched - 1] - log_hz[touched : touched + lag].min()
    wander = float(np.max(np.abs(free[lag:] - free[:-lag])))
    plain = at_once > max(AT_ONCE * fall, WANDERS * wander)
    return begin + touched if plain else entry
