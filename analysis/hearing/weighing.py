"""Which of several courses is the router's? It answers the cut, and its lines turn together."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property, partial

import numpy as np

from analysis.hearing.answer import spindle_answer
from analysis.hearing.counting import counted_otherwise
from analysis.hearing.course import find_course, goes_along
from analysis.hearing.floors import Found, course_that_stirs, courses_over_floors
from analysis.hearing.frames import Frames
from analysis.hearing.impostors import is_hum, leaps_like_a_tune
from analysis.hearing.path import OFF
from analysis.hearing.pursuit import followed, recalled
from analysis.hearing.scanning import machines_heard
from analysis.hearing.search import Course, Machine, Search
from analysis.hearing.states import tell_apart
from analysis.hearing.touching import hear_contact
from analysis.hearing.turning import (
    STRANGERS,
    Turning,
    is_one_machine,
    lines_apart,
    nothing_turns,
    refined,
    trace_of,
)
from analysis.hearing.voice import Mask, Voices, learn_voice, order_fits

TOGETHER = 10e-4  # share of the rotation by which lines differ that surely turn together
LONG_WITHOUT_CUT_S = 15.0  # in so long somebody cuts: what never does may hide who does
MOST_HEARD = 6  # machines, of which one may be the router
MOST_AGAIN = 2  # searches for a course whose lines do
ANSWERS = 3.0  # deviations of a machine that answers the cut
MOST_TAKEN_OUT = 3  # machines beside which a router that was taught is looked for
# Of credit: deviations of the answer, at most, what turning together is worth, and merit; and by
# how much another course must have more.
MOST_ANSWER, TOGETHER_WORTH, MERIT_WORTH, MORE_CREDIT = 15.0, 6.0, 0.5, 2.0
HARDLY_ANSWERED, HARDLY_CUTS = 4.0, 7.0
# Of a router that labours: candidates a step by which its speed moves between leaps, where notes
# stand, and deviations by which it answers the cut, more than notes come to by chance: so many,
# and so many if it stands as they do.
NEVER_STANDS, LABOURS, LABOURS_STANDING = 1.0, 6.0, 15.0


def hear_turning(
    frames: Frames,
    *,
    flutes: int | None,
    plate_range_rpm: tuple[float, float] | None,
    known: Voices | None = None,
    taught: Voices | None = None,
) -> Turning:
    """Find and refine the rotation through a stretch of sound.

    `known` are this router's voices from an earlier stretch of the take, `taught` those
    from its calibration.
    """
    found = courses_over_floors(
        frames, flutes=flutes, plate_range_rpm=plate_range_rpm, known=known, taught=taught
    )
    if not found or is_hum(*found[0]):
        return nothing_turns(len(frames.spectra))
    weigh = partial(_weighed, frames, found[0].search, flutes, taught)
    best = weigh(found[0])
    if known is None and (taught is not None or not best.is_tune):
        best = _likeliest(frames, found, taught, best, weigh)
    return nothing_turns(len(frames.spectra)) if best.is_tune else best.turning


def _likeliest(
    frames: Frames,
    found: list[Found],
    taught: Voices | None,
    best: _Weighed,
    weigh: Callable[[Found], _Weighed],
) -> _Weighed:
    """The first that was found, or another that more looks like a router at work."""
    for also in found[1:]:
        if best.is_doubtful or not goes_along(also.course, best.course):
            best = _better(best, weigh(also))
    stirs = course_that_stirs(frames, best.sound, taught) if best.is_doubtful else None
    # Without what stands still it is heard less well: asked only if it is another machine.
    if stirs is not None and not goes_along(stirs.course, best.course):
        best = _better(best, weigh(stirs))
    if not is_one_machine(best.turning):
        best = _of_one_machine(found, taught, best, weigh) or best
    elif not best.cuts and len(frames.spectra) * frames.grid.step_s >= LONG_WITHOUT_CUT_S:
        best = _hidden_behind(found, taught, weigh) or best
    if best.is_doubtful and (other := _another(best, weigh)) is not None:
        best = _better(best, other)
    if taught is not None and best.is_doubtful:
        best = _recalled_beside_others(taught, best, weigh) or best
    return best


@dataclass(frozen=True, eq=False)
class _Weighed:
    """A course refined, and what speaks for its being a router at work.

    Attributes
    ----------
    frames : Frames
    turning : Turning
    course : Course
    sound : Search
        In which all that are weighed against each other are told.
    taught : Voices or None
        The router's, from its calibration.
    """

    frames: Frames
    turning: Turning
    course: Course
    sound: Search
    taught: Voices | None

    @cached_property
    def contact(self) -> Mask:
        """Frames in the wood, if this is the router."""
        return hear_contact(trace_of(self.frames, self.turning)).mask

    @property
    def cuts(self) -> bool:
        """Whether contact is heard anywhere."""
        return bool(self.contact.any())

    @cached_property
    def answer(self) -> float:
        """How surely the speed answers the cut, as `spindle_answer`."""
        step_s = self.frames.grid.step_s
        return spindle_answer(self.turning.rotation_hz, self.contact, step_s=step_s)

    @property
    def is_tune(self) -> bool:
        """Whether it leaps like one: notes stand still, and don't give way where a cut begins."""
        step_s = self.frames.grid.step_s
        if not leaps_like_a_tune(self.turning.rotation_hz, step_s=step_s):
            return False
        stands = self.course.moves_per_step < NEVER_STANDS
        return self.answer < (LABOURS_STANDING if stands else LABOURS)

    @property
    def is_doubtful(self) -> bool:
        """Whether another machine may have been followed, or lines of several."""
        hardly_cuts = self.answer < HARDLY_ANSWERED and self.course.cutness < HARDLY_CUTS
        return hardly_cuts or not is_one_machine(self.turning)

    @cached_property
    def merit(self) -> float:
        """The course's merit in the common sound."""
        return tell_apart(self.sound, self.course.path).merit

    @cached_property
    def likeness(self) -> float:
        """How much it sounds like the taught voice, in the common sound; 0 if none was taught."""
        if self.taught is None:
            return 0.0
        sound = replace(self.sound, taught=self.taught.idle)
        return tell_apart(sound, self.course.path).likeness

    @cached_property
    def credit(self) -> float:
        """All of it together."""
        answer = float(np.clip(self.answer, -MOST_ANSWER, MOST_ANSWER))
        together = np.log(STRANGERS / lines_apart(self.turning)) / np.log(STRANGERS / TOGETHER)
        worth = TOGETHER_WORTH * float(np.clip(together, 0, 1))
        return answer + worth + MERIT_WORTH * self.merit


def _weighed(
    frames: Frames, sound: Search, flutes: int | None, taught: Voices | None, found: Found
) -> _Weighed:
    return _Weighed(frames, refined(frames, *found, flutes=flutes), found.course, sound, taught)


def _better(best: _Weighed, other: _Weighed) -> _Weighed:
    """The other if it has clearly more credit.

    One comb counted in two ways answers the cut alike: then it must have more merit as well, and
    sound no less like a router that was taught.
    """
    one_comb = counted_otherwise(best.course, other.course) is not None
    if one_comb and (other.merit <= best.merit or other.likeness < best.likeness):
        return best
    return other if other.credit > best.credit + MORE_CREDIT else best


def _another(best: _Weighed, weigh: Callable[[Found], _Weighed]) -> _Weighed | None:
    """Of any machines that sound the likeliest, if it has more merit and answers the cut."""
    sound = best.sound
    paths = machines_heard(sound, MOST_HEARD)
    courses = (followed(sound, path, path != OFF) for path in paths)
    others = [course for course in courses if not goes_along(course, best.course)]
    likeliest = max(others, key=lambda course: course.merit, default=None)
    if likeliest is None or likeliest.merit <= best.merit:
        return None
    other = weigh(Found(sound, likeliest))
    return other if other.answer > ANSWERS else None


def _recalled_beside_others(
    taught: Voices, best: _Weighed, weigh: Callable[[Found], _Weighed]
) -> _Weighed | None:
    """The likeliest course by a taught voice, heard without another machine, if it answers the cut.

    So many of a loud machine's orders sound that any voice fits it.
    """
    sound = replace(best.sound, taught=taught.idle)
    found = []
    for path in machines_heard(sound, MOST_TAKEN_OUT):
        running = path != OFF
        voice = learn_voice(order_fits(sound.orders(path)), running)
        held = np.where(running, path, round(float(np.median(path[running]))))
        clearer = sound.without(Machine(held, voice))
        found += [Found(clearer, course) for course in recalled(clearer, taught)]
    others = [
        one
        for one in found
        if one.course.likeness > 0
        and not goes_along(one.course, best.course)
        and counted_otherwise(one.course, best.course) is None
    ]
    likeliest = max(others, key=lambda one: one.course.merit, default=None)
    if likeliest is None:
        return None
    other = weigh(likeliest)
    answers = is_one_machine(other.turning) and other.answer > max(ANSWERS, best.answer)
    return other if answers else None


def _of_one_machine(
    found: list[Found],
    taught: Voices | None,
    before: _Weighed,
    weigh: Callable[[Found], _Weighed],
) -> _Weighed | None:
    """Another course whose lines turn together, and that explains more than those found."""
    search, besides = found[0].search, tuple(each.course for each in found)
    for _ in range(MOST_AGAIN):
        course = find_course(search, taught=taught, besides=besides)
        if course is None:
            break
        if course.evidence > found[0].course.evidence:
            other = weigh(Found(search, course))
            if is_one_machine(other.turning) and other.credit > before.credit:
                return other
        besides = (*besides, course)
    return None


def _hidden_behind(
    found: list[Found], taught: Voices | None, weigh: Callable[[Found], _Weighed]
) -> _Weighed | None:
    """The course of a machine that cuts, once one that runs on and never does is taken out."""
    for search, course in found:
        clearer = search.without(course.machine)
        hidden = find_course(clearer, taught=taught)
        if hidden is not None:
            other = weigh(Found(clearer, hidden))
            if is_one_machine(other.turning) and other.answer > ANSWERS:
                return other
    return None
