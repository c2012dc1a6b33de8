"""Which course is the router's? Several ways of finding another where one is doubtful."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from functools import cache

import numpy as np

from analysis.hearing.counting import counted_otherwise
from analysis.hearing.course import find_course, goes_along, is_held
from analysis.hearing.credit import Weighed, better
from analysis.hearing.floors import Found, course_that_stirs, courses_over_floors
from analysis.hearing.frames import Frames
from analysis.hearing.impostors import is_hum
from analysis.hearing.orders import Candidates
from analysis.hearing.path import OFF
from analysis.hearing.plate import candidate_range_hz, free_range_hz
from analysis.hearing.pursuit import (
    MIN_HEARD_STEPS,
    MOST_SAG,
    followed,
    followed_as_two,
    recalled,
)
from analysis.hearing.scanning import machines_heard
from analysis.hearing.search import HOP, Course, Machine, Search
from analysis.hearing.turning import Turning, is_one_machine, lines_apart, nothing_turns, refined
from analysis.hearing.voice import Voices, learn_voice, order_fits

MIN_STEPS = 10  # half a second of sound
LONG_WITHOUT_CUT_S = 15.0  # in so long somebody cuts: what never does may hide who does
MOST_HEARD = 6  # machines, of which one may be the router
# Of another speed for running free: nats a step, and the share of the cut and of the run it keeps.
MORE_EVIDENCE, ALL_BUT = 0.2, 0.9
ANSWERS = 3.0  # deviations of a machine that answers the cut
MOST_TAKEN_OUT = 3  # machines beside which a router that was taught is looked for

Weigh = Callable[[Found], Weighed]


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
    best = _most_like_a_router(frames, flutes, plate_range_rpm, known, taught)
    return nothing_turns(len(frames.spectra)) if best is None else best.turning


def voices_surely_heard(
    frames: Frames,
    *,
    flutes: int | None,
    plate_range_rpm: tuple[float, float] | None,
    taught: Voices | None = None,
) -> Voices | None:
    """A router's voices from a stretch of sound, if it is one beyond doubt."""
    best = _most_like_a_router(frames, flutes, plate_range_rpm, None, taught)
    return best.turning.voices if best is not None and best.is_beyond_doubt else None


def _most_like_a_router(
    frames: Frames,
    flutes: int | None,
    plate_range_rpm: tuple[float, float] | None,
    known: Voices | None,
    taught: Voices | None,
) -> Weighed | None:
    """The course that is told of a stretch of sound, if any is."""
    if len(frames.steps.excess) <= MIN_STEPS:
        return None
    search = Search.over(
        frames.steps,
        Candidates.between(*candidate_range_hz(plate_range_rpm)),
        flutes=flutes,
        free_hz=free_range_hz(plate_range_rpm),
    )
    weigh = _weigher(frames, search, flutes=flutes, taught=taught)
    found = courses_over_floors(
        frames, search, known=known, taught=taught, does=lambda first: _does(first, weigh)
    )
    if found and is_hum(*found[0]):
        return None
    if found and found[0].search is not search:
        weigh = _weigher(frames, found[0].search, flutes=flutes, taught=taught)
    best = weigh(found[0]) if found else None
    if known is None:
        if best is not None and (taught is not None or not best.is_tune):
            best = _likeliest(frames, found, taught, best, weigh)
        if best is None or best.is_most_doubtful:
            sounds = dict.fromkeys([search, *(each.search for each in found)])
            best = _surest(best, sounds, weigh)
    if best is None or best.is_tune:
        return None
    return best if known is not None else _running_free(best, weigh)


def _does(first: Found, weigh: Weigh) -> bool:
    """Whether none that is found over another floor could go before.

    Floors differ in faint lines and in ripples. Where the speed gives way they may yet differ in
    how the lines are counted.
    """
    return is_held(first.course) and weigh(first).is_beyond_doubt


def _weigher(frames: Frames, sound: Search, *, flutes: int | None, taught: Voices | None) -> Weigh:
    """How courses are weighed against each other: told in one sound, each refined once."""

    @cache
    def weigh(each: Found) -> Weighed:
        voice = taught.idle if taught is not None else None
        turning = refined(frames, *each, flutes=flutes, taught=voice)
        return Weighed(frames, turning, each.course, sound, taught)

    return weigh


def _likeliest(
    frames: Frames,
    found: list[Found],
    taught: Voices | None,
    best: Weighed,
    weigh: Weigh,
) -> Weighed:
    """The first that was found, or another that more looks like a router at work."""
    for also in found[1:]:
        if best.is_doubtful or not goes_along(also.course, best.course):
            best = better(best, weigh(also))
    stirs = course_that_stirs(frames, best.sound, taught) if best.is_doubtful else None
    # Without what stands still it is heard less well: asked only if it is another machine.
    if stirs is not None and not goes_along(stirs.course, best.course):
        best = better(best, weigh(stirs))
    if (
        is_one_machine(best.turning)
        and not best.cuts
        and len(frames.spectra) * frames.grid.step_s >= LONG_WITHOUT_CUT_S
    ):
        best = _hidden_behind(found, taught, weigh) or best
    if taught is not None and best.is_doubtful:
        best = _recalled_beside_others(taught, best, weigh) or best
    return best


def _surest(best: Weighed | None, sounds: Iterable[Search], weigh: Weigh) -> Weighed | None:
    """Of any machines that sound, over one floor or another, one that is beyond doubt."""
    for sound in sounds:
        others = [weigh(Found(sound, course)) for course in _courses_heard(sound)]
        sure = [other for other in others if other.is_beyond_doubt]
        if sure:
            surest = max(sure, key=lambda other: other.credit)
            return surest if best is None or best.is_tune else better(best, surest)
    return best


def _courses_heard(sound: Search) -> list[Course]:
    """Every machine that sounds, followed."""
    return [followed(sound, path, path != OFF) for path in machines_heard(sound, MOST_HEARD)]


def _running_free(best: Weighed, weigh: Weigh) -> Weighed:
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


def _recalled_beside_others(taught: Voices, best: Weighed, weigh: Weigh) -> Weighed | None:
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


def _hidden_behind(found: list[Found], taught: Voices | None, weigh: Weigh) -> Weighed | None:
    """The course of a machine that cuts, once one that runs on and never does is taken out."""
    for search, course in found:
        clearer = search.without(course.machine)
        hidden = find_course(clearer, taught=taught)
        if hidden is not None:
            other = weigh(Found(clearer, hidden))
            if is_one_machine(other.turning) and other.answer > ANSWERS:
                return other
    return None
