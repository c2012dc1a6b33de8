"""Passes in the last stretch of a take, held against what running free and cutting were like."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.ndimage import uniform_filter1d

from analysis.hearing.gaps import (
    BLOCK_S,
    EDGE_S,
    WAY_BACK_S,
    clear_of,
    cut_left_measure,
    rub_measure,
)
from analysis.hearing.parting import SHORTEST_PASS_S
from analysis.hearing.passes import HeardPass, find_passes, moved
from analysis.hearing.recent import RecentCourse, Reference
from analysis.hearing.search import spans
from analysis.hearing.touching import contact_as_guessed, hear_contact
from analysis.hearing.trace import Contact, Trace, chosen, joined

FloatArray = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

APART, LESS_APART = 50.0, 5.0
OFTEN, WELL_KNOWN = 2, 0.2  # times, and the interval of a pass's time, as a share of it
USUAL_PASS_S = 1.5
BEFORE_S = 0.8
AFTER_S = 0.19
ALIKE = 0.5
STANDING = 3.0  # times what running free comes to
STANDING_LEFT = 0.15  # of the cut's sound
TEETH_RISE = 1.5
STANDS_S = 0.27
LONGEST_STAND_S = 1.8
SURE_FREE_S = 4.0
FREE_S = 0.7
LATELY_S = 4.0
SIGNS, PLAIN_SIGNS = 1.0, 2.0
HALFWAY = 0.5
SLOWER = 0.03
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
        self._contact = np.zeros(0, bool)  # of the window, when it was last looked at
        self._lately: tuple[Trace, Contact] | None = None  # examples and window, as last heard
        self._weights: FloatArray | None = None  # that make features a share of a cut

    def look(self, course: RecentCourse, *, stirred: Mask | None = None) -> Seen:
        """Passes in the window.

        `stirred`, shape (newest frames,), are frames in which something was going on that has
        come to an end; it helps before there is an example of a cut.
        """
        if self.armed:
            return self._among_examples(course)
        contact, passes = _first_passes(course.trace, stirred)
        if passes:
            self.armed = True
            begin = round((passes[0].entry_s - BEFORE_S) / course.trace.step_s)
            self._contact = contact
            self.first = course.first
            self._begin_at(course, course.first + max(0, begin))
        return Seen([moved(heard, course.first * course.trace.step_s) for heard in passes], None)

    def _among_examples(self, course: RecentCourse) -> Seen:
        trace, cuts, skip = self._window(course)
        begin = max(self.first, course.first)
        # How it was seen last time is where to start; a known cut stays one.
        guess = np.arange(len(trace.lead)) < cuts
        known = self._contact[: len(guess) - skip]
        guess[skip:] = known[-1] if len(known) else False
        guess[skip : skip + len(known)] = known
        contact = contact_as_guessed(
            replace(trace, cutting=guess), known_hz=self.reference.speeds_hz()
        )
        self._lately, self._weights = (trace, contact), None
        self._contact = contact.mask[skip:]
        if not self._contact.any():
            return Seen([], None)
        # Cuts known before teach what cutting is, but are not to be found again.
        trace = chosen(trace, slice(cuts, None))
        contact = _but_for_a_touch(contact.mask[cuts:], contact.evidence[cuts:], trace.step_s)
        by_s = (begin - skip + cuts) * trace.step_s
        passes = [moved(heard, by_s) for heard in find_passes(trace, contact)]
        passes = [heard for heard in passes if heard.exit_s > begin * trace.step_s]
        ways_back = [d for p in passes for d in p.dwells if d.length_s >= WAY_BACK_S]
        if ways_back and not self._knows_free(trace.step_s):
            # Too little to tell a long dwell from the way back, and the latter is usual.
            at = round((ways_back[-1].start_s + FREE_S) / trace.step_s)
            if at > begin:
                self._begin_at(course, at)
                return self._among_examples(course)
        return Seen(passes, self._standing_s(trace, contact, by_s))

    def correct(self, course: RecentCourse, contact: Mask) -> None:
        """Take a review's word for which frames of the course were in the wood."""
        self._contact = contact[max(0, self.first - course.first) :].copy()

    def relearn(self, course: RecentCourse, *, free: Mask, cut: Mask) -> None:
        """Learn anew from the frames of the course that are known to be free or in the cut.

        The voices are others after a look, and so is what the examples sound like by them.
        """
        left = max(0, self.first - course.first)
        window = chosen(course.trace, slice(left))
        clear = clear_of(~free, step_s=window.step_s)
        anew = Reference()
        anew.learn(window, free=window.steady & clear[:left], cut=cut[:left] & window.running)
        if anew.as_rich_as(self.reference, share=HALFWAY):
            self.reference = anew

    @property
    def in_contact(self) -> bool:
        """Whether the bit was in the wood when last looked at."""
        return bool(self._contact[-1:].any())

    def no_news(self, course: RecentCourse, *, frames: int) -> bool:
        """Whether the newest frames sound plainly like what went before them."""
        newest = chosen(course.trace, slice(-frames, None))
        if not len(self._contact) or self._lately is None or not newest.running.all():
            return False
        if self._weights is None:
            self._weights = _share_of_cut(*self._lately)
        if not len(self._weights):
            return False
        share = uniform_filter1d(_with_one(newest.features()) @ self._weights, 3)
        return bool(np.all((share > HALFWAY) == self._contact[-1]))

    def rest(self, course: RecentCourse) -> None:
        """Let the window slide on while nothing is cut."""
        step_s = course.trace.step_s
        if (course.end - max(self.first, course.first)) * step_s > LONGEST_IDLE_S:
            self._begin_at(course, course.end - round(LATELY_S / step_s))

    def close(self, course: RecentCourse, *, exit_s: float) -> None:
        """Begin the window anew behind a pass that is over."""
        self._begin_at(course, round((exit_s + FREE_S) / course.trace.step_s))

    def _begin_at(self, course: RecentCourse, frame: int) -> None:
        """Begin the window at a frame of running free; learn from what is left behind."""
        begin = max(self.first, course.first)
        contact = self._contact[-(course.end - begin) :]
        window = chosen(course.trace, slice(course.end - len(contact) - course.first, None))
        left = np.arange(len(contact)) < frame - (course.end - len(contact))
        clear = clear_of(contact, step_s=window.step_s)
        self.reference.learn(
            window, free=window.steady & clear & left, cut=contact & window.running & left
        )
        self._contact = contact[~left]
        self.first = course.end - len(self._contact)

    def _knows_free(self, step_s: float) -> bool:
        free = self.reference.free
        return free is not None and len(free.lead) * step_s >= SURE_FREE_S

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
        if free is None or not self._knows_free(trace.step_s) or not len(where):
            return None
        lost, count = int(where[-1]) + 1, len(contact.mask)
        if not STANDS_S <= (count - lost) * trace.step_s <= LONGEST_STAND_S:
            return None
        clear = lost + round(EDGE_S / trace.step_s)
        rise = trace.teeth[clear:].mean(axis=0) - free.teeth.mean(axis=0)
        if np.clip(rise, -3, 3).sum() < TEETH_RISE:
            return None
        features, steady = trace.rub_features(), trace.steady
        # Reverberation and speed that recovers keep some of the cut for a while, and so short
        # a stretch is soon unlike running free: either alone calls too many exits a dwell.
        left = cut_left_measure(
            features, contact=contact.mask, settled=steady, step_s=trace.step_s
        ).measure(lost, count)
        if left < STANDING_LEFT:
            return None
        rub = rub_measure(
            features,
            contact=contact.mask,
            settled=steady,
            breaks=[(lost, count)],
            step_s=trace.step_s,
        )(lost, count)
        over_free = rub * ((count - lost) * trace.step_s / BLOCK_S) ** 0.5
        return lost * trace.step_s + by_s if over_free > STANDING else None


def _but_for_a_touch(mask: Mask, evidence: FloatArray, step_s: float) -> Contact:
    """Contact without that which has just begun after a break long enough for a way back.

    What the break was is told by what follows it.
    """
    stretches = spans(mask)
    if len(stretches) > 1 and stretches[-1][1] == len(mask):
        (_, before), (first, end) = stretches[-2:]
        short = (end - first) * step_s < SHORTEST_PASS_S
        if short and (first - before) * step_s >= WAY_BACK_S:
            mask = mask & (np.arange(end) < first)
    return Contact(mask, evidence)


def _first_passes(trace: Trace, stirred: Mask | None) -> tuple[Mask, list[HeardPass]]:
    """Contact and passes that can be believed without any example of a cut."""
    contact = contact_as_guessed(trace)
    passes = [p for p in find_passes(trace, contact) if _believable(trace, contact, p)]
    if not passes and stirred is not None:
        guess = np.zeros(len(trace.lead), bool)
        guess[-len(stirred) :] = stirred[-len(guess) :]
        contact = contact_as_guessed(replace(trace, cutting=guess & trace.running))
        if cut_signs(trace, contact.mask) >= SIGNS:
            passes = [p for p in find_passes(trace, contact) if _believable(trace, contact, p)]
    if not passes:
        # What a review takes for the cut, if it came and went more than once.
        contact = hear_contact(trace)
        again = [
            heard
            for heard in find_passes(trace, contact)
            if heard.moving_time_u95_s < WELL_KNOWN * heard.moving_time_s
            and _away(trace, contact, heard) > LESS_APART
        ]
        passes = again if len(again) >= OFTEN else []
    return contact.mask, passes


def _believable(trace: Trace, contact: Contact, heard: HeardPass) -> bool:
    """Whether a pass stands clear between two stretches of running free that sound alike."""
    away = _away(trace, contact, heard)
    if away > APART:
        return True
    long = heard.time_s > USUAL_PASS_S
    return long and away > LESS_APART and cut_signs(trace, contact.mask) > PLAIN_SIGNS


def _away(trace: Trace, contact: Contact, heard: HeardPass) -> float:
    """By how much evidence a pass stands out between two stretches of running free, nats.

    0 if those are not heard to run, turn slower than it, or don't sound alike.
    """
    first, end = (round(seconds / trace.step_s) for seconds in (heard.entry_s, heard.exit_s))
    before = slice(first - round(BEFORE_S / trace.step_s), first - 2)
    after = slice(end + 2, end + round(AFTER_S / trace.step_s))
    if before.start < 0 or after.stop > len(trace.lead):
        return 0.0
    # An exit takes a while: what follows it is heard the better, the further behind it lies.
    later = min(len(trace.lead), end + round(BEFORE_S / trace.step_s)) - after.stop
    after = slice(after.start + later, after.stop + later)
    inside = first + np.flatnonzero((contact.mask & trace.running)[first:end])
    early, late = (_running(trace, frames) for frames in (before, after))
    if not all(map(len, (early, inside, late))):
        return 0.0
    beside = ((early, inside[: len(early)]), (late, inside[-len(late) :]))
    if any(_slower(trace, free, than=cut) for free, cut in beside):
        return 0.0
    before_it, in_it, after_it = (
        float(np.median(contact.evidence[frames])) for frames in (early, inside, late)
    )
    away = in_it - max(before_it, after_it)
    return away if abs(before_it - after_it) <= ALIKE * away else 0.0


def _running(trace: Trace, frames: slice) -> npt.NDArray[np.int64]:
    """The frames in which the router is heard to run; none unless that is more than half."""
    running = np.flatnonzero(trace.running[frames])
    enough = len(running) > HALFWAY * (frames.stop - frames.start)
    return running + frames.start if enough else running[:0]


def _slower(trace: Trace, free: npt.NDArray[np.int64], *, than: npt.NDArray[np.int64]) -> bool:
    """Whether it turns plainly slower in some frames: no load, then, is taken off there."""
    speeds = [np.median(trace.rotation_hz[frames]) for frames in (free, than)]
    return bool(speeds[0] < (1 - SLOWER) * speeds[1])


def _share_of_cut(trace: Trace, contact: Contact) -> FloatArray:
    """Weights by which a frame's features make 1 in the cut and 0 running free."""
    free = trace.steady & ~contact.mask
    if not free.any() or not contact.mask.any():
        return np.zeros(0)
    zero, one = np.median(contact.evidence[free]), np.median(contact.evidence[contact.mask])
    share = (contact.evidence - zero) / (one - zero + 1e-9)
    weights, *_ = np.linalg.lstsq(_with_one(trace.features()), np.clip(share, -1, 2))
    return np.asarray(weights)


def _with_one(features: npt.NDArray[np.floating]) -> npt.NDArray[np.floating]:
    return np.pad(features, ((0, 0), (0, 1)), constant_values=1.0)


def cut_signs(trace: Trace, contact: Mask) -> float:
    """What speaks for contact's being the cut, rather than the rest: speed, teeth and hiss."""
    free = trace.steady & ~contact
    cut = trace.running & contact
    if not free.any() or not cut.any():
        return 0.0
    slower = float(np.log(np.median(trace.rotation_hz[free]) / np.median(trace.rotation_hz[cut])))
    teeth = float(trace.teeth[cut].sum(axis=1).mean() - trace.teeth[free].sum(axis=1).mean())
    hiss = float(trace.bands[cut][:, -3:].mean() - trace.bands[free][:, -3:].mean())
    signs = np.clip([slower / 0.003, teeth / 3, hiss / 0.5], -2, 2)
    return float(signs.sum())
