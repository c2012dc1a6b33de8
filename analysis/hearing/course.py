"""The router's course through a take: which speed, when off, when cutting.

Three kinds of trouble are met in turn. Running free a router hides most of its orders, so
the cut is found first and the machine followed from there into its own quiet. Other
machines (a shop vacuum) have combs of their own, so every comb that is heard is followed,
those that run on whatever the router does are taken out, and the one that cuts is kept.
And the lines may be counted wrongly, so the ratio is weighed over the whole take.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
from scipy.ndimage import uniform_filter1d

from analysis.hearing.counting import counted_right
from analysis.hearing.machines import MIN_SEED_STEPS, other_machines, seeds_of
from analysis.hearing.orders import (
    Candidates,
    comb_bonus,
    comb_evidence,
    generic_voice,
    on_log_axis,
)
from analysis.hearing.path import OFF, best_path
from analysis.hearing.search import HOP, Course, Search
from analysis.hearing.states import tell_apart
from analysis.hearing.voice import Mask, Voices, learn_voice, order_fits, step_evidence

# Steps overlap by half and speech or knocks last over several: evidence counts half.
EVIDENCE = 0.5
GLIDE, STEADY_GLIDE = 0.15, 0.30  # cost of a change of speed, per candidate
SWITCH, FIRST_SWITCH = 8.0, 20.0  # cost of switching on or off
RUNNING_BONUS = 2.0  # while following a machine into silence, per step
FOLLOW_DOWN, FOLLOW_UP = 0.93, 1.5  # against the speeds it was heard at
ENOUGH = 0.2  # share of a section in which a known router must be recognised
CLEARLY_MORE, LATER_MORE = 0.5, 4.0  # merit by which another course must be better
SIZE_WORTH = 1.8  # merit for each tenfold of steps in which a machine stood out
MOST_OF = 0.8
CUTS = 2.5  # cutness of a router that cuts


def find_course(
    search: Search, known: Voices | None = None, taught: Voices | None = None
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
    if known is not None:
        recognised = _recognise(search, known)
        if recognised.running.mean() > ENOUGH:
            return recognised
    taught = known or taught
    best = _recognise(search, taught) if taught is not None else None
    clear = search  # with other machines taken out, but never the best course itself
    for round_number in range(3):
        path = _first_path(search, taught)
        seeds = seeds_of(search, path)
        if not seeds:
            break
        heard = _with_surest_cut(search, [_follow(search, path, seed) for seed in seeds])
        # The longest heard comes first; another must be clearly better.
        for course, seed in zip(heard, seeds, strict=True):
            course = replace(course, merit=course.merit + SIZE_WORTH * float(np.log10(seed.sum())))
            more = CLEARLY_MORE if round_number == 0 else LATER_MORE
            if best is None or course.merit > best.merit + more:
                best, clear = course, search
        assert best is not None
        others = other_machines(search, path, seeds, best)
        for other_path, voice in others:
            search, clear = search.without(other_path, voice), clear.without(other_path, voice)
        if best.cutness > CUTS:
            break
        if not others:
            first = heard[0]
            search = search.without(first.path, np.maximum(first.voices.idle, first.voices.cutting))
    if best is None:
        return None
    alone = _alone(clear, best)
    if alone.merit >= MOST_OF * best.merit and _same_cut(alone, best):
        best = alone
    # What is left when the router is taken out may show a machine that hid behind it.
    rest = clear.without(best.path, np.maximum(best.voices.idle, best.voices.cutting))
    path = _first_path(rest, None)
    hidden = other_machines(clear, path, seeds_of(rest, path), best)
    if hidden:
        cleared = clear
        for other_path, voice in hidden:
            cleared = cleared.without(other_path, voice)
        alone = _alone(cleared, best)
        if alone.merit > best.merit + CLEARLY_MORE and _same_cut(alone, best):
            best, clear = alone, cleared
    return counted_right(clear, best) if best.running.sum() >= MIN_SEED_STEPS else None


def _with_surest_cut(search: Search, heard: list[Course]) -> list[Course]:
    """Courses told apart once more by the surest cut among them: they share one take."""
    surest = max(heard, key=lambda course: course.cutness)
    again = [tell_apart(search, course.path, guess=surest.cutting) for course in heard]
    return [max(pair, key=lambda course: course.merit) for pair in zip(heard, again, strict=True)]


def _same_cut(one: Course, other: Course) -> bool:
    """Whether two courses agree on the speed where the other one cuts."""
    steps = other.cutting if other.cutting.any() else other.running
    return bool(np.mean(np.abs(one.path - other.path)[steps] <= HOP // 2) > 0.7)


def _alone(search: Search, course: Course) -> Course:
    """The course followed once more, from where it cuts, in sound without other machines."""
    core = course.cutting if course.cutting.sum() >= MIN_SEED_STEPS else course.running
    return _follow(search, course.path, core) if core.sum() >= MIN_SEED_STEPS else course


def _recognise(search: Search, known: Voices) -> Course:
    """The course of a router whose voices are known."""
    axis = on_log_axis(search.excess, grid=search.grid, candidates=search.candidates)
    path = _two_voice_path(axis, known, search.candidates)
    if known.cutting is known.idle:  # a calibration knows nothing of the cut
        return tell_apart(search, path)
    fits = order_fits(search.orders(path))
    lead = step_evidence(fits, known.cutting) - step_evidence(fits, known.idle)
    return tell_apart(search, path, guess=uniform_filter1d(lead, 9) > 0)


def _two_voice_path(
    axis: npt.NDArray[np.uint8], voices: Voices, candidates: Candidates
) -> npt.NDArray[np.int64]:
    evidence = comb_evidence(axis, voice=voices.cutting, candidates=candidates)
    if voices.idle is not voices.cutting:
        free = comb_evidence(axis, voice=voices.idle, candidates=candidates)
        np.maximum(evidence, free, out=evidence)
    return best_path(EVIDENCE * evidence, glide_cost=GLIDE, switch_cost=SWITCH)


def _first_path(search: Search, taught: Voices | None) -> npt.NDArray[np.int64]:
    axis = on_log_axis(search.excess, grid=search.grid, candidates=search.candidates)
    voice = generic_voice(search.flutes)
    evidence = comb_evidence(axis, voice=voice, candidates=search.candidates)
    if taught is not None:
        for voice in (taught.idle, taught.cutting):
            at = comb_evidence(axis, voice=voice, candidates=search.candidates)
            np.maximum(evidence, at, out=evidence)
    return best_path(EVIDENCE * evidence, glide_cost=GLIDE, switch_cost=FIRST_SWITCH)


def _follow(search: Search, path: npt.NDArray[np.int64], seed: Mask) -> Course:
    """Follow the machine heard in the seed steps through the whole take."""
    whole = search
    heard_hz = whole.candidates.rotation_hz[path[seed & (path != OFF)]]
    low, high = np.percentile(heard_hz, [2, 98])
    first, last = np.searchsorted(
        whole.candidates.rotation_hz, [low * FOLLOW_DOWN, high * FOLLOW_UP]
    )
    first, last = int(max(first - 1, 0)), int(min(last + 1, whole.candidates.count))
    candidates = Candidates(whole.candidates.rotation_hz[first], last - first)
    search = Search(whole.steps, candidates, whole.flutes)
    axis = on_log_axis(search.excess, grid=search.grid, candidates=candidates)
    path = np.where(seed & (path != OFF), np.clip(path - first, 0, candidates.count - 1), OFF)
    voice = learn_voice(order_fits(search.orders(path)), path != OFF)

    bonus = comb_bonus(axis, voice=voice, candidates=candidates)
    path = best_path(EVIDENCE * bonus + RUNNING_BONUS, glide_cost=STEADY_GLIDE, switch_cost=SWITCH)
    course = tell_apart(search, path)
    for _ in range(2):
        path = _two_voice_path(axis, course.voices, candidates)
        course = tell_apart(search, path, guess=course.cutting)
    return replace(course, path=np.where(path != OFF, path + first, OFF))
