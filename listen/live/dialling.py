"""Calibrating live: ask for a setting, wait for a steady speed, ask for the next."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from analysis.dial.settings import Setting
from analysis.hearing.events import LevelHeard, SpeedHeard
from listen.live.ear import Ear
from listen.live.intake import Piece
from listen.live.told import DialSetting, DialTold, Ended, Level, News, Speed

STEADY_S = 4.0
STEADY_SHARE = 1.5e-3
"""Spread and drift of a steady speed, as a share of it: a free router holds far better."""
MOVED_SHARE = 0.01
"""A dial was turned if the speed has changed by more."""
_SMALLEST_U95_SHARE = 2e-4
_MOST_SPEEDS = 4000


class DialCoach:
    """Leads through the settings of a dial, one after the other.

    Parameters
    ----------
    settings : sequence of Setting
        In the order in which the person will set them.
    """

    def __init__(
        self, ear: Ear, *, settings: Sequence[Setting], sample_rate_hz: float, start_s: float = 0.0
    ) -> None:
        self._ear = ear
        self._rate_hz = sample_rate_hz
        self._start_s = start_s
        self._samples = 0
        self._settings = [DialSetting(setting.label, None, None) for setting in settings]
        self._at = 0
        self._left_rpm: float | None = None
        self._speeds: deque[tuple[float, float]] = deque(maxlen=_MOST_SPEEDS)
        self._asked = False

    @property
    def now_s(self) -> float:
        """Length of the take so far."""
        return self._start_s + self._samples / self._rate_hz

    def hear(self, piece: Piece) -> Iterator[News]:
        """Take in sound."""
        if not self._asked:
            self._asked = True
            yield self._told()
        self._samples += len(piece.samples)
        if piece.missing_s > 0:
            self._speeds.clear()
        for event in self._ear.feed(piece.samples):
            if isinstance(event, SpeedHeard):
                time_s = event.time_s + self._start_s
                yield Speed(time_s, event.spindle_rpm, self.now_s - time_s)
                if self._measured(event):
                    yield self._told()
            elif isinstance(event, LevelHeard):
                yield Level(event.level_db, event.peak, False, None)

    def word(self, word: str) -> Iterator[News]:
        """Do as asked: "again" measures the last one anew, "skip" leaves this one out."""
        if word == "skip" and self._at < len(self._settings):
            self._next(None)
        elif word == "again" and self._at > 0:
            self._at -= 1
            self._settings[self._at] = replace(
                self._settings[self._at], spindle_rpm=None, spindle_rpm_u95=None
            )
            self._left_rpm = None
            self._speeds.clear()
        yield self._told()

    def finish(self) -> Iterator[News]:
        """End the take."""
        self._ear.finish()
        yield Ended(self.now_s, None)

    def _measured(self, event: SpeedHeard) -> bool:
        """Whether this speed completes a steady stretch at the setting that was asked for."""
        if self._at >= len(self._settings):
            return False
        if event.spindle_rpm is None or self._unmoved(event.spindle_rpm):
            self._speeds.clear()
            return False
        self._speeds.append((event.time_s, event.spindle_rpm))
        while event.time_s - self._speeds[0][0] > STEADY_S:
            self._speeds.popleft()
        if event.time_s - self._speeds[0][0] < 0.9 * STEADY_S or len(self._speeds) < 8:
            return False
        times_s, speeds = np.array(self._speeds).T
        rpm = float(np.mean(speeds))
        drift = abs(np.polyfit(times_s - times_s[0], speeds, 1)[0]) * STEADY_S / rpm
        spread = float(np.std(speeds)) / rpm
        if max(drift, spread) > STEADY_SHARE:
            return False
        u95 = max(1.96 * spread, _SMALLEST_U95_SHARE) * rpm
        self._settings[self._at] = replace(
            self._settings[self._at], spindle_rpm=rpm, spindle_rpm_u95=u95
        )
        self._next(rpm)
        return True

    def _next(self, left_rpm: float | None) -> None:
        self._at += 1
        self._left_rpm = left_rpm
        self._speeds.clear()

    def _unmoved(self, rpm: float) -> bool:
        return self._left_rpm is not None and abs(rpm / self._left_rpm - 1) < MOVED_SHARE

    def _told(self) -> DialTold:
        at = self._at if self._at < len(self._settings) else None
        if at is None:
            prompt = "All settings are measured. Switch the router off."
        else:
            prompt = f"Set {self._settings[at].label}, and let it run free."
        return DialTold(tuple(self._settings), at, prompt)
