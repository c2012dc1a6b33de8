"""Passes along the edge: entry, exit, and what happened between."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.ndimage import binary_erosion, uniform_filter1d

from analysis.hearing.contact import part_states
from analysis.hearing.spindle import spans

FloatArray = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

LONGEST_LIFTOFF_S = 1.0  # contact lost for longer ends the pass
SHORTEST_PASS_S = 0.6
SHORTEST_LIFTOFF_S = 0.10
EDGE_U95_S = 0.06  # of one entry or exit
SPAN_EDGE_U95_S = 0.10  # of one end of a dwell or lift-off
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
    """

    step_s: float
    bands: npt.NDArray[np.float32]
    rotation_hz: FloatArray
    deviation_hz: FloatArray
    lead: FloatArray
    cutting: Mask

    @property
    def steady(self) -> Mask:
        """Frames in which the speed changes little over the third of a second around."""
        wide = max(1, round(0.35 / self.step_s))
        running = binary_erosion(self.running, iterations=wide, border_value=1)
        if len(running) <= 2 * wide:
            return running
        log_hz = np.log(np.where(self.running, self.rotation_hz, 1.0))
        change = np.abs(log_hz[2 * wide :] - log_hz[: -2 * wide])
        return running & np.pad(change < 0.06, wide, constant_values=True)

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
    return Contact(states.second, states.evidence)


def find_passes(trace: Trace, contact: Contact) -> tuple[HeardPass, ...]:
    """The passes of a take, with dwells and lift-offs."""
    step_s = trace.step_s
    stretches = spans(contact.mask)
    joined: list[list[tuple[int, int]]] = []
    for stretch in stretches:
        if joined and (stretch[0] - joined[-1][-1][1]) * step_s <= LONGEST_LIFTOFF_S:
            joined[-1].append(stretch)
        else:
            joined.append([stretch])
    passes = []
    for parts in joined:
        first, last = parts[0][0], parts[-1][1]
        if (last - first) * step_s < SHORTEST_PASS_S:
            continue
        passes.append(_heard_pass(trace, contact, parts))
    return tuple(passes)


def _heard_pass(trace: Trace, contact: Contact, parts: list[tuple[int, int]]) -> HeardPass:
    step_s = trace.step_s
    first, last = parts[0][0], parts[-1][1]
    liftoffs = tuple(
        Span(a * step_s, b * step_s)
        for (_, a), (b, _) in zip(parts[:-1], parts[1:], strict=True)
        if (b - a) * step_s >= SHORTEST_LIFTOFF_S
    )
    dwells: tuple[Span, ...] = ()
    within = np.zeros(len(contact.mask), bool)
    within[first:last] = contact.mask[first:last]
    speeds = trace.rotation_hz[within & trace.running]
    rpm = 60 * float(np.mean(speeds)) if len(speeds) else float("nan")
    deviation = trace.deviation_hz[within & trace.running]
    rpm_u95 = 60 * 1.96 * float(np.mean(deviation)) if len(deviation) else float("nan")
    edges = len(liftoffs) + len(dwells)
    return HeardPass(
        entry_s=first * step_s,
        exit_s=last * step_s,
        time_u95_s=EDGE_U95_S * 2**0.5,
        moving_time_u95_s=float(
            np.hypot(EDGE_U95_S * 2**0.5, SPAN_EDGE_U95_S * (2 * edges) ** 0.5)
        ),
        spindle_rpm=rpm,
        spindle_rpm_u95=rpm_u95,
        sag_percent=_sag_percent(trace, contact, first, last, rpm),
        dwells=dwells,
        liftoffs=liftoffs,
        evenness=_evenness(contact.evidence[within], step_s),
        complete=bool(first > 2 and last < len(contact.mask) - 3),
    )


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
