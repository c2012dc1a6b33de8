"""Passes in the last stretch of a take, held against what running free and cutting were like."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.ndimage import binary_dilation

from analysis.hearing.gaps import CLEAR_S, EDGE_S, WAY_BACK_S, rub_measure
from analysis.hearing.passes import Contact, HeardPass, Span, Trace, find_passes, hear_contact
from analysis.hearing.recent import RecentCourse, Reference, chosen, joined

Mask = npt.NDArray[np.bool_]

APART = 50.0
BEFORE_S = 0.8
AFTER_S = 0.28
ALIKE = 0.5
STANDING = 2.0
TEETH_RISE = 1.5
STANDS_S = 0.27
LONGEST_STAND_S = 1.0
SURE_FREE_S = 4.0
FREE_S = 0.7
LATELY_S = 4.0
LONGEST_IDLE_S = 20.0


@dataclass(frozen=True, slots=True)
class Seen:
    """Passes in the open window, and since when the bit stands still in the wood, if it does."""

    passes: list[HeardPass]
    standing_s: float | None


class Watch:
    """Finds passes in the window since the last one that is closed.

    Until a whole pass was heard, between two stretches of running free that sound alike,
    nothing is believed: without an example of both, any change sounds like a cut.
    """

    def __init__(self) -> None:
        self.reference = Reference()
        self.first = 0  # frame with which the window begins
        self.armed = False

    def look(self, course: RecentCourse) -> Seen:
        """Passes in the window."""
        trace, cuts, skip = self._window(course)
        contact = hear_contact(trace)
        if not contact.mask[skip:].any():
            return Seen([], None)
        # Cuts known before teach what cutting is, but are not to be found again.
        trace = chosen(trace, slice(cuts, None))
        contact = Contact(contact.mask[cuts:], contact.evidence[cuts:])
        begin = max(self.first, course.first)
        by_s = (begin - skip + cuts) * trace.step_s
        passes = [_moved(heard, by_s) for heard in find_passes(trace, contact)]
        passes = [heard for heard in passes if heard.exit_s > begin * trace.step_s]
        too_long = [d for p in passes for d in p.dwells if d.length_s >= WAY_BACK_S]
        if self.armed and too_long:
            # A short window can't tell a long dwell from the way back, and the latter is usual.
            self.close(course, at_s=too_long[-1].start_s + FREE_S)
            return self.look(course)
        if not self.armed:
            passes = [p for p in passes if _believable(trace, contact, p, by_s)]
            if passes:
                self._arm(trace, contact, passes[0].entry_s - by_s)
        return Seen(passes, self._standing_s(trace, contact, by_s))

    def rest(self, course: RecentCourse) -> None:
        """Let the window slide on while nothing is cut."""
        begin = max(self.first, course.first)
        if self.armed and (course.end - begin) * course.trace.step_s > LONGEST_IDLE_S:
            self.close(course, at_s=course.end * course.trace.step_s - LATELY_S)

    def close(self, course: RecentCourse, *, at_s: float) -> None:
        """Begin the window anew at a moment of running free; learn from what is left behind."""
        trace, _, skip = self._window(course)
        contact = hear_contact(trace).mask[skip:]
        trace = chosen(trace, slice(skip, None))
        begin = max(self.first, course.first)
        self.first = max(begin, min(round(at_s / trace.step_s), course.end))
        past = np.arange(len(contact)) < self.first - begin
        self._learn(trace, contact, past)

    def _arm(self, trace: Trace, contact: Contact, entry_s: float) -> None:
        self.armed = True
        at = round(entry_s / trace.step_s)
        self.first = max(0, at - round(BEFORE_S / trace.step_s))
        frames = np.arange(len(trace.lead))
        lately = (frames < self.first) & (frames > at - round(LATELY_S / trace.step_s))
        self._learn(trace, contact.mask & False, lately & ~contact.mask)

    def _learn(self, trace: Trace, contact: Mask, among: Mask) -> None:
        near = binary_dilation(contact, iterations=max(1, round(CLEAR_S / trace.step_s)))
        self.reference.learn(
            trace, free=trace.steady & ~near & among, cut=contact & trace.running & among
        )

    def _window(self, course: RecentCourse) -> tuple[Trace, int, int]:
        """Reference cuts, free running and the window; where the latter two begin."""
        window = chosen(course.trace, slice(max(0, self.first - course.first), None))
        cut, free = self.reference.cut, self.reference.free
        known = [part for part in (cut, free) if part is not None]
        cuts = 0 if cut is None else len(cut.lead)
        return joined(*known, window), cuts, sum(len(part.lead) for part in known)

    def _standing_s(self, trace: Trace, contact: Contact, by_s: float) -> float | None:
        """Since when the teeth have been rubbing without chips; None if they don't seem to."""
        where = np.flatnonzero(contact.mask)
        free = self.reference.free
        if free is None or len(free.lead) * trace.step_s < SURE_FREE_S or not len(where):
            return None
        lost, count = int(where[-1]) + 1, len(contact.mask)
        if not STANDS_S <= (count - lost) * trace.step_s <= LONGEST_STAND_S:
            return None
        clear = lost + round(EDGE_S / trace.step_s)
        rise = trace.teeth[clear:].mean(axis=0) - free.teeth.mean(axis=0)
        if np.clip(rise, -3, 3).sum() < TEETH_RISE:
            return None
        rub = rub_measure(
            trace.rub_features(),
            contact=contact.mask,
            settled=trace.steady,
            breaks=[(lost, count)],
            step_s=trace.step_s,
        )
        return lost * trace.step_s + by_s if rub(lost, count) > STANDING else None


def _believable(trace: Trace, contact: Contact, heard: HeardPass, by_s: float) -> bool:
    """Whether a pass stands clear between two stretches of running free that sound alike."""
    first, end = (
        round((seconds - by_s) / trace.step_s) for seconds in (heard.entry_s, heard.exit_s)
    )
    before = slice(first - round(BEFORE_S / trace.step_s), first - 2)
    after = slice(end + 2, end + round(AFTER_S / trace.step_s))
    if before.start < 0 or after.stop > len(trace.lead):
        return False
    if not (trace.running[before].all() and trace.running[after].all()):
        return False
    inside = np.zeros(len(trace.lead), bool)
    inside[first:end] = contact.mask[first:end]
    early, cut, late = (
        float(np.median(contact.evidence[frames])) for frames in (before, inside, after)
    )
    away = cut - max(early, late)
    return away > APART and abs(early - late) < ALIKE * away


def _moved(heard: HeardPass, by_s: float) -> HeardPass:
    return replace(
        heard,
        entry_s=heard.entry_s + by_s,
        exit_s=heard.exit_s + by_s,
        dwells=tuple(Span(s.start_s + by_s, s.end_s + by_s) for s in heard.dwells),
        liftoffs=tuple(Span(s.start_s + by_s, s.end_s + by_s) for s in heard.liftoffs),
    )
