"""What the coach tells, on a terminal: a quiet line while listening, large words after a pass."""

from __future__ import annotations

import sys
from typing import TextIO

from analysis.coaching.wording import say_chip, say_range_s, say_seconds
from listen.live.letters import large
from listen.live.telling import DWELL_TEXT, HEADLINES
from listen.live.told import (
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

_EVERY_S = 0.25
_METER_DB = (-60.0, 0.0)
_METER_CELLS = 12


class Terminal:
    """Shows news. Without a terminal (a pipe), lines only."""

    def __init__(self, out: TextIO, bench: Bench) -> None:
        self._out = out
        self._bench = bench
        self._live = out.isatty()
        self._ink = "█" if _can_draw(out) else "#"
        self._rpm: float | None = None
        self._level_db = -100.0
        self._state = "ready"
        self._shown_s = -1.0
        self._large = (0, "")  # the last pass and the word that stands large

    def show(self, news: News) -> None:
        """Show one piece of news."""
        if isinstance(news, Speed):
            self._rpm = news.spindle_rpm
            if news.time_s - self._shown_s >= _EVERY_S:
                self._shown_s = news.time_s
                self._line()
        elif isinstance(news, Level):
            self._level_db = news.level_db
            if news.warning:
                self._say(news.warning)
        elif isinstance(news, Entered):
            self._state = "cutting"
            aim = f", aim for {say_range_s(*news.aim_s)}" if news.aim_s else ""
            self._say(f"In the cut{aim}.")
        elif isinstance(news, Dwelling):
            self._say(f"{DWELL_TEXT} Keep moving.")
        elif isinstance(news, PassTold):
            if not news.again:
                self._state = "ready"
            self._say(self._pass(news))
        elif isinstance(news, PassWithdrawn):
            self._say(news.text)
        elif isinstance(news, Hands):
            summary = news.summary
            self._say(
                f"Over all {summary.passes_heard} passes, change first: {summary.change_first}\n"
                f"{_upper(summary.steadiness)}; {summary.trend}.\n"
            )
        elif isinstance(news, Notice):
            self._say(news.text)
        elif isinstance(news, Ended):
            self._say(_ended(news))

    def say(self, text: str) -> None:
        """Show a sentence."""
        self._say(text)

    def _pass(self, told: PassTold) -> str:
        reading, units = told.reading, self._bench.units
        figures = [f"{reading.spindle_rpm:,.0f} rpm"]
        if reading.chip_load_mm is not None and reading.chip_load_u95_mm is not None:
            off = max(reading.chip_load_u95_mm, 0.001)
            figures.append(f"chip load {say_chip(reading.chip_load_mm, units)}")
            figures.append(f"± {say_chip(off, units)}")
        heard = (
            f"{say_seconds(reading.time_s)}, {', '.join(figures[:2])}"
            f"{' ' + figures[2] if len(figures) > 2 else ''}."
        )
        word = HEADLINES[told.cue]
        number, before = self._large
        if told.again and not told.aloud and (told.number < number or word == before):
            # The large word on the screen is the last pass's, as it stands.
            return f"Pass {told.number}, heard again: {word}. {heard}"
        self._large = (told.number, word)
        called = f"{told.number}, heard again" if told.again else str(told.number)
        shown = large(word, ink=self._ink)
        return f"\n{shown}\n\nPass {called}: {heard}\n{told.advice.text}\n"

    def _line(self) -> None:
        if not self._live:
            return
        low_db, high_db = _METER_DB
        share = min(max((self._level_db - low_db) / (high_db - low_db), 0), 1)
        meter = "#" * round(share * _METER_CELLS)
        speed = "no router heard" if self._rpm is None else f"{round(self._rpm, -1):>6,.0f} rpm"
        self._out.write(f"\r\x1b[K{speed}   [{meter:<{_METER_CELLS}}]  {self._state}")
        self._out.flush()

    def _say(self, text: str) -> None:
        self._out.write(f"{chr(13) + chr(27) + '[K' if self._live else ''}{text}\n")
        self._out.flush()


def _ended(news: Ended) -> str:
    summary = news.summary
    if summary is None:
        return "\nNo pass was heard."
    left = summary.passes_heard - summary.passes_judged
    others = f", {left} not judged" if left else ""
    passes = "pass" if summary.passes_heard == 1 else "passes"
    return (
        f"\n{summary.passes_heard} {passes}: {summary.in_the_band} in the band, {summary.rubbing} "
        f"rubbing, {summary.overloading} overloading, {summary.unsure} too close to call{others}.\n"
        f"Change first: {summary.change_first}\n{_upper(summary.steadiness)}; {summary.trend}."
    )


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]


def _can_draw(out: TextIO) -> bool:
    try:
        "█".encode(out.encoding or sys.getdefaultencoding())
    except (UnicodeEncodeError, LookupError):
        return False
    return True
