"""Passes along the edge: entry, exit, and what happened between."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from scipy.ndimage import median_filter, uniform_filter1d

from analysis.hearing.chips import chip_stretches
from analysis.hearing.gaps import Break, HeardBreak, chances, cut_left_measure, rub_measure
from analysis.hearing.load import load_of, removed_s
from analysis.hearing.parting import Named, is_touch, parted
from analysis.hearing.sagging import relieved, won_back
from analysis.hearing.search import spans
from analysis.hearing.spindle import UNSEEN
from analysis.hearing.trace import Contact, Trace

FloatArray = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

HALFWAY = 0.5  # from cutting to running free, in evidence
WANDER_S = 0.5  # speeds that far apart in time are hardly related
IDLE_NEAR_S = 8.0
MOSTLY = 0.5  # of a pass, or of what joins two, the router must be heard to run
ALL_BUT = 0.9  # of a break's frames: the course may miss a few
# Nats by which another naming of a break may be behind and still be among nineteen in twenty.
DOUBTED_PARTING, DOUBTED_STANDING = 2.0, 1.5
# Of a dial that was turned: change of ln speed, once what the cut took is won back.
TURNED, CLEAR_OF_CUT_S, WON_BACK_S = 0.04, 0.15, 1.2


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of the take, seconds from its start."""

    start_s: float
    end_s: float

    @property
    def length_s(self) -> float:
        """Seconds from start to end."""
        return self.end_s - self.start_s


@dataclass(frozen=True, slots=True)
class HeardPass:
    """One continuous cut along the edge, as heard.

    Attributes
    ----------
    entry_s, exit_s : float
        First and last contact, seconds from the start of the take.
    time_u95_s : float
        95 % half-width of `time_s`.
    moving_time_u95_s : float
        95 % half-width of `moving_time_s`.
    spindle_rpm, spindle_rpm_u95 : float
        Mean speed while moving in the cut.
    sag_percent : float or None
        Loss of speed against running free; None when running free was not heard.
    dwells, liftoffs : tuple of Span
        Standing still in contact; contact lost.
    evenness : float
        0 to 1: 1 where the load was even along the edge.
    complete : bool
        False when the take began or ended inside the pass.
    """

    entry_s: float
    exit_s: float
    time_u95_s: float
    moving_time_u95_s: float
    spindle_rpm: float
    spindle_rpm_u95: float
    sag_percent: float | None
    dwells: tuple[Span, ...]
    liftoffs: tuple[Span, ...]
    evenness: float
    complete: bool

    @property
    def time_s(self) -> float:
        """Entry to exit, what a stopwatch would show."""
        return self.exit_s - self.entry_s

    @property
    def moving_time_s(self) -> float:
        """Entry to exit without dwells and lift-offs."""
        return self.time_s - sum(span.length_s for span in self.dwells + self.liftoffs)


def moved(heard: HeardPass, by_s: float) -> HeardPass:
    """The same pass on a clock that started earlier."""
    return replace(
        heard,
        entry_s=heard.entry_s + by_s,
        exit_s=heard.exit_s + by_s,
        dwells=tuple(Span(s.start_s + by_s, s.end_s + by_s) for s in heard.dwells),
        liftoffs=tuple(Span(s.start_s + by_s, s.end_s + by_s) for s in heard.liftoffs),
    )


def find_passes(trace: Trace, contact: Contact) -> tuple[HeardPass, ...]:
    """The passes of a take, with dwells and lift-offs."""
    chips = chip_stretches(trace, contact.mask, _joined_over_nothing(trace, contact))
    stretches = chips.stretches
    breaks = [(a, b) for (_, a), (b, _) in pairwise(stretches)]
    if not stretches:
        return ()
    load = load_of(trace, stretches)
    off_s = removed_s(load, stretches, step_s=trace.step_s)
    names = _named(trace, contact, stretches, breaks, off_s) if breaks else []
    begins = [0, *(i + 1 for i, name in enumerate(names) if name.kind is Break.WAY_BACK)]
    named = [(name, *span) for name, span in zip(names, breaks, strict=True)]
    cuts = [
        _Cut(range(begun, until), stretches[begun][0], stretches[until - 1][1],
             tuple(named[begun : until - 1]))
        for begun, until in pairwise([*begins, len(stretches)])
    ]  # fmt: skip
    passes = []
    for number, cut in enumerate(cuts):
        first, end = cut.first, cut.end
        touches = is_touch((end - first) * trace.step_s, off_s[cut.parts].sum())
        if not touches and np.mean(trace.running[first:end]) > MOSTLY:
            ends_u95_s = (
                chips.entry_u95_s[cut.parts[0]],
                chips.exit_u95_s[cut.parts[-1]],
                chips.span_end_u95_s,
            )
            doubt_s = trace.step_s * _doubt(cuts, number, names)
            passes.append(_heard_pass(trace, contact, load, cut, ends_u95_s, doubt_s))
    return tuple(passes)


@dataclass(frozen=True, slots=True)
class _Cut:
    """Stretches of contact that make up one pass: their numbers, their frames, their breaks."""

    parts: range
    first: int
    end: int
    within: tuple[tuple[Named, int, int], ...]

    @property
    def inside(self) -> list[tuple[Break, int, int]]:
        """The breaks in which time stood still."""
        return [(name.kind, a, b) for name, a, b in self.within if name.kind is not Break.NONE]

    @property
    def moving(self) -> int:
        """Frames in which the feed went on."""
        return self.end - self.first - sum(b - a for _, a, b in self.inside)


def _doubt(cuts: Sequence[_Cut], number: int, names: Sequence[Named]) -> float:
    """95 % half-width, in frames, of a pass's moving time by how its breaks might be named.

    It may be two passes, or go on into the one before or after; and in a break within the feed
    may only have faltered, or not.
    """
    cut = cuts[number]
    doubts = [b - a for name, a, b in cut.within if abs(name.stands_otherwise) < DOUBTED_STANDING]
    doubts += [
        min(a - cut.first, cut.end - b)
        for name, a, b in cut.within
        if name.parts_otherwise < DOUBTED_PARTING
    ]
    for neighbour, between in ((number - 1, cut.parts[0] - 1), (number + 1, cut.parts[-1])):
        if 0 <= neighbour < len(cuts) and names[between].parts_otherwise < DOUBTED_PARTING:
            doubts.append(cuts[neighbour].moving)
    return float(np.sqrt(np.sum(np.square(doubts))))


def _named(
    trace: Trace,
    contact: Contact,
    stretches: tuple[tuple[int, int], ...],
    breaks: list[tuple[int, int]],
    off_s: FloatArray,
) -> list[Named]:
    mask, steady, step_s = contact.mask, trace.steady, trace.step_s
    # One kind of features at a time: of two hours each takes some memory.
    hiss = cut_left_measure(trace.band_features(), contact=mask, settled=steady, step_s=step_s)
    features = trace.rub_features()
    left = cut_left_measure(features, contact=mask, settled=steady, step_s=step_s)
    rub = rub_measure(features, contact=mask, settled=steady, breaks=breaks, step_s=step_s)
    settled = won_back(trace, mask)
    relief = relieved(trace, mask, list(stretches))
    heard = [
        HeardBreak(
            length_s=(b - a) * step_s,
            at_one_setting=_at_one_setting(trace, a, b),
            rub=rub(settled(a, b), b),
            left=left.measure(settled(a, b), b),
            left_sd=left.sd,
            hiss=hiss.measure(settled(a, b), b),
            hiss_sd=hiss.sd,
            relief=float(np.median(relief[a:b])) if relief.any() else None,
        )
        for a, b in breaks
    ]
    return parted(
        chances(heard),
        contact_s=step_s * np.array([b - a for a, b in stretches], float),
        removed_s=off_s,
        first_whole=stretches[0][0] > 2,
        last_whole=stretches[-1][1] < len(mask) - 3,
    )


def _at_one_setting(trace: Trace, first: int, end: int) -> bool:
    """Whether a router ran all through a break, its dial left alone.

    Its speed is won back once and then kept, or is the same in the cuts before and after and never
    much below that: as an edge bites again a motor that sags slows down before chips are heard.
    """
    running, step_s = trace.running, trace.step_s
    if np.mean(running[first:end]) <= ALL_BUT:
        return False
    edge, back = round(CLEAR_OF_CUT_S / step_s), round(WON_BACK_S / step_s)
    inside = np.arange(first + edge, end - edge)
    log_hz = trace.log_hz[inside[running[inside]]]
    if len(log_hz) <= back:
        return True
    log_hz = median_filter(log_hz, 5, mode="nearest")
    falls = np.max(np.maximum.accumulate(log_hz) - log_hz)
    if max(falls, log_hz[-1] - log_hz[back]) < TURNED:
        return True
    before, after = slice(max(0, first - back), first), slice(end, end + back)
    if not (running[before].any() and running[after].any()):
        return False
    cuts = [float(np.median(trace.log_hz[near][running[near]])) for near in (before, after)]
    return bool(np.ptp(cuts) < TURNED and log_hz.min() > min(cuts) - TURNED)


def _joined_over_nothing(trace: Trace, contact: Contact) -> list[tuple[int, int]]:
    """Stretches of contact, joined where it runs between and never sounds near running free."""
    stretches = spans(contact.mask)
    free = trace.steady & ~contact.mask
    if not stretches or not free.any():
        return stretches
    cut_level = float(np.median(contact.evidence[contact.mask]))
    free_level = float(np.median(contact.evidence[free]))
    joined = [stretches[0]]
    for start, end in stretches[1:]:
        between = slice(joined[-1][1], start)
        way = (contact.evidence[between].mean() - cut_level) / (free_level - cut_level - 1e-9)
        if way < HALFWAY and np.mean(trace.running[between]) > ALL_BUT:
            joined[-1] = (joined[-1][0], end)
        else:
            joined.append((start, end))
    return joined


def _heard_pass(
    trace: Trace,
    contact: Contact,
    load: FloatArray,
    cut: _Cut,
    ends_u95_s: tuple[float, float, float],
    doubt_s: float,
) -> HeardPass:
    step_s, first, end, inside = trace.step_s, cut.first, cut.end, cut.inside
    moving = np.zeros(len(contact.mask), bool)
    moving[first:end] = True
    for _, a, b in inside:
        moving[a:b] = False
    turning = moving & trace.running
    if not turning.any():
        turning[first:end] = trace.running[first:end]
    speeds, deviations = trace.rotation_hz[turning], trace.deviation_hz[turning]
    rpm = 60 * float(np.mean(speeds))
    wander = float(np.std(speeds)) / max(1.0, len(speeds) * step_s / WANDER_S) ** 0.5
    heard = float(np.hypot(np.mean(deviations), wander))
    rpm_u95 = float(np.hypot(60 * 1.96 * heard, UNSEEN * rpm))
    entry_u95_s, exit_u95_s, span_end_u95_s = ends_u95_s
    time_u95_s = float(np.hypot(entry_u95_s, exit_u95_s))
    inside_u95_s = span_end_u95_s * (2 * len(inside)) ** 0.5
    return HeardPass(
        # Contact began between the last frame without it and the first with it.
        entry_s=max(0.0, (first - 0.5) * step_s),
        exit_s=(end - 0.5) * step_s,
        time_u95_s=time_u95_s,
        moving_time_u95_s=float(np.hypot(np.hypot(time_u95_s, inside_u95_s), doubt_s)),
        spindle_rpm=rpm,
        spindle_rpm_u95=rpm_u95,
        sag_percent=_sag_percent(trace, contact, first, end, rpm),
        dwells=_spans_of(Break.DWELL, inside, step_s),
        liftoffs=_spans_of(Break.LIFTOFF, inside, step_s),
        evenness=_evenness(load[moving], step_s),
        complete=bool(first > 2 and end < len(contact.mask) - 3),
    )


def _spans_of(
    kind: Break, inside: Sequence[tuple[Break, int, int]], step_s: float
) -> tuple[Span, ...]:
    return tuple(Span((a - 0.5) * step_s, (b - 0.5) * step_s) for k, a, b in inside if k is kind)


def _sag_percent(trace: Trace, contact: Contact, first: int, last: int, rpm: float) -> float | None:
    near = round(IDLE_NEAR_S / trace.step_s)
    around = np.zeros(len(contact.mask), bool)
    around[max(0, first - near) : last + near] = True
    free = trace.running & ~contact.mask & around
    if free.sum() < 8:
        return None
    return 100 * (1 - rpm / (60 * float(np.median(trace.rotation_hz[free]))))


def _evenness(load: FloatArray, step_s: float) -> float:
    """1 less the spread of the smoothed load against its mean, not below 0."""
    if len(load) < 8:
        return 1.0
    smooth = uniform_filter1d(load, max(1, round(0.2 / step_s)))
    return float(np.clip(1 - np.std(smooth) / max(float(np.mean(smooth)), 1e-9), 0, 1))
