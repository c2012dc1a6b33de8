"""The engine while the router runs: the same hearing, on a sliding window.

Sound is taken in ticks of a fixed number of frames, so that nothing depends on the blocks it
came in. Now and then the whole of what is kept is looked at as a review would; in between the
router is followed by the voices the last look taught. What is newer than the look-ahead is
provisional and heard again with the next tick.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from analysis.hearing.events import (
    DwellHeard,
    Event,
    LevelHeard,
    PassEnded,
    PassEntered,
    PassResumed,
    Record,
    SpeedHeard,
)
from analysis.hearing.faults import CLIP_NEAR, CLIPPED_SHARE
from analysis.hearing.following import Follower
from analysis.hearing.listener import Hearing, Listener
from analysis.hearing.recent import RecentCourse, RecentSound
from analysis.hearing.spectra import Framer
from analysis.hearing.spindle import hear_turning
from analysis.hearing.stirring import Stirring
from analysis.hearing.voice import Voices
from analysis.hearing.watching import FREE_S, Watch

__all__ = [
    "DwellHeard",
    "Event",
    "LevelHeard",
    "LiveListener",
    "PassEnded",
    "PassEntered",
    "PassResumed",
    "SpeedHeard",
]

TICK = 8  # frames
LOOK_S = 40.0
COURSE_S = 120.0
FOLLOW_S = 2.5
FIRST_LOOK_S = 3.0
LOOK_GROWTH = 0.4


class LiveListener:
    """Takes blocks of one-channel sound of any size and says at once what it hears.

    Parameters
    ----------
    sample_rate_hz : float
        8,000 to 192,000.
    flutes : int or None
        Cutting edges on the bit, if known.
    plate_range_rpm : (float, float) or None
        No-load speed range on the router's plate.
    known_voices : Voices or None
        The router's voices from its calibration.
    look_ahead_s : float
        How long a moment stays provisional.

    Raises
    ------
    InputError
        If a value is out of range.
    """

    def __init__(
        self,
        *,
        sample_rate_hz: float,
        flutes: int | None = None,
        plate_range_rpm: tuple[float, float] | None = None,
        known_voices: Voices | None = None,
        look_ahead_s: float = 0.35,
    ) -> None:
        self._review = Listener(
            sample_rate_hz=sample_rate_hz,
            flutes=flutes,
            plate_range_rpm=plate_range_rpm,
            known_voices=known_voices,
        )
        self.grid = self._review.grid
        self._flutes = flutes
        self._plate_range_rpm = plate_range_rpm
        self._known = known_voices
        self._look_ahead = self._frames_in(look_ahead_s)
        self._framer = Framer(self.grid)
        self._waiting = np.zeros(0, np.float32)
        self._taken = 0  # samples
        self._sound = RecentSound(self.grid, most=self._frames_in(LOOK_S))
        self._course: RecentCourse | None = None
        self._follower = Follower(flutes=flutes, plate_range_rpm=plate_range_rpm)
        if known_voices is not None:
            self._follower.learn(known_voices, None)
        self._next_look = self._frames_in(FIRST_LOOK_S)
        self._stirring = Stirring()
        self._watch = Watch()
        self._record = Record()

    def feed(self, samples: npt.NDArray[np.float32]) -> list[Event]:
        """Take in samples, shape (n,), full scale +-1; say what is new."""
        self._waiting = np.concatenate([self._waiting, samples])
        step = TICK * self.grid.hop
        events: list[Event] = []
        for first in range(0, len(self._waiting) - step + 1, step):
            events += self._tick(self._waiting[first : first + step])
        self._waiting = self._waiting[len(self._waiting) // step * step :].copy()
        return events

    def finish(self) -> Hearing:
        """End the take and return the review of all of it."""
        self._review.feed(self._waiting)
        self._waiting = self._waiting[:0]
        return self._review.finish()

    def _frames_in(self, seconds: float) -> int:
        return round(seconds / self.grid.step_s)

    def _tick(self, samples: npt.NDArray[np.float32]) -> list[Event]:
        self._review.feed(samples)
        self._taken += len(samples)
        events: list[Event] = [_level(samples, self._taken / self.grid.sample_rate_hz)]
        bands = self._sound.add(self._framer.frames(samples, multiple=1))
        if self._course is None:
            self._course = RecentCourse(
                step_s=self.grid.step_s, bands=bands.shape[1], most=self._frames_in(COURSE_S)
            )
        self._course.grow(bands)
        self._follow(self._course)
        events.append(self._speed(self._course))
        if self._watch.armed:
            events += self._passes(self._course)
            self._look(self._course)
        elif self._look(self._course, now=self._stirring.add(bands)):
            events += self._passes(self._course)
        return events

    def _follow(self, course: RecentCourse) -> None:
        if self._follower.voices is None:
            return
        turning = self._follower.follow(self._sound.frames(self._frames_in(FOLLOW_S)))
        if turning is not None:
            course.splice(turning, from_frame=course.end - self._look_ahead - 2 * TICK)

    def _look(self, course: RecentCourse, *, now: bool = False) -> bool:
        if not now and self._sound.end < self._next_look:
            return False
        frames = self._sound.frames(self._sound.kept)
        self._next_look = self._sound.end + max(
            self._frames_in(FIRST_LOOK_S), round(LOOK_GROWTH * self._sound.kept)
        )
        turning = hear_turning(
            frames, flutes=self._flutes, plate_range_rpm=self._plate_range_rpm, known=self._known
        )
        if turning.voices is None:
            return False
        course.splice(turning, from_frame=0)
        self._follower.learn(turning.voices, turning.rotation_hz)
        return True

    def _speed(self, course: RecentCourse) -> SpeedHeard:
        newest = course.trace.rotation_hz[-TICK // 2 :]
        running = bool(np.isfinite(newest).all())
        time_s = (course.end - 1) * self.grid.step_s
        return SpeedHeard(time_s, 60 * float(np.mean(newest)) if running else None)

    def _passes(self, course: RecentCourse) -> list[Event]:
        seen = self._watch.look(course)
        closed_s = self._record.closed_s
        events = self._record.news(
            seen.passes,
            now_s=course.end * self.grid.step_s,
            standing_s=seen.standing_s,
        )
        if self._record.closed_s > closed_s:
            self._watch.close(course, at_s=self._record.closed_s + FREE_S)
        return events


def _level(samples: npt.NDArray[np.float32], time_s: float) -> LevelHeard:
    size = np.abs(samples)
    level_db = 10 * float(np.log10(float(np.dot(samples, samples)) / len(samples) + 1e-20))
    clipped = np.count_nonzero(size >= CLIP_NEAR) > CLIPPED_SHARE * len(samples)
    return LevelHeard(time_s, level_db, float(size.max()), bool(clipped))
