"""Following a machine through a take from where it was first heard.

Running free a router hides most of its orders, so the voice learned where it stands out is
followed from there into its quiet. How far its speed may go is a guess of its own: an
electronic motor holds its speed to a percent or two, an open-loop one gives way by a third.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from analysis.hearing.orders import (
    LOG_STEP,
    comb_bonus,
    comb_evidence,
    generic_voice,
)
from analysis.hearing.path import OFF, best_path
from analysis.hearing.search import Course, Machine, Search, spans
from analysis.hearing.states import tell_apart
from analysis.hearing.voice import (
    QUIETER,
    Mask,
    Voices,
    learn_voice,
    order_fits,
    quieter,
    sounds_cutting,
)

# Steps overlap by half and speech or knocks last over several: evidence counts half.
EVIDENCE = 0.5
GLIDE, STEADY_GLIDE = 0.15, 0.30  # cost of a change of speed, per candidate
SWITCH, FIRST_SWITCH = 8.0, 20.0  # cost of switching on or off
RUNNING_BONUS = 2.0  # while following a machine into silence, per step
FOLLOW_DOWN, FOLLOW_UP = 0.75, 1.5  # of an open-loop motor, against the speeds it was heard at
HELD = 0.03  # share by which an electronically held speed may move
HELD_MARGIN = 0.02  # beyond the speeds at which it was followed
# In pairs: the cut's speed against that of running free, for an open-loop motor.
MOST_SAG, LEAST_SAG = 0.66, 0.985
PAIR_MARGIN = 0.05
MOST_AT_ENDS = 0.06  # share of a held course at the ends of its range
ROUNDS = 2
HARDLY_LESS, ALL_BUT = 1.0, 0.9  # merit; share of a gap
MIN_HEARD_STEPS = 20  # about a second
# Steps, a third of a second; and how far beyond what a glance hears a speed may go meanwhile.
GLANCE, GLANCE_DOWN, GLANCE_UP = 8, 0.85, 1.05


def first_path(search: Search, taught: Voices | None) -> npt.NDArray[np.int64]:
    """The likeliest path of any machine, by what is expected of routers and what is taught."""
    voice = generic_voice(search.flutes)
    evidence = comb_evidence(search.axis, voices=[voice], candidates=search.candidates)
    if taught is not None:
        np.maximum(evidence, voices_heard(search, taught), out=evidence)
    return best_path(EVIDENCE * evidence, glide_cost=GLIDE, switch_cost=FIRST_SWITCH)


def recognised(search: Search, known: Voices) -> Course:
    """The course of a router whose voices are known."""
    near, first = _where_heard(search, known)
    path = two_voice_path(near, known)
    path = np.where(path != OFF, path + first, OFF)
    if known.cutting is known.idle:  # a calibration knows nothing of the cut
        return tell_apart(search, path)
    return tell_apart(search, path, guess=sounds_cutting(order_fits(search.orders(path)), known))


def _where_heard(search: Search, known: Voices) -> tuple[Search, int]:
    """The search among the speeds at which a glance hears known voices, as `Search.among`.

    The glance is at every speed, in one step of GLANCE, which stands for all of them.
    """
    evidence = comb_evidence(
        search.axis[::GLANCE], voices=(known.idle, known.cutting), candidates=search.candidates
    )
    path = best_path(GLANCE * EVIDENCE * evidence, glide_cost=GLIDE, switch_cost=SWITCH)
    heard_hz = search.candidates.rotation_hz[path[path != OFF]]
    if not len(heard_hz):
        return search, 0
    return search.among(GLANCE_DOWN * heard_hz.min(), GLANCE_UP * heard_hz.max())


def recalled(search: Search, taught: Voices) -> list[Course]:
    """Courses of a router whose voice a calibration taught, learned anew from where it is heard.

    Beside a noise, or farther away, its lines are quieter; in the cut it sounds otherwise.
    """
    courses = []
    for by in QUIETER:
        voice = quieter(taught.idle, by)
        rough = tell_apart(search, two_voice_path(search, Voices(voice, voice)))
        if np.count_nonzero(rough.running) < MIN_HEARD_STEPS:
            continue
        courses += [_settled(search, rough, 0), followed(search, rough.path, rough.running)]
    return [course for course in courses if course.running.any()]


def followed(search: Search, path: npt.NDArray[np.int64], seed: Mask) -> Course:
    """Follow the machine heard in the seed's steps of `path` through the whole take."""
    heard_hz = search.candidates.rotation_hz[path[seed & (path != OFF)]]
    low, high = np.percentile(heard_hz, [2, 98])
    return _followed_within(search, path, seed, low * FOLLOW_DOWN, high * FOLLOW_UP)


def followed_held(search: Search, path: npt.NDArray[np.int64], seed: Mask) -> Course | None:
    """Follow it as a motor whose speed is held; None if the speed would go on elsewhere."""
    middle = float(np.median(search.candidates.rotation_hz[path[seed & (path != OFF)]]))
    lowest_hz, highest_hz = middle * (1 - HELD), middle * (1 + HELD)
    course = _followed_within(search, path, seed, lowest_hz, highest_hz)
    rotation = search.candidates.rotation_hz[course.path[course.running]]
    at_an_end = (rotation < lowest_hz * (1 + LOG_STEP)) | (rotation > highest_hz * (1 - LOG_STEP))
    return course if np.count_nonzero(at_an_end) <= MOST_AT_ENDS * len(rotation) else None


def _followed_within(
    search: Search,
    path: npt.NDArray[np.int64],
    seed: Mask,
    lowest_hz: float,
    highest_hz: float,
) -> Course:
    near, first = search.among(lowest_hz, highest_hz)
    candidates = near.candidates
    path = np.where(seed & (path != OFF), np.clip(path - first, 0, candidates.count - 1), OFF)
    voice = learn_voice(order_fits(near.orders(path)), path != OFF)
    bonus = comb_bonus(near.axis, voice=voice, candidates=candidates)
    path = best_path(EVIDENCE * bonus + RUNNING_BONUS, glide_cost=STEADY_GLIDE, switch_cost=SWITCH)
    return _settled(near, tell_apart(near, path), first)


def followed_everywhere(search: Search, path: npt.NDArray[np.int64]) -> Course:
    """A path taken for one router's as it is, whatever its speeds: a dial may be turned."""
    return _settled(search, tell_apart(search, path), 0)


def followed_as_two(
    search: Search, path: npt.NDArray[np.int64], *, free: Mask, cut: Mask
) -> Course | None:
    """Two seeds taken for one open-loop router, running free and cutting.

    None if their speeds can't be those of one router.
    """
    hz, on = search.candidates.rotation_hz, path != OFF
    free_hz, cut_hz = (float(np.median(hz[path[seed & on]])) for seed in (free, cut))
    if not MOST_SAG < cut_hz / free_hz < LEAST_SAG:
        return None
    near, first = search.among((1 - PAIR_MARGIN) * cut_hz, (1 + PAIR_MARGIN) * free_hz)
    fits = order_fits(search.orders(path))
    voices = Voices(idle=learn_voice(fits, free), cutting=learn_voice(fits, cut))
    course = tell_apart(near, two_voice_path(near, voices))
    return _settled(near, course, first)


def steadied(search: Search, course: Course) -> Course:
    """A course that hardly moves, followed once more as one that is known not to.

    Where a router is faint a course wanders off by a percent or two to whatever sounds there.
    """
    hz = search.candidates.rotation_hz[course.path[course.running]]
    lowest_hz, highest_hz = np.percentile(hz, [2, 98])
    if highest_hz > (1 + 2 * HELD) * lowest_hz:
        return course
    near, first = search.among(lowest_hz * (1 - HELD_MARGIN), highest_hz * (1 + HELD_MARGIN))
    last = first + near.candidates.count - 1
    beyond = course.running & ((course.path < first) | (course.path > last))
    for _ in range(ROUNDS):
        evidence = EVIDENCE * voices_heard(near, course.voices)
        path = best_path(evidence, glide_cost=STEADY_GLIDE, switch_cost=SWITCH)
        path = np.where(beyond, course.path, np.where(path != OFF, path + first, OFF))
        ran = np.flatnonzero(path != OFF)
        if not len(ran):
            return course
        # Nobody stops a router for a moment: only a run's ends may turn out to be silent.
        path[ran[0] : ran[-1]] = np.where(path != OFF, path, course.path)[ran[0] : ran[-1]]
        path = np.where(course.running, path, OFF)
        course = tell_apart(search, path, guess=course.cutting)
    return course


def followed_again(search: Search, whole: Search, course: Course) -> Course:
    """A course that gives way, followed once more by its own voices among its own speeds.

    Where it is silent in the search it is looked for in the `whole` sound: its own lines may have
    gone with another machine's that was taken out.
    """
    hz = search.candidates.rotation_hz[course.path[course.running]]
    lowest_hz, highest_hz = np.percentile(hz, [1, 99])
    if highest_hz <= (1 + 2 * HELD) * lowest_hz:
        return course
    path, found = (
        _followed_near(sound, course.voices, lowest_hz, highest_hz) for sound in (search, whole)
    )
    for first, end in spans(path == OFF):
        inside = first > 0 and end < len(path)
        if inside and np.mean(found[first:end] != OFF) > ALL_BUT:
            path[first:end] = found[first:end]
    again = tell_apart(search, path, guess=course.cutting)
    return again if again.merit > course.merit - HARDLY_LESS else course


def _followed_near(
    search: Search, voices: Voices, lowest_hz: float, highest_hz: float
) -> npt.NDArray[np.int64]:
    """The path of a machine of two states at about these speeds."""
    near, first = search.among(lowest_hz * (1 - HELD), highest_hz * (1 + HELD))
    path = two_voice_path(near, voices)
    return np.where(path != OFF, path + first, OFF)


def held_machine(search: Search, path: npt.NDArray[np.int64], seed: Mask) -> Machine:
    """The machine of a seed as one of a single state that holds its speed."""
    middle = float(np.median(search.candidates.rotation_hz[path[seed]]))
    near, first = search.among(middle * (1 - HELD), middle * (1 + HELD))
    inside = path - first
    heard = seed & (inside >= 0) & (inside < near.candidates.count)
    inside = np.where(heard, inside, OFF)
    voice = learn_voice(order_fits(near.orders(inside)), heard)
    for _ in range(ROUNDS):
        evidence = comb_evidence(near.axis, voices=[voice], candidates=near.candidates)
        inside = best_path(EVIDENCE * evidence, glide_cost=STEADY_GLIDE, switch_cost=SWITCH)
        voice = learn_voice(order_fits(near.orders(inside)), inside != OFF)
    return Machine(np.where(inside != OFF, inside + first, OFF), voice)


def _settled(near: Search, course: Course, first: int) -> Course:
    """Path and voices learned from each other in turn, back on the whole range of speeds."""
    for _ in range(ROUNDS):
        path = two_voice_path(near, course.voices)
        if np.array_equal(path, course.path):
            break
        course = tell_apart(near, path, guess=course.cutting)
    return replace(course, path=np.where(course.path != OFF, course.path + first, OFF))


def two_voice_path(search: Search, voices: Voices) -> npt.NDArray[np.int64]:
    """The likeliest path of a machine of two states."""
    evidence = voices_heard(search, voices)
    evidence *= EVIDENCE
    return best_path(evidence, glide_cost=GLIDE, switch_cost=SWITCH)


def voices_heard(
    search: Search, voices: Voices, *, steps: slice = np.s_[:]
) -> npt.NDArray[np.float32]:
    """The better of the two voices' evidence, shape (chosen steps, candidates)."""
    both = (voices.idle, voices.cutting)
    return comb_evidence(search.axis[steps], voices=both, candidates=search.candidates)
