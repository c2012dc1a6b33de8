"""Passes along the edge: entry, exit, and what happened between."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from scipy.ndimage import binary_erosion, uniform_filter1d

from analysis.hearing.contact import part_states
from analysis.hearing.gaps import Break, cut_left_measure, name_breaks, rub_measure
from analysis.hearing.search import spans
from analysis.hearing.spindle import UNSEEN

FloatArray = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

SHORTEST_PASS_S = 0.6
LEAST_FREE_S = 0.4
CUT_APART = 3.3  # deviations along the discriminant: noise alone comes to 3, most cuts to 6 or more
HALFWAY = 0.5  # from cutting to running free, in evidence
WANDER_S = 0.5  # speeds that far apart in time are hardly related
EDGE_U95_S = 0.11  # of one entry or exit
SPAN_EDGE_U95_S = 0.16  # of one end of a dwell or lift-off
IDLE_NEAR_S = 8.0


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
        0 to 1: 1 where the cutting sound was even along the edge.
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


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """What is kept of a take for finding its passes. All arrays have shape (frames, ...).

    Attributes
    ----------
    bands : array, shape (frames, bands)
        Broadband levels, ln power.
    rotation_hz, deviation_hz, lead : arrays, shape (frames,)
        As in `Turning`.
    cutting : array, shape (frames,)
        First guess of the frames in the cut.
    teeth : array, shape (frames, teeth)
        Excess at the teeth's first orders.
    """

    step_s: float
    bands: npt.NDArray[np.float32]
    rotation_hz: FloatArray
    deviation_hz: FloatArray
    lead: FloatArray
    cutting: Mask
    teeth: npt.NDArray[np.float32]

    @property
    def steady(self) -> Mask:
        """Frames in which the speed changes little over the third of a second around."""
        wide = max(1, round(0.35 / self.step_s))
        running = binary_erosion(self.running, iterations=wide, border_value=1)
        if len(running) <= 2 * wide:
            return running
        log_hz = np.log(np.where(self.running, self.rotation_hz, 1.0))
        change = np.abs(log_hz[2 * wide :] - log_hz[: -2 * wide])
        return np.asarray(running & np.pad(change < 0.06, wide, constant_values=True))

    @property
    def running(self) -> Mask:
        """Frames in which the router turns."""
        return np.isfinite(self.rotation_hz)

    def features(self) -> FloatArray:
        """Band levels apart from the overall level, the level, and the voices' lead."""
        bands = self.bands.astype(np.float64)
        level = bands.mean(axis=1, keepdims=True)
        lead = np.clip(self.lead, -15, 15)[:, None]
        return np.concatenate([bands - level, level, lead], axis=1)

    def rub_features(self) -> FloatArray:
        """Band levels and the teeth's orders: what a rub without chips still has."""
        bands = self.bands.astype(np.float64)
        level = bands.mean(axis=1, keepdims=True)
        return np.concatenate([bands - level, level, self.teeth.astype(np.float64)], axis=1)


@dataclass(frozen=True, slots=True, eq=False)
class Contact:
    """Frames in contact and the evidence for it, shape (frames,)."""

    mask: Mask
    evidence: FloatArray


def hear_contact(trace: Trace) -> Contact:
    """Which frames are in the wood."""
    running = trace.running
    states = part_states(
        trace.features(),
        running=running,
        settled=running & (trace.steady if trace.steady.any() else running),
        step_s=trace.step_s,
        guess=trace.cutting,
    )
    free = running & ~states.second
    if np.count_nonzero(free) * trace.step_s < LEAST_FREE_S or states.apart < CUT_APART:
        # A sound that never changes, or only by chance, is running free.
        return Contact(np.zeros(len(running), bool), states.evidence)
    return Contact(states.second, states.evidence)


def find_passes(trace: Trace, contact: Contact) -> tuple[HeardPass, ...]:
    """The passes of a take, with dwells and lift-offs."""
    stretches = _joined_over_nothing(trace, contact)
    breaks = [(a, b) for (_, a), (b, _) in pairwise(stretches)]
    rub = rub_measure(
        trace.rub_features(),
        contact=contact.mask,
        settled=trace.steady,
        breaks=breaks,
        step_s=trace.step_s,
    )
    cut_left = cut_left_measure(
        trace.rub_features(), contact=contact.mask, settled=trace.steady, step_s=trace.step_s
    )
    names = name_breaks(breaks, rub=rub, cut_left=cut_left, step_s=trace.step_s)
    passes, first, inside = [], 0, list[tuple[Break, int, int]]()
    for i, (start, end) in enumerate(stretches):
        if i == 0 or names[i - 1] is Break.WAY_BACK:
            first, inside = start, []
        elif names[i - 1] is not Break.NONE:
            inside = [*inside, (names[i - 1], *breaks[i - 1])]
        last_part = i == len(stretches) - 1 or names[i] is Break.WAY_BACK
        if last_part and (end - first) * trace.step_s >= SHORTEST_PASS_S:
            passes.append(_heard_pass(trace, contact, first, end, inside))
    return tuple(passes)


def _joined_over_nothing(trace: Trace, contact: Contact) -> list[tuple[int, int]]:
    """Stretches of contact, joined where the sound between never got near running free."""
    stretches = spans(contact.mask)
    free = trace.steady & ~contact.mask
    if not stretches or not free.any():
        return stretches
    cut_level = float(np.median(contact.evidence[contact.mask]))
    free_level = float(np.median(contact.evidence[free]))
    joined = [stretches[0]]
    for start, end in stretches[1:]:
        between = float(np.mean(contact.evidence[joined[-1][1] : start]))
        if (between - cut_level) / (free_level - cut_level - 1e-9) < HALFWAY:
            joined[-1] = (joined[-1][0], end)
        else:
            joined.append((start, end))
    return joined


def _heard_pass(
    trace: Trace, contact: Contact, first: int, end: int, inside: list[tuple[Break, int, int]]
) -> HeardPass:
    step_s = trace.step_s
    moving = np.zeros(len(contact.mask), bool)
    moving[first:end] = True
    for _, a, b in inside:
        moving[a:b] = False
    speeds, deviations = (
        values[moving & trace.running] for values in (trace.rotation_hz, trace.deviation_hz)
    )
    rpm = 60 * float(np.mean(speeds)) if len(speeds) else float("nan")
    rpm_u95 = float("nan")
    if len(speeds):
        wander = float(np.std(speeds)) / max(1.0, len(speeds) * step_s / WANDER_S) ** 0.5
        heard = float(np.hypot(np.mean(deviations), wander))
        rpm_u95 = float(np.hypot(60 * 1.96 * heard, UNSEEN * rpm))
    edge_u95 = EDGE_U95_S * 2**0.5
    return HeardPass(
        # Contact began between the last frame without it and the first with it.
        entry_s=max(0.0, (first - 0.5) * step_s),
        exit_s=(end - 0.5) * step_s,
        time_u95_s=edge_u95,
        moving_time_u95_s=float(np.hypot(edge_u95, SPAN_EDGE_U95_S * (2 * len(inside)) ** 0.5)),
        spindle_rpm=rpm,
        spindle_rpm_u95=rpm_u95,
        sag_percent=_sag_percent(trace, contact, first, end, rpm),
        dwells=_spans_of(Break.DWELL, inside, step_s),
        liftoffs=_spans_of(Break.LIFTOFF, inside, step_s),
        evenness=_evenness(contact.evidence[moving], step_s),
        complete=bool(first > 2 and end < len(contact.mask) - 3),
    )


def _spans_of(kind: Break, inside: list[tuple[Break, int, int]], step_s: float) -> tuple[Span, ...]:
    return tuple(Span((a - 0.5) * step_s, (b - 0.5) * step_s) for k, a, b in inside if k is kind)


def _sag_percent(trace: Trace, contact: Contact, first: int, last: int, rpm: float) -> float | None:
    near = round(IDLE_NEAR_S / trace.step_s)
    around = np.zeros(len(contact.mask), bool)
    around[max(0, first - near) : last + near] = True
    free = trace.running & ~contact.mask & around
    if free.sum() < 8 or not np.isfinite(rpm):
        return None
    return 100 * (1 - rpm / (60 * float(np.median(trace.rotation_hz[free]))))


def _evenness(evidence: FloatArray, step_s: float) -> float:
    """1 less the spread of the smoothed cutting evidence against its mean, not below 0."""
    if len(evidence) < 8:
        return 1.0
    smooth = uniform_filter1d(evidence, max(1, round(0.2 / step_s)))
    mean = float(np.mean(smooth))
    return float(np.clip(1 - np.std(smooth) / mean, 0, 1)) if mean > 0 else 0.0
