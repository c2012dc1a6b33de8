"""The engine while the router runs: the same hearing, on a sliding window.

Sound is taken in ticks of a fixed number of frames, so that nothing depends on the blocks it
came in. Now and then the whole of what is kept is looked at as a review would; in between the
router is followed by the voices the last look taught. What is newer than the look-ahead is
provisional and heard again with the next tick.
"""

from __future__ import annotations

from concurrent.futures import Executor

import numpy as np
import numpy.typing as npt

from analysis.hearing.anew import heard_anew
from analysis.hearing.events import Event, Record, SpeedHeard, level_heard
from analysis.hearing.following import Follower
from analysis.hearing.listener import Hearing, Listener
from analysis.hearing.looking import Asked, Look, begin_look
from analysis.hearing.recent import RecentCourse, RecentSound, is_quiet
from analysis.hearing.spectra import Framer
from analysis.hearing.stirring import Stirring
from analysis.hearing.touching import hear_contact
from analysis.hearing.trace import chosen
from analysis.hearing.turning import Turning
from analysis.hearing.voice import Mask, Voices
from analysis.hearing.watching import BEFORE_S, Watch

BEAT = 4  # frames
TICK = 2 * BEAT
LOOK_S, FIRST_LOOK_MOST_S = 100.0, 45.0
COURSE_S = 120.0
REFINE_S, REFINE_SOONER_S = 1.6, 0.5  # of new sound, and before passes are looked for
FIRST_LOOK_S = 3.0
LOOK_LATER_S = LOOK_S
TOLD_AFTER_S, TOLD_LATEST_S = 1.5, 4.5  # a look
# Times the sound of the last search, from which there is more to learn: once a cut was learned
# from, while none is known, and when the first is over.
MUCH_MORE, TWICE, MORE = 4.0, 2.0, 1.5
UNARMED_GROWTH = 0.5
LOOK_SHARE, LOOK_CREDIT_S = 1.0, 150.0
LOOK_AGAIN_S = 8.0
FOLLOWED = 0.8
CUT_TO_LEARN_S = 1.5
CONTRADICTS = 0.4
OTHER_RATIO = 0.05
HELD_S = 30.0
URGENT_S = 0.08  # contact lost for so long: every beat counts
BREAK_S = 0.6  # after an exit in which every tick is looked at
CHECK_S = 8.0  # of one pass, after which it is heard as a review would
LOST_TICKS = 4
LONGEST_UNSEEN = 16  # ticks: some three seconds


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
    beside : Executor or None
        Works out what takes long beside what goes on; what is said is the same without.

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
        beside: Executor | None = None,
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
        self._held: list[npt.NDArray[np.float32]] = []  # for the review
        self._lately: list[npt.NDArray[np.float32]] = []  # of this tick
        self._beats = 0
        self._heard = 0  # frames
        self._sound = RecentSound(self.grid, most=self._frames_in(LOOK_S))
        self._course: RecentCourse | None = None
        self._follower = Follower(self.grid, flutes=flutes, plate_range_rpm=plate_range_rpm)
        self._refined = 0  # frames
        if known_voices is not None:
            self._follower.learn(known_voices)
        self._next_look = self._frames_in(FIRST_LOOK_S)
        self._looked = 0  # frames, in all looks
        self._looked_at = self._learned_at = 0  # frames, in the last look and in the last search
        self._learned_cut = False
        self._doubts = 0
        self._look: Look | None = None  # that was begun and is not told yet
        self._beside = beside
        self._stirring = Stirring()
        self._watch = Watch()
        self._record = Record()
        self._urgent = self._in_break = False
        self._unseen = 0  # ticks
        self._next_check = 0

    def feed(self, samples: npt.NDArray[np.float32]) -> list[Event]:
        """Take in samples, shape (n,), full scale +-1; say what is new."""
        self._waiting = np.concatenate([self._waiting, samples])
        step = BEAT * self.grid.hop
        events: list[Event] = []
        for first in range(0, len(self._waiting) - step + 1, step):
            events += self._beat(self._waiting[first : first + step])
        self._waiting = self._waiting[len(self._waiting) // step * step :].copy()
        return events

    def finish(self) -> Hearing:
        """End the take and return the review of all of it."""
        for samples in (*self._held, self._waiting):
            self._review.feed(samples)
        self._held, self._waiting = [], self._waiting[:0]
        return self._review.finish()

    def _frames_in(self, seconds: float) -> int:
        return round(seconds / self.grid.step_s)

    def _beat(self, samples: npt.NDArray[np.float32]) -> list[Event]:
        self._keep_for_review(samples)
        self._beats += 1
        self._lately = [*self._lately[-1:], samples]
        bands = self._sound.add(self._framer.frames(samples, multiple=1))
        if self._course is None:
            self._course = RecentCourse(
                step_s=self.grid.step_s, bands=bands.shape[1], most=self._frames_in(COURSE_S)
            )
        self._course.grow(bands)
        whole = self._beats % (TICK // BEAT) == 0
        return self._tick(self._course, whole=whole) if whole or self._urgent else []

    def _keep_for_review(self, samples: npt.NDArray[np.float32]) -> None:
        """Let the review have its sound between passes: its sections take a while."""
        self._held.append(samples.copy())
        most = self._frames_in(HELD_S) // BEAT
        if len(self._held) > most or not (self._in_break or self._record.cutting):
            for held in self._held:
                self._review.feed(held)
            self._held = []

    def _tick(self, course: RecentCourse, *, whole: bool) -> list[Event]:
        armed = self._watch.armed
        renewed = whole and self._may_tell(course) and self._told(course)
        events = self._revised(course) if renewed and armed else []
        self._follow(course)
        events.append(self._speed(course))
        if whole:
            events.append(level_heard(np.concatenate(self._lately), course.end * self.grid.step_s))
        stirred = self._stirring.add(course.trace.bands[-TICK:]) if whole else None
        if self._watch.armed:
            self._unseen += 1
            if stirred is not None and self._record.cutting and not self._urgent:
                self._next_check = course.end  # what came with the cut may be over with it
            if stirred is not None or self._unseen == LONGEST_UNSEEN or self._in_doubt(course):
                events += self._passes(course)
        elif whole:
            events += self._first_passes(course, stirred, renewed=renewed)
        if whole and self._look is None and self._may_look(course):
            self._look = self._begun(course)
        return events

    def _in_doubt(self, course: RecentCourse) -> bool:
        """Whether something may have come or gone since passes were last looked for."""
        if self._urgent or self._in_break:
            return True
        if 0 <= course.end * self.grid.step_s - self._record.closes_s < BREAK_S:
            return True
        entering = self._watch.in_contact and not self._record.cutting
        return entering or not self._watch.no_news(course, frames=TICK)

    def _first_passes(
        self, course: RecentCourse, moments: Mask | None, *, renewed: bool
    ) -> list[Event]:
        """Passes while there is no example of a cut: looked for when something came and went."""
        if moments is None or not self._may_afford():
            return self._passes(course) if renewed else []
        stirred = np.repeat(moments, TICK)[-len(course.trace.lead) :]
        if self._look is not None:
            self._told(course)  # the first verdict waits for this
        if course.trace.running[-len(stirred) :][stirred].mean() > FOLLOWED:
            events = self._passes(course, stirred)
            if events:
                self._next_look = course.end
            if events or course.end < self._next_look:
                return events
        self._look = self._begun(course)
        return self._passes(course, stirred) if self._told(course) else []

    def _follow(self, course: RecentCourse) -> None:
        new = course.end - self._heard
        self._heard = course.end
        if self._follower.voices is None or is_quiet(course.trace, newest=TICK):
            return
        lost = not course.trace.running[-LOST_TICKS * TICK :].any()
        wide = lost and self._beats % (LOST_TICKS * TICK // BEAT) == 0
        frames = self._look_ahead + new
        turning = self._follower.follow(self._sound, frames=frames, wide=wide)
        if turning is not None:
            course.splice(turning, from_frame=course.end - frames)
            self._refine(course, REFINE_S)

    def _refine(self, course: RecentCourse, least_s: float) -> None:
        """Ask for the last digits of the speed once there is so much new sound."""
        if course.end - self._refined < self._frames_in(least_s):
            return
        refined = self._follower.refined(self._sound, course.trace.rotation_hz)
        if refined is not None:
            course.refine(*refined, from_frame=self._refined - self._look_ahead)
            self._refined = course.end

    def _may_afford(self) -> bool:
        """Whether one more look leaves time to listen."""
        most = LOOK_SHARE * self._sound.end + self._frames_in(LOOK_CREDIT_S)
        return self._looked + self._sound.kept <= most

    def _may_tell(self, course: RecentCourse) -> bool:
        """Whether a look that was begun is due and ready, and no verdict waits."""
        if self._look is None or course.end < self._look.due:
            return False
        return course.end >= self._look.latest or (self._look.is_ready() and not self._in_break)

    def _may_look(self, course: RecentCourse) -> bool:
        """Whether it is time to look anew, and nothing is under way."""
        if course.end < self._next_look or self._in_break or self._record.cutting:
            return False
        # What was first taken for a pass may have been none: then no other would ever follow.
        return not self._watch.armed or not self._learned_cut or self._teaches(course)

    def _teaches(self, course: RecentCourse) -> bool:
        """Whether enough of a cut was told to learn from."""
        return int(self._told_cut(course).sum()) * self.grid.step_s > CUT_TO_LEARN_S

    def _told_cut(self, course: RecentCourse) -> Mask:
        frames = np.arange(course.first, course.end)
        return self._record.inside(frames * np.float64(self.grid.step_s))

    def _begun(self, course: RecentCourse) -> Look:
        """Begin to look at all that is kept.

        Known voices are enough until there is much more to learn from, or a doubt.
        """
        kept = self._sound.kept
        if not self._watch.armed:
            # The first verdict waits for this.
            kept = min(kept, self._frames_in(FIRST_LOOK_MOST_S))
        known = None if self._doubts else self._follower.voices
        more = MUCH_MORE if self._learned_cut else MORE if self._watch.armed else TWICE
        is_due = kept >= more * self._learned_at
        asked = Asked(
            flutes=self._flutes,
            plate_range_rpm=self._plate_range_rpm,
            taught=self._known,
            known=known if self._learned_cut or not is_due else None,
            is_due=is_due,
            told_cut=self._told_cut(course),
        )
        latest = self._frames_in(TOLD_LATEST_S)
        return begin_look(
            self._sound.frames(kept, still_for=latest + TICK),
            asked,
            kept=kept,
            end=course.end,
            due=course.end + self._frames_in(TOLD_AFTER_S),
            latest=course.end + latest,
            beside=self._beside,
        )

    def _told(self, course: RecentCourse) -> bool:
        """Take over what the look that was begun has seen; whether the course is anew by it."""
        assert self._look is not None
        look, self._look = self._look, None
        seen = look.seen()
        turning, step_s = seen.turning, self.grid.step_s
        self._looked += seen.cost
        growth = 1.0 if self._watch.armed else UNARMED_GROWTH
        wait_s = np.clip(growth * look.kept * step_s, FIRST_LOOK_S, LOOK_LATER_S)
        self._next_look = look.end + self._frames_in(float(wait_s))
        if turning.voices is None:
            return False
        before = course.trace
        recounts = self._recounts(course, turning, look)
        course.trace = chosen(before, np.arange(len(before.lead)))  # a copy
        course.splice(turning, from_frame=0, end=look.end)
        if self._watch.armed:
            contact = hear_contact(course.trace).mask
            contradicts = self._contradicts(course, contact)
            if contradicts or recounts:
                self._doubts += 1
                self._next_look = course.end + self._frames_in(LOOK_AGAIN_S)
                least = 2 if self._teaches(course) else 1
                if self._doubts < max(least, self._record.closed_since(course.first * step_s)):
                    course.trace = before
                    return False
            if contradicts:
                # More often in a row than passes bear it out: the example of a cut was wrong.
                self._watch = Watch()
            else:
                told = self._told_cut(course)
                self._watch.relearn(course, free=~(contact | told), cut=contact & told)
                self._watch.correct(course, contact)
        self._doubts, self._looked_at = 0, look.kept
        if seen.searched:
            self._learned_at = look.kept
        self._learned_cut = self._watch.armed and self._teaches(course)
        self._follower.learn(turning.voices)
        self._follower.look_near(turning.rotation_hz)
        if look.end < course.end and not is_quiet(course.trace, newest=TICK):
            since = self._follower.follow(self._sound, frames=course.end - look.end, wide=False)
            if since is not None:
                course.splice(since, from_frame=look.end)
        return True

    def _contradicts(self, course: RecentCourse, contact: Mask) -> bool:
        """Whether a review takes something else for the cut than what was told."""
        told, running = self._told_cut(course), course.trace.running
        # What was cut before there was an example of it could not be told.
        running &= np.arange(len(told)) >= np.argmax(told) - self._frames_in(BEFORE_S)
        cut, free = contact[running & told], contact[running & ~told]
        if not len(cut) or not len(free):
            return True
        return bool(cut.mean() - free.mean() < CONTRADICTS)

    def _recounts(self, course: RecentCourse, turning: Turning, look: Look) -> bool:
        """Whether a look at less sound than the last counts the lines otherwise."""
        now = turning.rotation_hz
        before = course.trace.rotation_hz[: look.end - course.first][-len(now) :]
        running = np.isfinite(before) & np.isfinite(now)
        if len(now) >= self._looked_at or not running.any():
            return False
        return bool(np.median(np.abs(np.log(now[running] / before[running]))) > OTHER_RATIO)

    def _speed(self, course: RecentCourse) -> SpeedHeard:
        newest = course.trace.rotation_hz[-BEAT:]
        running = bool(np.isfinite(newest).all())
        time_s = (course.end - 1) * self.grid.step_s
        return SpeedHeard(time_s, 60 * float(np.mean(newest)) if running else None)

    def _revised(self, course: RecentCourse) -> list[Event]:
        """What a review of all that is kept says of passes that are over for good."""
        anew = heard_anew(course, self._record)
        return self._record.revise(anew) if anew is not None else []

    def _passes(self, course: RecentCourse, stirred: Mask | None = None) -> list[Event]:
        self._unseen = 0
        self._refine(course, REFINE_SOONER_S)
        cutting = self._record.cutting
        if not cutting or course.end >= self._next_check:
            self._next_check = course.end + self._frames_in(CHECK_S)
            if cutting:
                # Where the cut changed what running free sounds like, the end would be missed.
                contact = hear_contact(course.trace).mask
                if not self._contradicts(course, contact):
                    self._watch.correct(course, contact)
        seen = self._watch.look(course, stirred=stirred)
        now_s, closed_s = course.end * self.grid.step_s, self._record.closed_s
        events = self._record.news(seen.passes, now_s=now_s, standing_s=seen.standing_s)
        if self._record.closed_s > closed_s:
            events += self._revised(course)
            if self._watch.armed:
                self._watch.close(course, exit_s=self._record.closed_s)
        elif self._watch.armed and not seen.passes:
            self._watch.rest(course)
        lost_s = now_s - seen.passes[-1].exit_s if seen.passes else 0.0
        self._in_break = URGENT_S < lost_s < BREAK_S or seen.standing_s is not None
        self._urgent = self._record.cutting and lost_s > URGENT_S
        return events
