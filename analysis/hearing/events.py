"""What the live engine says, and the record of what it has said."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from analysis.hearing.faults import CLIPPED_SHARE
from analysis.hearing.gaps import NEVER_BACK_S, WAY_BACK_S
from analysis.hearing.passes import HeardPass

LOST_S = 0.28  # contact lost for longer: the pass is taken as ended
CLOSED_S = WAY_BACK_S + 0.2  # and after this it is never taken up again
SAME_S = 0.5
LEAST_DWELL_S = 0.4
SURER = 1.25  # times
WELL_KNOWN = 0.15  # of a pass's time: where breaks leave a doubt it is known far less well
FULL_SCALE = 0.999
LEAST_NEWS, LEAST_NEWS_RPM = 0.4, 1e-3  # shares by which a pass must differ to be told anew


@dataclass(frozen=True, slots=True)
class SpeedHeard:
    """The spindle speed at a moment; None while the router is off or not recognised."""

    time_s: float
    spindle_rpm: float | None


@dataclass(frozen=True, slots=True)
class LevelHeard:
    """How loud the last fifth of a second was: dB against full scale, and the largest sample."""

    time_s: float
    level_db: float
    peak: float
    clipped: bool


def level_heard(samples: npt.NDArray[np.float32], time_s: float) -> LevelHeard:
    """How loud these samples are."""
    size = np.abs(samples)
    level_db = 10 * float(np.log10(float(np.dot(samples, samples)) / len(samples) + 1e-20))
    clipped = np.count_nonzero(size >= FULL_SCALE) > CLIPPED_SHARE * len(samples)
    return LevelHeard(time_s, level_db, float(size.max()), bool(clipped))


@dataclass(frozen=True, slots=True)
class PassEntered:
    """The bit has gone into the wood."""

    entry_s: float


@dataclass(frozen=True, slots=True)
class DwellHeard:
    """The bit stands still in the wood."""

    start_s: float


@dataclass(frozen=True, slots=True)
class PassEnded:
    """A pass is over, unless a `PassResumed` with its entry follows."""

    heard: HeardPass


@dataclass(frozen=True, slots=True)
class PassResumed:
    """Contact came back so soon that the last `PassEnded` was not the end of its pass."""

    entry_s: float


@dataclass(frozen=True, slots=True)
class PassesRevised:
    """Heard once more with what came after, the passes from `from_s` on are these.

    They take the place of all passes told that began no sooner and were over by `until_s`.
    """

    from_s: float
    until_s: float
    passes: tuple[HeardPass, ...]


Event = SpeedHeard | LevelHeard | PassEntered | DwellHeard | PassEnded | PassResumed | PassesRevised


@dataclass(slots=True)
class _Told:
    entry_s: float
    exit_s: float
    ended: bool = False
    closed: bool = False
    dwells_s: list[float] = field(default_factory=list)
    heard: HeardPass | None = None


def _same_passes(told: list[HeardPass | None], passes: tuple[HeardPass, ...]) -> bool:
    return len(told) == len(passes) and all(
        one is not None
        and abs(one.entry_s - other.entry_s) < SAME_S
        and abs(one.moving_time_s - other.moving_time_s) <= LEAST_NEWS * other.moving_time_u95_s
        and abs(one.spindle_rpm - other.spindle_rpm) <= LEAST_NEWS_RPM * other.spindle_rpm
        for one, other in zip(told, passes, strict=True)
    )


def _same_ends(one: HeardPass, other: HeardPass) -> bool:
    return abs(one.entry_s - other.entry_s) < SAME_S and abs(one.exit_s - other.exit_s) < SAME_S


def _much_less_sure(one: HeardPass, than: HeardPass) -> bool:
    return one.moving_time_u95_s > SURER * than.moving_time_u95_s


def _side_by_side(
    old: Sequence[HeardPass], new: Sequence[HeardPass]
) -> list[tuple[list[HeardPass], list[HeardPass]]]:
    """Old and new passes, in order, in groups that share no moment with another."""
    groups: list[tuple[list[HeardPass], list[HeardPass]]] = []
    end_s = -np.inf
    for heard, side in sorted(
        [*((heard, 0) for heard in old), *((heard, 1) for heard in new)],
        key=lambda one: one[0].entry_s,
    ):
        if heard.entry_s >= end_s:
            groups.append(([], []))
        groups[-1][side].append(heard)
        end_s = max(end_s, heard.exit_s)
    return groups


def _well_known(passes: Sequence[HeardPass]) -> bool:
    """Whether none of the passes might as well be more or fewer, or have faltered inside."""
    return all(one.moving_time_u95_s < WELL_KNOWN * one.moving_time_s for one in passes)


def _easily_mended(old: list[HeardPass], new: list[HeardPass]) -> bool:
    """Whether both tell of the same stretch, as surely, with no fewer breaks for a way back."""
    whole, anew = (replace(passes[0], exit_s=passes[-1].exit_s) for passes in (old, new))
    before, now = (
        sum(b.entry_s - a.exit_s >= NEVER_BACK_S for a, b in pairwise(passes))
        for passes in (old, new)
    )
    return _same_ends(whole, anew) and now >= before


class Record:
    """What was said of the last passes, so that each thing is said once."""

    def __init__(self) -> None:
        self._told: list[_Told] = []
        self._doubted: list[HeardPass] = []  # each would take the place of several

    @property
    def closed_s(self) -> float:
        """Exit of the last pass that can't be taken up again; below 0 if there is none."""
        return max((told.exit_s for told in self._told if told.closed), default=-1.0)

    @property
    def closes_s(self) -> float:
        """When the last pass, if it has ended, can't be taken up again any more; else never."""
        last = self._told[-1:]
        return max((t.exit_s + CLOSED_S for t in last if t.ended and not t.closed), default=np.inf)

    def closed_since(self, time_s: float) -> int:
        """How many passes that can't be taken up again began since then."""
        return sum(told.closed and told.entry_s >= time_s for told in self._told)

    @property
    def cutting(self) -> bool:
        """Whether a pass is under way."""
        return any(not told.ended for told in self._told[-1:])

    def clear_s(self, time_s: float) -> float:
        """The first moment, from `time_s` on, that is behind all passes which had begun by then."""
        begun = (told.exit_s for told in self._told if told.entry_s < time_s + SAME_S)
        return max([time_s, *begun])

    def inside(self, time_s: npt.NDArray[np.float64]) -> npt.NDArray[np.bool_]:
        """Which moments lie in the passes told."""
        within = [(time_s >= told.entry_s) & (time_s < told.exit_s) for told in self._told]
        return np.any(within, axis=0) if within else np.zeros(len(time_s), bool)

    def news(
        self, passes: list[HeardPass], *, now_s: float, standing_s: float | None
    ) -> list[Event]:
        """What is new in the passes as they are heard now.

        Parameters
        ----------
        passes : list of HeardPass
            Of the window that is still open, in order.
        now_s : float
            How far the sound was heard.
        standing_s : float or None
            If the bit seems to stand still in the wood at this moment: since when.
        """
        events: list[Event] = []
        for number, heard in enumerate(passes):
            told = self._same(heard)
            if told is None and number == 0 and self._reaches_into(heard):
                # Its beginning is no longer kept.
                told = self._told[-1]
                heard = replace(heard, entry_s=told.entry_s, complete=False)
            if told is None:
                told = _Told(heard.entry_s, heard.exit_s)
                self._told = [*self._told[-20:], told]
                events.append(PassEntered(heard.entry_s))
            elif told.ended and heard.exit_s > told.exit_s + LOST_S:
                told.ended = False
                events.append(PassResumed(told.entry_s))
            last = number == len(passes) - 1
            dwells_s = [d.start_s for d in heard.dwells if d.length_s >= LEAST_DWELL_S]
            if last and standing_s is not None and now_s - standing_s >= LEAST_DWELL_S:
                dwells_s.append(standing_s)
            for start_s in dwells_s:
                if all(abs(start_s - before_s) > SAME_S for before_s in told.dwells_s):
                    told.dwells_s.append(start_s)
                    events.append(DwellHeard(start_s))
            lost_s = now_s - heard.exit_s
            if not told.ended:
                told.exit_s = heard.exit_s
                if not last or lost_s >= (LOST_S if standing_s is None else CLOSED_S):
                    told.ended, told.heard = True, heard
                    events.append(PassEnded(heard))
            told.closed = told.ended and (not last or lost_s >= CLOSED_S)
        return events

    def differs(self, anew: PassesRevised) -> bool:
        """Whether passes that were heard anew are others than those told."""
        return not _same_passes([told.heard for told in self._between(anew)], anew.passes)

    def revise(self, anew: PassesRevised) -> list[Event]:
        """What is new in passes that were heard anew.

        A look at part of the take may name a break, or what lies before a pass, otherwise than
        the next: where told passes become one, or begin or end elsewhere, and what takes their
        place is not well known, it must be heard so twice running.
        """
        anew = replace(anew, passes=tuple(self._without_doubted(anew)))
        if not (self.differs(anew) or self._otherwise_sure(anew)):
            return []
        replaced = self._between(anew)
        kept = [told for told in self._told if told not in replaced]
        passes = [
            _Told(p.entry_s, p.exit_s, True, True, [d.start_s for d in p.dwells], p)
            for p in anew.passes
        ]
        self._told = sorted([*kept, *passes], key=lambda told: told.entry_s)
        return [anew]

    def _without_doubted(self, anew: PassesRevised) -> list[HeardPass]:
        before, self._doubted = self._doubted, []
        told = [one.heard for one in self._between(anew) if one.heard]
        passes: list[HeardPass] = []
        for old, new in _side_by_side(told, anew.passes):
            again = all(any(_same_ends(one, other) for other in before) for one in new)
            if again or not old or _easily_mended(old, new) or _well_known(new):
                passes += new
            else:
                self._doubted += new
                passes += old
        return passes

    def _otherwise_sure(self, anew: PassesRevised) -> bool:
        """Whether of the same passes one is known so much better, or worse, that it may count."""
        return any(
            _much_less_sure(told.heard, one) or _much_less_sure(one, told.heard)
            for told, one in zip(self._between(anew), anew.passes, strict=False)
            if told.heard is not None
        )

    def _between(self, anew: PassesRevised) -> list[_Told]:
        return [
            told
            for told in self._told
            if told.closed and anew.from_s <= told.entry_s and told.exit_s <= anew.until_s
        ]

    def _reaches_into(self, heard: HeardPass) -> bool:
        return self.cutting and self._told[-1].entry_s < heard.entry_s < self._told[-1].exit_s

    def _same(self, heard: HeardPass) -> _Told | None:
        for told in self._told:
            if abs(told.entry_s - heard.entry_s) < SAME_S or (
                not told.closed and heard.entry_s <= told.entry_s < heard.exit_s
            ):
                return told
        return None
