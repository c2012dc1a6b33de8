"""When a motor that sags has got over its load.

Without a governor a motor heads for another speed the moment its load changes, and takes some
tenths of a second to get there. Its fan quietens and revives as slowly, and what is read from the
sound may follow that.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from scipy.ndimage import uniform_filter1d

from analysis.hearing.trace import Trace

FloatArray = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]
Stretch = tuple[int, int]

LEAST_SAG = 0.04  # ln speed: governors allow less
NOT_YET, MOST_LEFT_OUT = 0.25, 0.6  # of the sag; of a break
# ln speed by which the cut is told from running free, and times what the speed wanders there.
LEAST_TOLD, TOLD_APART, RELIEF_S = 0.002, 4.0, 0.1
HALFWAY, MOST_RELIEVED = 0.5, 0.3  # of the sag; share of the cut
CUT_SPEED = 40  # percentile of a stretch's speeds: where the edge stands inside it is faster


def relieved(trace: Trace, contact: Mask, stretches: list[Stretch]) -> FloatArray:
    """How much of the sag is won back in each frame: 0 in the cut, 1 running free.

    An edge that stands still in the wood may rub as loud as a light cut, but it is no load. Each
    frame is held against the nearest stretch's own speed: between them the dial may be turned.
    0 all through where the speed hardly tells the cut from running free.
    """
    nothing = np.zeros(len(contact))
    running, log_hz = trace.running, trace.log_hz
    free, cut = running & ~contact & trace.steady, running & contact
    sag = _sag(log_hz, running, contact)
    if not free.any() or sag < LEAST_TOLD:
        return nothing
    wander = 1.4826 * float(np.median(np.abs(log_hz[free] - np.median(log_hz[free]))))
    if sag < TOLD_APART * wander:
        return nothing
    smooth = uniform_filter1d(log_hz, max(1, round(RELIEF_S / trace.step_s)))
    share = nothing.copy()
    halfway = [(end + first) // 2 for (_, end), (first, _) in pairwise(stretches)]
    for near, (first, end) in zip(pairwise([0, *halfway, len(share)]), stretches, strict=True):
        here = slice(*near)
        share[here] = (
            np.where(running[here], smooth[here] - np.percentile(log_hz[first:end], CUT_SPEED), 0)
            / sag
        )
    # A governor that wins its speed back in the cut says nothing of the load.
    return share if np.mean(share[cut] > HALFWAY) < MOST_RELIEVED else nothing


def won_back(trace: Trace, contact: Mask) -> Callable[[int, int], int]:
    """From which frame on a break sounds as it does to its end: the sag is all but won back.

    Until then a motor that sags, slower than it runs free, sounds neither free nor in the cut.
    Half and a little more of a short break are left out at most.
    """
    running, log_hz = trace.running, trace.log_hz
    sag = _sag(log_hz, running, contact)
    if sag < LEAST_SAG:
        return lambda first, _end: first
    back = log_hz >= np.median(log_hz[running & ~contact]) - NOT_YET * sag

    def settled(first: int, end: int) -> int:
        after = int(np.argmax(back[first:end])) if back[first:end].any() else end - first
        return first + min(after, int(MOST_LEFT_OUT * (end - first)))

    return settled


def _sag(log_hz: FloatArray, running: Mask, contact: Mask) -> float:
    """By how much, ln, the speed is less in the cut than free; 0 if either is not heard."""
    free, cut = running & ~contact, running & contact
    if not free.any() or not cut.any():
        return 0.0
    return float(np.median(log_hz[free]) - np.median(log_hz[cut]))
