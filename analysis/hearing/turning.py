"""What the rotation did, frame by frame, to the last digits."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property, partial
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from analysis.hearing.answer import spindle_answer
from analysis.hearing.bridging import bridged, only_heard_in_cut
from analysis.hearing.course import find_course, goes_along
from analysis.hearing.floors import Found, course_that_stirs, courses_over_floors
from analysis.hearing.frames import Frames
from analysis.hearing.gliding import followed_closely, glide_of, gliding, unbent
from analysis.hearing.impostors import is_hum, leaps_like_a_tune
from analysis.hearing.orders import AT_TIMES, Voice
from analysis.hearing.path import OFF
from analysis.hearing.pursuit import followed
from analysis.hearing.refine import order_phasors, refine_stretch
from analysis.hearing.scanning import machines_heard
from analysis.hearing.search import Course, Search, spans
from analysis.hearing.sharpen import sharpened
from analysis.hearing.silence import without_silent_ends
from analysis.hearing.states import tell_apart
from analysis.hearing.touching import hear_contact
from analysis.hearing.trace import Trace
from analysis.hearing.voice import Mask, Voices, order_fits, step_evidence

FloatArray = npt.NDArray[np.float64]
AnyValue = TypeVar("AnyValue", bound=np.generic)

REFINED_ORDERS = 14
TEETH = 8
MIN_STRETCH_FRAMES = 6
# As a share of the rotation, median: lines that are one machine's stay together to some parts in
# ten thousand, a few if the speed leaps, and a course along strangers' lines doesn't.
TOGETHER, INCOHERENT, STRANGERS = 10e-4, 16e-4, 40e-4
LONG_WITHOUT_CUT_S = 15.0  # in so long somebody cuts: what never does may hide who does
MOST_HEARD = 6  # machines, of which one may be the router
MOST_AGAIN = 2  # searches for a course whose lines do
ANSWERS = 3.0  # deviations of a machine that answers the cut
# Of credit: deviations of the answer, at most, what turning together is worth, and merit; and by
# how much another course must have more.
MOST_ANSWER, TOGETHER_WORTH, MERIT_WORTH, MORE_CREDIT = 15.0, 6.0, 0.5, 2.0
HARDLY_ANSWERED, HARDLY_CUTS, SELDOM_CUTS = 4.0, 7.0, 4.0
# Of a router that labours: candidates a step by which its speed moves between leaps, where notes
# stand, and deviations by which it answers the cut, more than notes come to by chance.
NEVER_STANDS, LABOURS = 1.0, 6.0


@dataclass(frozen=True, slots=True, eq=False)
class Turning:
    """What the rotation did, frame by frame. All arrays have shape (frames,).

    Attributes
    ----------
    rotation_hz, deviation_hz : arrays
        Rotation and its standard deviation; NaN where off.
    cutting : array
        A first guess of the frames in the cut.
    lead : array
        Log likelihood of the cutting voice over the idle voice.
    sureness : array
        Log likelihood of the router's being there.
    teeth : array, shape (frames, TEETH)
        Excess at the first orders of the teeth, ln(power / floor).
    voices : Voices or None
    """

    rotation_hz: FloatArray
    deviation_hz: FloatArray
    cutting: Mask
    lead: FloatArray
    sureness: FloatArray
    teeth: npt.NDArray[np.float32]
    voices: Voices | None


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
        return _nothing(len(frames.spectra))
    weigh = partial(_weighed, frames, found[0].search, flutes)
    best = weigh(found[0])
    if known is None and not best.is_tune:
        best = _likeliest(frames, found, taught, best, weigh)
    return _nothing(len(frames.spectra)) if best.is_tune else best.turning


def _likeliest(
    frames: Frames,
    found: list[Found],
    taught: Voices | None,
    best: _Weighed,
    weigh: Callable[[Found], _Weighed],
) -> _Weighed:
    """The first that was found, or another that more looks like a router at work."""
    for also in found[1:]:
        best = _better(best, weigh(also))
    stirs = course_that_stirs(frames, best.sound, taught) if best.is_doubtful else None
    # Without what stands still it is heard less well: asked only if it is another machine.
    if stirs is not None and not goes_along(stirs.course, best.course):
        best = _better(best, weigh(stirs))
    seldom_cuts = best.is_doubtful or best.course.cutness < SELDOM_CUTS
    if seldom_cuts and (other := _another(best)) is not None:
        best = _better(best, weigh(other))
    if not is_one_machine(best.turning):
        best = _of_one_machine(found, taught, best, weigh) or best
    elif not best.cuts and len(frames.spectra) * frames.grid.step_s >= LONG_WITHOUT_CUT_S:
        best = _hidden_behind(found, taught, weigh) or best
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
        return self.course.moves_per_step < NEVER_STANDS or self.answer < LABOURS

    @property
    def is_doubtful(self) -> bool:
        """Whether another machine may have been followed, or lines of several."""
        hardly_cuts = self.answer < HARDLY_ANSWERED and self.course.cutness < HARDLY_CUTS
        return hardly_cuts or not is_one_machine(self.turning)

    @cached_property
    def credit(self) -> float:
        """All of it together."""
        answer = float(np.clip(self.answer, -MOST_ANSWER, MOST_ANSWER))
        together = np.log(STRANGERS / _apart(self.turning)) / np.log(STRANGERS / TOGETHER)
        merit = tell_apart(self.sound, self.course.path).merit
        return answer + TOGETHER_WORTH * float(np.clip(together, 0, 1)) + MERIT_WORTH * merit


def _weighed(frames: Frames, sound: Search, flutes: int | None, found: Found) -> _Weighed:
    return _Weighed(frames, _turning(frames, found, flutes), found.course, sound)


def _better(best: _Weighed, other: _Weighed) -> _Weighed:
    """The other if it has clearly more credit."""
    return other if other.credit > best.credit + MORE_CREDIT else best


def _another(best: _Weighed) -> Found | None:
    """The likeliest course of any machine that sounds, but for the one that was found."""
    sound = best.sound
    paths = machines_heard(sound, MOST_HEARD)
    courses = (followed(sound, path, path != OFF) for path in paths)
    others = [course for course in courses if not goes_along(course, best.course)]
    likeliest = max(others, key=lambda course: course.merit, default=None)
    return None if likeliest is None else Found(sound, likeliest)


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


def trace_of(frames: Frames, turning: Turning) -> Trace:
    """What is kept of a stretch for finding its passes; nothing is copied."""
    return Trace(
        step_s=frames.grid.step_s,
        bands=frames.bands,
        rotation_hz=turning.rotation_hz,
        deviation_hz=turning.deviation_hz,
        lead=turning.lead,
        cutting=turning.cutting,
        teeth=turning.teeth,
    )


def is_one_machine(turning: Turning) -> bool:
    """Whether the lines that were followed turn together."""
    return _apart(turning) < INCOHERENT


def _apart(turning: Turning) -> float:
    """By how much the lines that were followed differ, as a share of the rotation, median."""
    running = np.isfinite(turning.rotation_hz)
    if not running.any():
        return STRANGERS
    return float(np.median(turning.deviation_hz[running] / turning.rotation_hz[running]))


def _nothing(count: int) -> Turning:
    nothing = np.full(count, np.nan)
    return Turning(
        rotation_hz=nothing,
        deviation_hz=nothing,
        cutting=np.zeros(count, bool),
        lead=np.zeros(count),
        sureness=np.full(count, -8.0),
        teeth=np.full((count, TEETH), -0.6, np.float32),
        voices=None,
    )


def _turning(frames: Frames, found: Found, flutes: int | None) -> Turning:
    """A course that was found, refined."""
    count, (search, course) = len(frames.spectra), found
    course = only_heard_in_cut(search, without_silent_ends(search, course))
    orders = search.orders(course.path)
    fits = order_fits(orders)
    idle = step_evidence(fits, course.voices.idle)
    cutting = step_evidence(fits, course.voices.cutting)
    rotation, deviation = bridged(
        *_refined(frames, search, course),
        cutting=_per_frame(course.cutting & course.running, count),
        step_s=frames.grid.step_s,
    )
    return Turning(
        rotation_hz=rotation,
        deviation_hz=deviation,
        cutting=_per_frame(course.cutting, count),
        lead=_per_frame((cutting - idle).astype(np.float64), count),
        sureness=_per_frame(np.maximum(idle, cutting).astype(np.float64), count),
        teeth=_per_frame(teeth_orders(orders, flutes), count),
        voices=course.voices,
    )


def teeth_orders(orders: npt.NDArray[np.float32], flutes: int | None) -> npt.NDArray[np.float32]:
    """Excess at the teeth's first TEETH orders, shape (steps, TEETH)."""
    every = flutes or 1
    teeth = orders[:, every - 1 :: every][:, :TEETH]
    teeth = np.clip(np.nan_to_num(teeth, nan=-0.6), -2, 5)
    missing = TEETH - teeth.shape[1]
    return np.pad(teeth, ((0, 0), (0, missing)), constant_values=-0.6).astype(np.float32)


def _per_frame(steps: npt.NDArray[AnyValue], count: int) -> npt.NDArray[AnyValue]:
    """Repeat each step's value for its two frames, and the last for what is left over."""
    return steps[np.minimum(np.arange(count) // 2, len(steps) - 1)]


def _refined(frames: Frames, search: Search, course: Course) -> tuple[FloatArray, FloatArray]:
    count = len(frames.spectra)
    orders = audible_orders(course.machine.voice)
    coarse = sharpened(
        search.excess,
        np.where(course.running, search.rotation_hz(_sound_at_ends(course.path)), np.nan),
        orders=orders,
        grid=frames.grid,
        frames=count,
    )
    on = np.isfinite(coarse)
    rotation, deviation = np.full(count, np.nan), np.full(count, np.nan)
    for first, last in spans(on):
        # Frames that hang over the ends of the take hold a step in the sound, not a tone.
        a, b = max(first, 2), min(last, count - 2)
        if b - a < MIN_STRETCH_FRAMES:
            rotation[first:last] = coarse[first:last]
            deviation[first:last] = 0.002 * coarse[first:last]
            continue
        near, phasors = _phasors(frames, coarse, a, b, orders=orders)
        refined = refine_stretch(
            phasors, rotation_hz=near, orders=orders, step_s=frames.grid.step_s
        )
        rotation[first:last] = np.pad(refined.rotation_hz, (a - first, last - b), mode="edge")
        deviation[first:last] = np.pad(refined.deviation_hz, (a - first, last - b), mode="edge")
    return rotation, deviation


def _phasors(
    frames: Frames, coarse: FloatArray, first: int, end: int, *, orders: npt.NDArray[np.int64]
) -> tuple[FloatArray, npt.NDArray[np.complex64]]:
    """A running stretch's track, nearer where it glides, and its orders' phasors along it."""
    grid = frames.grid
    phasors_of = partial(order_phasors, orders=orders, grid=grid)
    track = coarse[first:end].copy()
    bent = spans(gliding(track, step_s=grid.step_s))
    for a, b in bent:
        here = slice(first + a, first + b)
        track[a:b] = followed_closely(
            frames.spectra[here], frames.log_floor[here], track[a:b], orders=orders, grid=grid
        )
    phasors = phasors_of(frames.spectra[first:end], frames.log_floor[first:end], rotation_hz=track)
    for a, b in bent:
        here = slice(first + a, first + b)
        glide = glide_of(track[a:b], step_s=grid.step_s)
        straight = unbent(frames.spectra[here], glide, grid=grid)
        phasors[a:b] = phasors_of(straight, frames.log_floor[here], rotation_hz=track[a:b])
    return track, phasors


def _sound_at_ends(path: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    """The path with its first and last step like their neighbours.

    Half a frame at either end of a take holds no sound, and its lines are smeared.
    """
    path = path.copy()
    for end, next_to_it in ((0, 1), (-1, -2)):
        if path[end] != OFF and path[next_to_it] != OFF:
            path[end] = path[next_to_it]
    return path


def audible_orders(voice: Voice) -> npt.NDArray[np.int64]:
    """The loudest orders of a voice, REFINED_ORDERS at most, the first always among them."""
    orders = np.flatnonzero(voice >= AT_TIMES) + 1
    loudest = orders[np.argsort(-voice[orders - 1], kind="stable")][:REFINED_ORDERS]
    return np.union1d(loudest, [1])
