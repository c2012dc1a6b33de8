"""The router's course through a take: which speed, when off, when cutting.

Three kinds of trouble are met in turn. Running free a router hides most of its orders, so
every comb that is heard is followed from where it stands out, as a motor that holds its
speed and as one that gives way. Other machines (a shop vacuum) have combs of their own:
those that run on whatever the router does are taken out, and the course that most looks
like a router at work is kept. And the lines may be counted wrongly, so the ratio is
weighed over the whole take.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations

import numpy as np
import numpy.typing as npt

from analysis.hearing.counting import counted_right
from analysis.hearing.leaping import without_leaps
from analysis.hearing.machines import (
    MIN_SEED_STEPS,
    is_a_line,
    leaps_up_from,
    leapt_to,
    machines_met,
    other_machines,
    seeds_of,
)
from analysis.hearing.orders import LOG_STEP, shift_to
from analysis.hearing.path import OFF
from analysis.hearing.pursuit import (
    first_path,
    followed,
    followed_again,
    followed_as_two,
    followed_everywhere,
    followed_held,
    held_machine,
    recalled,
    recognised,
    steadied,
)
from analysis.hearing.search import HOP, Course, Machine, Search
from analysis.hearing.sharing import better_told
from analysis.hearing.silence import without_silent_ends
from analysis.hearing.states import tell_apart
from analysis.hearing.turned import with_dial_turned
from analysis.hearing.voice import Mask, Voices

ENOUGH = 0.2  # share of a section in which a known router must be recognised
CLEARLY_MORE, LATER_MORE = 0.5, 4.0  # merit by which another course must be better
SIZE_WORTH = 1.8  # merit for each tenfold of steps in which a machine stood out
HELD_WORTH = 2.0  # merit of a held speed: it can't stray to another machine's
# Speed in the cut against free: below, the motor's speed is surely not held; above, it is
# not one router's.
GIVES_WAY, GAINS = 0.97, 1.01
MOST_LOADED, SURELY_GIVES_WAY = 0.64, 0.92
# In ln speed, shares of the running steps, and merit.
MUCH, OFTEN, HARDLY_EVER, HELD_INSTEAD_WORTH = 0.08, 0.05, 0.02, 4.0
MOST_MISSING = 0.05  # share of a take
MOST_OF = 0.8
PLAINLY_AT_WORK, ALL_BUT = 16.0, 0.97  # merit, and share of the seed's steps
ALONG = 0.5  # share of the steps
SAME_CUT = 0.7
CUTS, HARDLY_CUTS = 7.0, 4.0  # cutness of a router that surely cuts, and of what may be none
ROUNDS = 3
ALL_BUT_CUT = 0.95  # of a course's cut must be left when another machine is taken out
MOST_OF_LEAPT = 0.6  # of another machine's time, some of which the router may be off
LEAPS_COST = 6.0  # merit: no spindle leaps up
MOST_MET = 2  # times that machines which the course went over to are taken out


def find_course(
    search: Search,
    known: Voices | None = None,
    taught: Voices | None = None,
) -> Course | None:
    """The router's course, or None where no comb of orders is heard.

    Parameters
    ----------
    search : Search
    known : Voices, optional
        This router's voices as an earlier stretch of the same take gave them: where they
        are recognised nothing else is looked for.
    taught : Voices, optional
        Its voices from a calibration, running free: they point the way, but what is heard
        here decides.
    """
    if taught is not None:
        search = replace(search, taught=taught.idle)
    if known is not None:
        course = recognised(search, known)
        if course.running.mean() > ENOUGH:
            return course
    whole, likeliest = search, _likeliest(search, known, taught)
    for _ in range(MOST_MET):
        if likeliest is None or not (met := machines_met(search, likeliest)):
            break
        clearer = search.without(*met)
        other = _likeliest(clearer, known, taught)
        if other is not None and not _runs_on(other, likeliest):
            break  # its own lines went with the other machine's
        if other is not None and _lives_on(whole, other, likeliest):
            break  # and the course that was taken out was the router's
        if other is None or all(map(is_a_line, met)):
            as_it_was = tell_apart(clearer, likeliest.path, guess=likeliest.cutting)
            if other is None or as_it_was.merit > other.merit + CLEARLY_MORE:
                other = as_it_was
        search, likeliest = clearer, other
    if likeliest is not None and (leapt := leapt_to(search, likeliest)) is not None:
        machine, stretch = leapt
        clearer = search.without(machine)
        other = _likeliest(clearer, known, taught)
        # If nothing runs on there it was the router, giving way too fast to be followed.
        if other is not None and _runs_on(other, likeliest) and _runs(other, stretch):
            search, likeliest = clearer, other
    if likeliest is not None and (held := _held_instead(search, likeliest)) is not None:
        likeliest = held
    if likeliest is None:
        return None
    likeliest = without_leaps(search, followed_again(search, whole, likeliest))
    return with_dial_turned(search, likeliest)


def _held_instead(search: Search, course: Course) -> Course | None:
    """A course that leaps up from a speed again and again, at that speed all through.

    None if it does no such thing, or if much more would be left unexplained.
    """
    mostly = leaps_up_from(course.path)
    if mostly is None or np.mean(course.cutting[mostly]) > MOST_OF:
        return None  # where it does nothing but cut it may be relieved in no time
    held = followed_held(search, course.path, mostly)
    if held is None or held.merit < course.merit - LEAPS_COST:
        return None
    return steadied(search, without_silent_ends(search, held))


def _runs_on(course: Course, before: Course) -> bool:
    """Whether a course still runs where another one cut."""
    cut = before.cutting & before.running
    return not cut.any() or bool(np.mean(course.running[cut]) > ALL_BUT_CUT)


def _lives_on(search: Search, other: Course, course: Course) -> bool:
    """Whether what is heard without a course's lines but lives on them all the same."""
    return better_told(search, other, course) > max(0.0, other.merit - course.merit)


def _runs(course: Course, steps: Mask) -> bool:
    return bool(np.mean(course.running[steps]) > MOST_OF_LEAPT)


def _likeliest(search: Search, known: Voices | None, taught: Voices | None) -> Course | None:
    """The course that most looks like a router at work."""
    best: Course | None = None
    if known is not None:
        best = recognised(search, known)
    elif taught is not None:
        best = max(recalled(search, taught), key=lambda course: course.merit, default=None)
    taught = known or taught
    worth = 0.0  # of the best course, beside its merit
    whole = clear = search  # clear: other machines taken out, but never the best course
    for round_number in range(ROUNDS):
        path = first_path(search, taught)
        seeds = seeds_of(search, path)
        if not seeds:
            break
        longest = followed(search, path, seeds[0])
        if round_number == 0 and _is_plain(longest, path, seeds[0]):
            return _settled(search, longest)
        # The longest heard comes first; another must be clearly better.
        more = CLEARLY_MORE if round_number == 0 else LATER_MORE
        proposals = _proposals(search, path, seeds, longest)
        for course, extra in proposals:
            heard = [(course, search)]
            if round_number > 0:  # what was taken out may have been its own
                heard.append((tell_apart(whole, course.path), whole))
            for told, sound in heard:
                if best is None or told.merit + extra > best.merit + worth + more:
                    best, worth, clear = told, extra, sound
        if best is None:
            break
        for course, extra in sorted(proposals, key=lambda p: -p[0].merit - p[1]):
            gain = better_told(whole, best, course) + _gain_of_holding(best, course)
            if gain > max(0.0, best.merit + worth - course.merit - extra):
                best, worth = course, extra
        others = other_machines(search, path, seeds, best)
        clear = clear.without(*others)
        if best.cutness > CUTS:
            break
        search = search.without(*others or [longest.machine])
    if best is None:
        return None
    alone = _alone(clear, best)
    if alone.merit >= MOST_OF * (best.merit + worth) and _same_cut(alone, best):
        best = alone
    if best.running.sum() < MIN_SEED_STEPS:
        return None
    return _settled(whole, best)


def _settled(search: Search, course: Course) -> Course:
    """A course counted rightly, without its silent ends, held if it hardly moves."""
    course = without_silent_ends(search, counted_right(search, course))
    return steadied(search, course)


def _is_plain(course: Course, path: npt.NDArray[np.int64], seed: Mask) -> bool:
    """Whether a course, followed from this seed, is a router's that is alone and surely at work."""
    alone = np.count_nonzero(seed) >= MOST_OF * np.count_nonzero(path != OFF)
    off_seed = np.abs(course.path - path)[seed & course.running]
    keeps_to_seed = np.mean(off_seed <= HOP) >= ALL_BUT
    held = is_held(course)
    surely = course.merit >= PLAINLY_AT_WORK and course.off_plate == 0
    return bool(alone and surely and keeps_to_seed and held)


def is_held(course: Course) -> bool:
    """Whether the motor keeps its speed in the cut, all but a few percent."""
    return GIVES_WAY <= _speed_kept(course) < GAINS


def _proposals(
    search: Search, path: npt.NDArray[np.int64], seeds: list[Mask], longest: Course
) -> list[tuple[Course, float]]:
    """Courses worth weighing: each seed followed in several ways, and pairs of them.

    `longest` is the first seed's, followed. With each goes what it is worth beside its merit.
    """
    heard = [(longest, seeds[0], 0.0)]
    heard += [(followed(search, path, seed), seed, 0.0) for seed in seeds[1:]]
    every = np.any(seeds, axis=0)
    heard.append((followed_everywhere(search, np.where(every, path, OFF)), every, 0.0))
    likeliest = max((course for course, _, _ in heard), key=lambda course: course.merit)
    # Too slow or too fast to be right, or not cutting: counted by half, say, or teeth for turns.
    if likeliest.off_plate > 0 or likeliest.cutness < HARDLY_CUTS:
        for ratio in {0.5, 2.0, 1 / (search.flutes or 2)} - {1.0}:
            moved = path + shift_to(ratio)
            inside = (path != OFF) & (moved >= 0) & (moved < search.candidates.count)
            otherwise = np.where(inside, moved, OFF)
            heard += [
                (followed(search, otherwise, seed & inside), seed, 0.0)
                for seed in seeds
                if np.count_nonzero(seed & inside) >= MIN_SEED_STEPS
            ]
    in_company = bool(other_machines(search, path, seeds, likeliest))
    sounds = [*((search, seed) for seed in seeds), *_each_alone(search, path, seeds)]
    gives_way = (
        not in_company
        and likeliest.cutness > CUTS
        and likeliest.off_plate == 0
        and MOST_LOADED < _speed_kept(likeliest) < SURELY_GIVES_WAY
    )
    for sound, seed in sounds if not gives_way else ():
        held = followed_held(sound, path, seed)
        if held is not None:
            heard.append((held, seed, HELD_WORTH if _keeps_to(held, path, seed) else 0.0))
    for free, cut in permutations(seeds, 2):
        pair = followed_as_two(search, path, free=free, cut=cut)
        if pair is not None:
            heard.append((pair, free | cut, 0.0))
    surest = max((course for course, _, _ in heard), key=lambda course: course.cutness)
    proposals = []
    for course, seed, worth in heard:
        # All share one take: each is told apart once more by the surest cut among them.
        again = tell_apart(search, course.path, guess=surest.cutting)
        better = max(course, again, key=lambda course: course.merit)
        proposals.append((better, worth + SIZE_WORTH * float(np.log10(seed.sum()))))
    return proposals


def _keeps_to(held: Course, path: npt.NDArray[np.int64], seed: Mask) -> bool:
    """Whether one speed is all there is to a seed: elsewhere the dial may have been turned."""
    missing = np.mean(~held.running & (path != OFF))
    elsewhere = np.mean(np.abs(held.path - path)[seed] > HOP)
    return bool(missing < MOST_MISSING and elsewhere < MOST_MISSING)


def _speed_kept(course: Course) -> float:
    """Speed in the cut against that of running free; 1 if either was not heard."""
    free, cutting = course.running & ~course.cutting, course.running & course.cutting
    if not free.any() or not cutting.any():
        return 1.0
    return float(
        np.exp(LOG_STEP * (np.median(course.path[cutting]) - np.median(course.path[free])))
    )


def _gain_of_holding(course: Course, other: Course) -> float:
    """Merit that another course of the same cut gains by a speed that is held all through.

    Where it explains all of the sound as well, that the motor ever ran much faster or slower
    is one accident too many: so it seems where lines are counted otherwise out of the cut.
    """
    as_well = other.evidence >= course.evidence and _same_cut(other, course)
    held = as_well and _elsewhere(course) > OFTEN and _elsewhere(other) < HARDLY_EVER
    return HELD_INSTEAD_WORTH if held else 0.0


def _elsewhere(course: Course) -> float:
    """Share of the running steps in which the speed is far from the cut's."""
    cut = course.cutting & course.running
    usual = np.median(course.path[cut if cut.any() else course.running])
    return float(np.mean(np.abs(course.path[course.running] - usual) * LOG_STEP > MUCH))


def _each_alone(
    search: Search, path: npt.NDArray[np.int64], seeds: list[Mask]
) -> list[tuple[Search, Mask]]:
    """Each seed with sound from which the machines of the other seeds are taken out."""
    if len(seeds) < 2:
        return []
    machines = [held_machine(search, path, seed) for seed in seeds]
    alone = []
    for seed, own in zip(seeds, machines, strict=True):
        others = [other for other in machines if not _same_speed(own, other)]
        if others:
            alone.append((search.without(*others), seed))
    return alone


def _same_speed(one: Machine, other: Machine) -> bool:
    """Whether two are one machine: whenever both are heard they turn alike."""
    apart = np.abs(one.path - other.path)[(one.path != OFF) & (other.path != OFF)]
    return one is other or (len(apart) > 8 and float(np.median(apart)) < HOP)


def goes_along(course: Course, other: Course) -> bool:
    """Whether a course is another one for much of the time."""
    near = np.abs(course.path - other.path)[course.running & other.running] <= HOP
    return bool(np.count_nonzero(near) > ALONG * np.count_nonzero(course.running))


def _same_cut(one: Course, other: Course) -> bool:
    """Whether two courses agree on the speed where the other one cuts."""
    steps = other.cutting if other.cutting.any() else other.running
    near = np.abs(one.path - other.path)[steps] <= HOP // 2
    return bool(np.count_nonzero(near) > SAME_CUT * len(near))


def _alone(search: Search, course: Course) -> Course:
    """The course followed once more, from where it cuts, in sound without other machines."""
    core = course.cutting if course.cutting.sum() >= MIN_SEED_STEPS else course.running
    return followed(search, course.path, core) if core.sum() >= MIN_SEED_STEPS else course
