"""The live coach: sound in, news out, through the same reading and advice as a review."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from analysis.coaching.advice import Step
from analysis.coaching.summary import CoachedPass, Gap, coach_pass, summarise
from analysis.coaching.verdict import Verdict
from analysis.coaching.wording import say_seconds
from analysis.hearing.events import (
    DwellHeard,
    LevelHeard,
    PassEnded,
    PassEntered,
    PassesRevised,
    PassResumed,
    SpeedHeard,
)
from analysis.hearing.passes import moved
from listen.live.ear import Ear, EarError
from listen.live.intake import Piece
from listen.live.pacing import aimed_time_s, pace_marks_s
from listen.live.told import (
    Cue,
    Dwelling,
    Ended,
    Entered,
    Hands,
    Level,
    News,
    Notice,
    PassTold,
    PassWithdrawn,
    Speed,
)
from listen.setup import Bench

if TYPE_CHECKING:
    from analysis.hearing.events import Event
    from analysis.hearing.passes import HeardPass

PASSES_FOR_HANDS = 5
TOO_QUIET_DB = -60.0
_WARN_AGAIN_S = 20.0
_QUIET_S = 5.0
TOO_LOUD = "Too loud for the microphone: put it two or three metres away."
TOO_QUIET = (
    "Hardly any sound arrives: is the right microphone chosen, uncovered, and allowed by the "
    "system's settings?"
)
_SAME_ENTRY_S = 0.5


class Coach:
    """Coaches one take.

    Parameters
    ----------
    ear : Ear
        A fresh listening engine.
    start_s : float
        Where in the take the ear begins (a take that goes on after a restart).
    passes_before : int
        Passes that were told before that.
    """

    def __init__(
        self,
        ear: Ear,
        *,
        bench: Bench,
        sample_rate_hz: float,
        start_s: float = 0.0,
        passes_before: int = 0,
    ) -> None:
        self._ear: Ear | None = ear
        self._bench = bench
        self._rate_hz = sample_rate_hz
        self._start_s = start_s
        self._before = passes_before
        self._samples = 0
        self._gaps: list[Gap] = []
        self._passes: list[CoachedPass] = []
        self._rpm: float | None = None
        self._warned_s: dict[str, float] = {}
        self._sounded_s = start_s

    @property
    def now_s(self) -> float:
        """Length of the take so far."""
        return self._start_s + self._samples / self._rate_hz

    def hear(self, piece: Piece) -> Iterator[News]:
        """Take in sound, or the silence that stands for lost sound."""
        before_s = self.now_s
        self._samples += len(piece.samples)
        if piece.missing_s > 0:
            self._gaps.append((before_s, self.now_s))
            yield Notice(
                f"{piece.missing_s:.1f} s of sound were lost; a pass in them is not judged.",
                self._gaps[-1],
            )
        if self._ear is None:
            return
        try:
            events = self._ear.feed(piece.samples)
        except EarError as error:
            self._ear = None
            yield Notice(str(error))
            return
        for event in events:
            yield from self._told(event)

    def finish(self) -> Iterator[News]:
        """End the take: what the review of all of it tells otherwise or anew, then the summary."""
        try:
            heard = self._ear.finish().passes if self._ear is not None else None
        except EarError as error:
            heard = None
            yield Notice(str(error))
        if heard is not None:
            yield from self._revised([self._coached(one) for one in heard], aloud=False)
        summary = summarise(self._passes, self._bench.units) if self._passes else None
        yield Ended(self.now_s, summary)

    def _told(self, event: Event) -> Iterator[News]:
        if isinstance(event, SpeedHeard):
            self._rpm = event.spindle_rpm
            time_s = event.time_s + self._start_s
            yield Speed(time_s, event.spindle_rpm, self.now_s - time_s)
        elif isinstance(event, LevelHeard):
            yield self._level(event)
        elif isinstance(event, PassEntered):
            yield self._entered(event.entry_s + self._start_s)
        elif isinstance(event, DwellHeard):
            yield Dwelling(event.start_s + self._start_s)
        elif isinstance(event, PassEnded):
            yield from self._pass_told(event.heard)
        elif isinstance(event, PassResumed):
            entry_s = event.entry_s + self._start_s
            before_s = entry_s - _SAME_ENTRY_S
            kept = [p for p in self._passes if p.reading.entry_s < before_s]
            for news in self._revised(kept):
                goes_on = news == (one := PassWithdrawn(self._before + len(kept) + 1))
                yield replace(one, goes_on=True) if goes_on else news
            yield self._entered(entry_s)
        elif isinstance(event, PassesRevised):
            from_s, until_s = event.from_s + self._start_s, event.until_s + self._start_s
            yield from self._revised(
                [
                    *(p for p in self._passes if p.reading.entry_s < from_s),
                    *(self._coached(heard) for heard in event.passes),
                    *(p for p in self._passes if p.reading.exit_s > until_s),
                ]
            )

    def _revised(self, passes: list[CoachedPass], *, aloud: bool = True) -> Iterator[News]:
        """Take these for the passes so far, and tell what is new in them."""
        before, self._passes = self._passes, passes
        for number, passed in enumerate(passes):
            earlier = before[number] if number < len(before) else None
            if earlier is None or _as_shown(earlier) != _as_shown(passed):
                changed = earlier is None or cue_for(earlier) is not cue_for(passed)
                last = number == len(passes) - 1
                yield self._news_of(
                    number, again=earlier is not None, aloud=aloud and changed and last
                )
        for number in range(len(before), len(passes), -1):
            yield PassWithdrawn(self._before + number)

    def _entered(self, entry_s: float) -> Entered:
        aim_s = aimed_time_s(self._bench.cut, spindle_rpm=self._rpm) if self._rpm else None
        age_s = self.now_s - entry_s
        marks_s: tuple[float, ...] = ()
        if aim_s is not None and age_s < pace_marks_s(aim_s)[0]:
            # Heard later, the first tick would be missing and the others be counted wrong.
            marks_s = pace_marks_s(aim_s)
        return Entered(entry_s, age_s, aim_s, marks_s)

    def _pass_told(self, heard: HeardPass) -> Iterator[News]:
        self._passes.append(self._coached(heard))
        yield self._news_of(len(self._passes) - 1)
        if len(self._passes) >= PASSES_FOR_HANDS:
            yield Hands(summarise(self._passes, self._bench.units))

    def _coached(self, heard: HeardPass) -> CoachedPass:
        heard = moved(heard, self._start_s)
        return coach_pass(heard, self._bench.cut, self._bench.units, gaps=self._gaps)

    def _news_of(self, number: int, *, again: bool = False, aloud: bool = True) -> PassTold:
        coached = self._passes[number]
        return PassTold(
            self._before + number + 1,
            coached,
            cue_for(coached),
            self.now_s,
            again=again,
            aloud=aloud,
        )

    def _level(self, event: LevelHeard) -> Level:
        if event.level_db >= TOO_QUIET_DB:
            self._sounded_s = self.now_s
        # Before the router is switched on a quiet shop is no fault.
        quiet = self.now_s - self._sounded_s > _QUIET_S
        if not event.clipped and not quiet:
            return Level(event.level_db, event.peak, False, None)
        text = TOO_LOUD if event.clipped else TOO_QUIET
        if self.now_s - self._warned_s.get(text, -np.inf) < _WARN_AGAIN_S:
            return Level(event.level_db, event.peak, True, None)
        self._warned_s[text] = self.now_s
        return Level(event.level_db, event.peak, True, text)


def _as_shown(coached: CoachedPass) -> tuple[object, ...]:
    """What a person sees of a pass: if that is the same, it need not be told anew."""
    reading = coached.reading
    return cue_for(coached), coached.advice.text, say_seconds(reading.time_s), len(reading.dwells)


def cue_for(coached: CoachedPass) -> Cue:
    """The one word that says the advice."""
    reading, advice = coached.reading, coached.advice
    by_step = {
        Step.OBEY_MARKING: Cue.STOP,
        Step.TURN_DOWN: Cue.TURN_DOWN,
        Step.TURN_UP: Cue.TURN_UP,
        Step.TAKE_LESS: Cue.TAKE_LESS,
        Step.LEAVE_MORE: Cue.LEAVE_MORE,
        Step.TELL_MORE: Cue.NOT_JUDGED,
    }
    if advice.step in by_step:
        return by_step[advice.step]
    if reading.verdict is Verdict.IN_THE_BAND:
        return Cue.GOOD
    if reading.verdict is Verdict.RUBBING:
        return Cue.FASTER
    if reading.verdict is Verdict.OVERLOADING:
        return Cue.SLOWER
    if advice.aim_high_s is not None and reading.moving_time_s > advice.aim_high_s:
        return Cue.FASTER
    if advice.aim_low_s is not None and reading.moving_time_s < advice.aim_low_s:
        return Cue.SLOWER
    return Cue.TOO_CLOSE
