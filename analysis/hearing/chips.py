"""Where chips fly: a second, closer look inside the stretches of contact.

An edge that stands still in the wood keeps much of the teeth's tones, and may be taken for a
cut by those. But it makes no chips, and by the bands alone that is plain: there the hiss falls
most of the way to running free at once, where a feed that wanders moves it by a little.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from scipy.ndimage import binary_erosion, uniform_filter1d

from analysis.hearing.contact import (
    STATE_S,
    TOUCH_COST,
    change_point,
    share_of_way,
    two_state_path,
)
from analysis.hearing.gaps import CLEAR_S, clear_of
from analysis.hearing.leading_in import led_in
from analysis.hearing.sagging import relieved
from analysis.hearing.search import spans
from analysis.hearing.trace import Trace

FloatArray = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]
Stretch = tuple[int, int]

LEAST_KNOWN_S = 0.4
APART = 5.0  # deviations: bands that part the two less say nothing about single moments
FAR_BELOW = 6.0  # deviations of the cut's own share
LEAST_SHARE = (0.5, 0.8)  # of the way to the cut's usual hiss
WORTH, MOST_WORTH = 12.0, 2.4  # nats for a frame of 23 ms
FRAME_S = 0.0232
LOAD_WORTH, MOST_RELIEF = 12.0, 0.7  # share of the sag
# Of a stretch's usual hiss: if the teeth are heard too chips fly, whatever the speed seems to do.
HISSES_AS_EVER = 0.9
ROUNDS, SURELY = 2, 0.7  # what is learned from for a cut, the second time
RISEN = 0.3  # of the way to the cut's hiss
NEARBY_S = 0.2
ALONE_S = 1.2  # after so long a break an entry is a pass's, and nothing echoes
# 95 % of the errors, measured on rendered takes. Of a pass's entry and exit, by how long the hiss
# takes to rise or to die away: least, and more for each second of that.
ENTRY_U95_S, EXIT_U95_S = (0.02, 0.9), (0.035, 1.3)
RISING, LONGEST_RISE_S = (0.15, 0.7), 0.4  # from and to that much of the cut's hiss
# Of one end of a break inside, by how far the bands part the two.
SPAN_END_U95_S = (0.03, 0.45)
WORST_APART = 3.0


@dataclass(frozen=True, slots=True)
class ChipStretches:
    """Stretches of flying chips, as frames, and how well their ends are known.

    Attributes
    ----------
    stretches : tuple of (first, end)
    entry_u95_s, exit_u95_s : tuples of float
        95 % half-widths of each stretch's two ends, taken as those of a pass.
    span_end_u95_s : float
        95 % half-width of one end of a break inside a pass.
    """

    stretches: tuple[Stretch, ...]
    entry_u95_s: tuple[float, ...]
    exit_u95_s: tuple[float, ...]
    span_end_u95_s: float


def chip_stretches(trace: Trace, contact: Mask, stretches: list[Stretch]) -> ChipStretches:
    """Part stretches of contact where the chips stop, and put their ends where the sound turns."""
    wide = max(1, round(CLEAR_S / trace.step_s))
    free = trace.steady & clear_of(contact, step_s=trace.step_s)
    cut = trace.running & binary_erosion(contact, iterations=max(1, wide // 2))
    if min(free.sum(), cut.sum()) * trace.step_s < LEAST_KNOWN_S:
        return _unsure(stretches)
    features, flying = trace.band_features(), cut
    for _ in range(ROUNDS):
        share, apart = share_of_way(features, first=free, second=flying, step_s=trace.step_s)
        smooth = uniform_filter1d(share, max(1, round(STATE_S / trace.step_s)))
        surely = cut & (smooth > SURELY)
        flying = surely if surely.sum() > cut.sum() / 2 else flying
    relief = relieved(trace, contact, stretches)
    by_load = LOAD_WORTH * (MOST_RELIEF - relief) * trace.step_s / FRAME_S
    if apart < APART:
        return _unsure(_holed(stretches, two_state_path(by_load, cost=TOUCH_COST)))
    spread = (1 - float(np.percentile(smooth[cut], 30))) / 0.524
    least = float(np.clip(1 - FAR_BELOW * spread, *LEAST_SHARE))
    stretches = _filled(stretches, trace.running & (share > least) & (relief < MOST_RELIEF))
    usual = np.clip(_usual(smooth, stretches), LEAST_SHARE[0], 1)
    gain = np.clip(WORTH * (share - least * usual), -MOST_WORTH, MOST_WORTH)
    gain *= trace.step_s / FRAME_S
    as_ever = (smooth > HISSES_AS_EVER * usual) & _teeth_heard(trace, free=free, cut=cut)
    gain = np.where(as_ever, gain, np.minimum(gain, by_load))
    flying = two_state_path(gain, cost=TOUCH_COST)
    parts = led_in(trace, _turned(_holed(stretches, flying), share, step_s=trace.step_s))
    least_s, more = SPAN_END_U95_S
    return ChipStretches(
        tuple(parts),
        tuple(_end_u95_s(ENTRY_U95_S, share[::-1], len(share) - a, trace.step_s) for a, _ in parts),
        tuple(_end_u95_s(EXIT_U95_S, share, b, trace.step_s) for _, b in parts),
        least_s + more / apart,
    )


def _teeth_heard(trace: Trace, *, free: Mask, cut: Mask) -> Mask:
    """Frames in which the teeth's tones are nearer to those in the cut than to running free."""
    teeth = uniform_filter1d(trace.teeth.mean(axis=1), max(1, round(STATE_S / trace.step_s)))
    return np.asarray(teeth > (np.median(teeth[free]) + np.median(teeth[cut])) / 2)


def _usual(share: FloatArray, stretches: list[Stretch]) -> FloatArray:
    """The share of each stretch while it is cut there: a slow pass hisses less."""
    usual = np.ones(len(share))
    for first, end in stretches:
        usual[first:end] = np.percentile(share[first:end], 70)
    return usual


def _unsure(stretches: list[Stretch]) -> ChipStretches:
    entries, exits = (
        (least + more * LONGEST_RISE_S,) * len(stretches)
        for least, more in (ENTRY_U95_S, EXIT_U95_S)
    )
    least_s, more = SPAN_END_U95_S
    return ChipStretches(tuple(stretches), entries, exits, least_s + more / WORST_APART)


def _end_u95_s(by_fall: tuple[float, float], share: FloatArray, end: int, step_s: float) -> float:
    """95 % half-width of an end, by how long the share takes to fall about it."""
    wide = round(LONGEST_RISE_S / step_s)
    nearby = share[max(0, end - wide) : end + wide]
    high = np.flatnonzero(nearby > RISING[1])
    low = np.flatnonzero(nearby[high[-1] :] < RISING[0]) if len(high) else high
    fall_s = min(float(low[0]) * step_s, LONGEST_RISE_S) if len(low) else LONGEST_RISE_S
    return by_fall[0] + by_fall[1] * fall_s


def _filled(stretches: list[Stretch], cutting: Mask) -> list[Stretch]:
    """Stretches joined where it mostly cuts all the same between."""
    joined: list[Stretch] = []
    for start, end in stretches:
        if joined and np.mean(cutting[joined[-1][1] : start]) > 0.5:
            joined[-1] = (joined[-1][0], end)
        else:
            joined.append((start, end))
    return joined


def _holed(stretches: list[Stretch], flying: Mask) -> list[Stretch]:
    """Stretches parted where the chips stop inside; their outer ends stay."""
    parts = []
    for start, end in stretches:
        inside = spans(flying[start:end])
        ends = [start, *(start + e for (_, a), (b, _) in pairwise(inside) for e in (a, b)), end]
        parts += list(zip(ends[::2], ends[1::2], strict=True))
    return parts


def _turned(stretches: list[Stretch], share: FloatArray, *, step_s: float) -> list[Stretch]:
    """Each end put where the share nearby changes most; a pass's entry where it first rises.

    There is no echo before a sound; but where a large bit goes in slowly the chips grow.
    """
    wide, alone = max(3, round(NEARBY_S / step_s)), round(ALONE_S / step_s)
    ends = [end for stretch in stretches for end in stretch]
    moved = [0]
    before = -alone
    for number, (end, after) in enumerate(pairwise([*ends, len(share)])):
        first, last = max(moved[-1], end - wide), min(after, end + wide)
        place = end
        if min(end - first, last - end) > wide // 3:
            place = first + change_point(share[first:last])
            if number % 2 == 0 and end - before >= alone:
                low = np.flatnonzero(share[first:place] <= RISEN)
                place = first + (int(low[-1]) + 1 if len(low) else 1)
        moved.append(place)
        before = end
    return [(a, b) for a, b in zip(moved[1::2], moved[2::2], strict=True) if a < b]
