"""Where a motor that sags feels the load come on and off, and when it has got over it.

Without a governor a motor heads for another speed the moment its load changes, and takes some
tenths of a second to get there. Its fan quietens and revives as slowly, and what is read from the
sound may follow that. The bend in the speed keeps the moment.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from scipy.ndimage import uniform_filter1d

from analysis.hearing.search import mask_of
from analysis.hearing.trace import Trace

FloatArray = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]
Stretch = tuple[int, int]

LEAST_SAG = 0.04  # ln speed: governors allow less
COHERENT = 12e-4  # deviation as a share of the rotation, median: else leaps pose as bends
BEND_S = 0.093  # to either side of a bend
TURNS_S, TURNS = 0.5, 0.3  # within which the speed turns by that share of the sag
# Heading for its new speed a motor turns fastest at first; hands that ease off turn it ever faster.
FIRST_S, FASTEST = 0.1, 0.9
PLAIN = 12.0  # deviations of what the speed does elsewhere
LEAST_BEND = 1e-4  # ln speed: what a track is good for
LATE_ENTRY_S, LATE_EXIT_S = 0.12, 0.15  # an end later than its bend by more is put there
SOUGHT_S, BEYOND_S = 0.45, 0.1  # before and after the end
LEAVING_S = 0.04  # the load is off before the last chip is cut
NOT_YET, MOST_LEFT_OUT = 0.25, 0.6  # of the sag; of a break
NEAR_S = 0.6  # of an end: not "elsewhere"
# ln speed by which the cut is told from running free, and times what the speed wanders there.
LEAST_TOLD, TOLD_APART, RELIEF_S = 0.002, 4.0, 0.1
HALFWAY, MOST_RELIEVED = 0.5, 0.3  # of the sag; share of the cut


def ends_by_sag(trace: Trace, stretches: list[Stretch]) -> list[Stretch]:
    """Ends of stretches of contact, as frames, put back to where the speed plainly bends."""
    running, step_s = trace.running, trace.step_s
    log_hz = trace.log_hz
    sag = _sag(log_hz, running, mask_of(stretches, len(running)))
    if sag < LEAST_SAG:
        return stretches
    apart = trace.deviation_hz[running] / trace.rotation_hz[running]
    if np.median(apart) > COHERENT:
        return stretches
    wide = round(NEAR_S / step_s)
    near = [(max(0, end - wide), end + wide) for stretch in stretches for end in stretch]
    elsewhere = running & ~mask_of(near, len(running))
    bends = _bends(log_hz, running, elsewhere, round(BEND_S / step_s))
    turns = round(TURNS_S / step_s)
    turn, first = (_change(log_hz, running, n) for n in (turns, round(FIRST_S / step_s)))
    off = np.where((turn > TURNS * sag) & _fastest_now(first, turns), bends, 0.0)
    on = np.where((turn < -TURNS * sag) & _fastest_now(-first, turns), -bends, 0.0)
    back, beyond = round(SOUGHT_S / step_s), round(BEYOND_S / step_s)
    placed: list[Stretch] = []
    for number, (entry, end) in enumerate(stretches):
        before = placed[-1][1] if placed else 0
        after = stretches[number + 1][0] if number + 1 < len(stretches) else len(running)
        bend = _bend_in(on, max(before, entry - back), entry + beyond)
        if bend is not None and (entry - bend) * step_s > LATE_ENTRY_S:
            entry = bend + 1
        bend = _bend_in(off, max(entry + 1, end - back), min(after, end + beyond))
        if bend is not None:
            left = bend + round(LEAVING_S / step_s)
            end = max(entry + 1, left) if (end - left) * step_s > LATE_EXIT_S else end
        placed.append((entry, end))
    return placed


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
        share[here] = np.where(running[here], smooth[here] - np.median(log_hz[first:end]), 0) / sag
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


def _change(log_hz: FloatArray, running: Mask, ahead: int) -> FloatArray:
    """How much the speed changes over the next so many frames; 0 where it is not heard."""
    change = np.zeros(len(log_hz))
    both = running[:-ahead] & running[ahead:]
    change[:-ahead] = np.where(both, log_hz[ahead:] - log_hz[:-ahead], 0.0)
    return change


def _fastest_now(change: FloatArray, ahead: int) -> Mask:
    """Whether a change is about the greatest of the next so many."""
    padded = np.pad(change, (0, ahead), constant_values=-np.inf)
    greatest = np.lib.stride_tricks.sliding_window_view(padded, ahead + 1).max(axis=1)
    return np.asarray(change >= FASTEST * greatest)


def _sag(log_hz: FloatArray, running: Mask, contact: Mask) -> float:
    """By how much, ln, the speed is less in the cut than free; 0 if either is not heard."""
    free, cut = running & ~contact, running & contact
    if not free.any() or not cut.any():
        return 0.0
    return float(np.median(log_hz[free]) - np.median(log_hz[cut]))


def _bends(
    log_hz: FloatArray,
    running: Mask,
    elsewhere: Mask,
    wide: int,
) -> FloatArray:
    """Second differences of the speed over `wide` frames, in deviations of those elsewhere."""
    bends = np.zeros(len(log_hz))
    if len(log_hz) <= 2 * wide:
        return bends
    heard = np.concatenate([[0], np.cumsum(running)])
    unbroken = heard[2 * wide + 1 :] - heard[: -2 * wide - 1] == 2 * wide + 1
    middle = log_hz[wide:-wide]
    bends[wide:-wide] = np.where(
        unbroken, log_hz[2 * wide :] - 2 * middle + log_hz[: -2 * wide], 0.0
    )
    usual = 1.4826 * float(np.median(np.abs(bends[elsewhere]))) if elsewhere.any() else np.inf
    return bends / max(usual, LEAST_BEND)


def _bend_in(bends: FloatArray, first: int, last: int) -> int | None:
    """The frame of the plainest bend, if any is plain."""
    part = bends[first:last]
    if not len(part) or part.max() < PLAIN:
        return None
    return first + int(np.argmax(part))
