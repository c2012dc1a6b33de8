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
CUT_SPEED = 40  # percentile of a cut's speeds: where the edge stands inside it is faster
TURNED_S = 1.5  # between two cuts, in less nobody turns the dial


def relieved(trace: Trace, contact: Mask, stretches: list[Stretch]) -> FloatArray:
    """How much of the sag is won back in each frame: 0 in the cut, 1 running free.

    An edge that stands still in the wood may rub as loud as a light cut, but it is no load. Each
    frame is held against the nearest cut's own speed: between cuts the dial may be turned.
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
    cuts = _close_together(stretches, most=round(TURNED_S / trace.step_s))
    halfway = [(one[-1][1] + other[0][0]) // 2 for one, other in pairwise(cuts)]
    for near, parts in zip(pairwise([0, *halfway, len(share)]), cuts, strict=True):
        here = slice(*near)
        own = np.percentile(np.concatenate([log_hz[a:b] for a, b in parts]), CUT_SPEED)
        share[here] = np.where(running[here], smooth[here] - own, 0) / sag
    # A governor that wins its speed back in the cut says nothing of the load.
    return share if np.mean(share[cut] > HALFWAY) < MOST_RELIEVED else nothing


def _close_together(stretches: list[Stretch], *, most: int) -> list[list[Stretch]]:
    """Stretches in groups that `most` frames or fewer part."""
    groups: list[list[Stretch]] = []
    for stretch in stretches:
        if groups and stretch[0] - groups[-1][-1][1] <= most:
            groups[-1].append(stretch)
        else:
            groups.append([stretch])
    return groups


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
