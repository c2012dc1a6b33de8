"""At which settings of the dial a take was made.

Between passes a router runs free. So its speed's upper outline, with what dips for less than a
pass and a rest left out, stays where it is until somebody turns the dial.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from scipy.ndimage import maximum_filter1d, median_filter, minimum_filter1d

from analysis.hearing.search import spans
from analysis.hearing.trace import Trace

DIP_S = 24.0  # the longest pass, about
TURNED, TURN_S = 0.05, 1.5  # ln speed, and the time in which it changes
SMOOTH_FRAMES = 9


def between_turns(trace: Trace) -> list[slice]:
    """The stretches of a take, in order and without gaps, between turns of the dial."""
    on = np.flatnonzero(trace.running)
    lag = round(TURN_S / trace.step_s)
    if len(on) <= 2 * lag:
        return [slice(0, len(trace.running))]
    log_hz = median_filter(trace.log_hz[on], SMOOTH_FRAMES, mode="nearest")
    wide = round(DIP_S / trace.step_s) // 2 * 2 + 1
    # At the take's ends the windows are shorter: nothing is taken to lie beyond.
    highest = maximum_filter1d(log_hz, wide, mode="constant", cval=-np.inf)
    outline = minimum_filter1d(highest, wide, mode="constant", cval=np.inf)
    change = np.abs(outline[lag:] - outline[:-lag])
    turns = [a + int(np.argmax(change[a:b])) + lag // 2 for a, b in spans(change > TURNED)]
    ends = [0, *on[turns].tolist(), len(trace.running)]
    return [slice(a, b) for a, b in pairwise(ends) if b > a]
