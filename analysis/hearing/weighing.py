"""Which of several courses is the router's? It answers the cut, and its lines turn together."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cached_property, partial

import numpy as np

from analysis.hearing.answer import spindle_answer
from analysis.hearing.counting import counted_otherwise
from analysis.hearing.course import find_course, goes_along, is_held
from analysis.hearing.floors import Found, course_that_stirs, courses_over_floors
from analysis.hearing.frames import Frames
from analysis.hearing.impostors import is_hum, leaps_like_a_tune
from analysis.hearing.orders import Candidates
from analysis.hearing.path import OFF
from analysis.hearing.plate import candidate_range_hz, free_range_hz
from analysis.hearing.pursuit import MIN_HEARD_STEPS, MOST_SAG, followed, followed_as_two
from analysis.hearing.scanning import machines_heard
from analysis.hearing.search import HOP, Course, Search
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
from analysis.hearing.voice import Mask, Voices

MIN_STEPS = 10  # half a second of sound
TOGETHER = 10e-4  # share of the rotation by which lines differ that surely turn together
LONG_WITHOUT_CUT_S = 15.0  # in so long somebody cuts: what never does may hide who does
MOST_HEARD = 6  # machines, of which one may be the router
# Of another speed for running free: nats a step, and the share of the cut and of the run it keeps.
MORE_EVIDENCE, ALL_BUT = 0.2, 0.9
MOST_AGAIN = 2  # searches for a course whose lines do
ANSWERS = 3.0  # deviations of a machine that answers the cut
# Of credit: deviations of the answer, at most, what turning together is worth, and merit; and by
# how much another course must have more.
MOST_ANSWER, TOGETHER_WORTH, MERIT_WORTH, MORE_CREDIT = 15.0, 6.0, 0.5, 2.0
HARDLY_ANSWERED, HARDLY_CUTS = 4.0, 7.0
# Of credit: most routers come to 25. What has less is doubtful, what has more surely is one.
LEAST_CREDIT, SURELY = 15.0, 18.0
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
    silence = nothing_turns(len(frames.spectra))
    if len(frames.steps.excess) <= MIN_STEPS:
        return silence
    search = Search.over(
        frames.steps,
        Candidates.between(*candidate_range_hz(plate_range_rpm)),
        flutes=flutes,
        free_hz=free_range_hz(plate_range_rpm),
    )
    found = courses_over_floors(frames, search, known=known, taught=taught)
    if found and is_hum(*found[0]):
        return silence
    weigh = partial(_weighed, frames, found[0].search if found else search, flutes)
    best = weigh(found[0]) if found else None
    if known is None:
        if best is not None and not best.is_tune:
            best = _likeliest(frames, found, taught, best, weigh)
        if best is None or best.is_most_doubtful:
            sounds = dict.fromkeys([search, *(each.search for each in found)])
            best = _surest(best, sounds, weigh)
    if best is None or best.is_tune:
        return silence
    return (best if known is not None else _running_free(best, weigh)).turning


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
    return _another(best, weigh) if best.is_doubtful else best


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
    """

    frames: Frames
    turning: Turning
    course: Course
    sound: Search

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
        """Whether another machine may have been followed, or lines of several, or a tune."""
        hardly_cuts = self.answer < HARDLY_ANSWERED and self.course.cutness < HARDLY_CUTS
        return hardly_cuts or self.is_most_doubtful

    @property
    def is_most_doubtful(self) -> bool:
        """Whether next to nothing speaks for it: then merit says little as well."""
        little = self.is_tune or self.credit < LEAST_CREDIT
        return little or not is_one_machine(self.turning)

    @cached_property
    def told(self) -> Course:
        """The course in the common sound."""
        return tell_apart(self.sound, self.course.path)

    @property
    def merit(self) -> float:
        """Its merit there."""
        return self.told.merit

    @cached_property
    def credit(self) -> float:
        """All of it together."""
        answer = float(np.clip(self.answer, -MOST_ANSWER, MOST_ANSWER))
        together = np.log(STRANGERS / lines_apart(self.turning)) / np.log(STRANGERS / TOGETHER)
        worth = TOGETHER_WORTH * float(np.clip(together, 0, 1))
        return answer + worth + MERIT_WORTH * self.merit


def _weighed(frames: Frames, sound: Search, flutes: int | None, found: Found) -> _Weighed:
    return _Weighed(frames, refined(frames, *found, flutes=flutes), found.course, sound)


def _better(best: _Weighed, other: _Weighed) -> _Weighed:
    """The other if it has clearly more credit.

    One comb counted in two ways answers the cut alike: then it must have more merit as well.
    """
    one_comb = counted_otherwise(best.course, other.course) is not None
    if one_comb and other.merit <= best.merit:
        return best
    return other if other.credit > best.credit + MORE_CREDIT else best


def _another(best: _Weighed, weigh: Callable[[Found], _Weighed]) -> _Weighed:
    """Of any machines that sound the likeliest, if it answers the cut and has more merit."""
    others = [
        Found(best.sound, course)
        for course in _courses_heard(best.sound)
        if not goes_along(course, best.course)
    ]
    likeliest = max(others, key=lambda found: found.course.merit, default=None)
    if likeliest is None or likeliest.course.merit <= best.merit:
        return best
    other = weigh(likeliest)
    return _better(best, other) if other.answer > ANSWERS else best


def _surest(
    best: _Weighed | None, sounds: Iterable[Search], weigh: Callable[[Found], _Weighed]
) -> _Weighed | None:
    """Of any machines that sound, over one floor or another, one that is beyond doubt."""
    for sound in sounds:
        others = [weigh(Found(sound, course)) for course in _courses_heard(sound)]
        sure = [other for other in others if not other.is_doubtful and other.credit > SURELY]
        if sure:
            surest = max(sure, key=lambda other: other.credit)
            return surest if best is None or best.is_tune else _better(best, surest)
    return best


def _courses_heard(sound: Search) -> list[Course]:
    return [followed(sound, path, path != OFF) for path in machines_heard(sound, MOST_HEARD)]


def _running_free(best: _Weighed, weigh: Callable[[Found], _Weighed]) -> _Weighed:
    """The same cut, with another speed for running free if all that can tell speaks for it.

    Merit says which is the cut, and can't tell. A fan's line passes for another of its orders,
    a vacuum for a router that gave way less.
    """
    sound, course = best.sound, best.course
    free, cut = course.running & ~course.cutting, course.running & course.cutting
    if min(np.count_nonzero(free), np.count_nonzero(cut)) < MIN_HEARD_STEPS or is_held(course):
        return best
    cut_hz = float(np.median(sound.candidates.rotation_hz[course.path[cut]]))
    near, first = sound.among(cut_hz, cut_hz / MOST_SAG)
    for path in machines_heard(near, MOST_HEARD, free):
        seed = free & (path != OFF)
        both = np.where(cut, course.path, np.where(seed, path + first, OFF))
        pair = followed_as_two(sound, both, free=seed, cut=cut)
        if pair is None or pair.evidence < best.told.evidence + MORE_EVIDENCE:
            continue
        same_cut = np.mean(np.abs(pair.path - course.path)[cut] <= HOP) > ALL_BUT
        if not same_cut or pair.running.sum() < ALL_BUT * course.running.sum():
            continue
        other = weigh(Found(sound, pair))
        together = lines_apart(other.turning) <= lines_apart(best.turning)
        if together and other.answer >= best.answer:
            best = other
    return best


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
