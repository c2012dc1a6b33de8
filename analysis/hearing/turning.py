"""What the rotation did, frame by frame, to the last digits."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from analysis.hearing.bridging import bridged, only_heard_in_cut
from analysis.hearing.frames import Frames
from analysis.hearing.gliding import followed_closely, gliding
from analysis.hearing.orders import AT_TIMES, ORDERS, SILENT, Voice
from analysis.hearing.path import OFF
from analysis.hearing.refine import COARSE_DEVIATION, order_phasors, refine_stretch
from analysis.hearing.search import Course, Search, spans
from analysis.hearing.sharpen import sharpened
from analysis.hearing.silence import without_silent_ends
from analysis.hearing.trace import Trace
from analysis.hearing.voice import Mask, Voices, order_fits, step_evidence

FloatArray = npt.NDArray[np.float64]
AnyValue = TypeVar("AnyValue", bound=np.generic)

REFINED_ORDERS = 14
TEETH = 8
LEAST_OWN = 4  # orders of a taught voice
MIN_STRETCH_FRAMES = 6
# As a share of the rotation, median: lines that are one machine's stay together to some parts in
# ten thousand, a few if the speed leaps, and a course along strangers' lines doesn't.
INCOHERENT, STRANGERS = 16e-4, 40e-4


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
    return lines_apart(turning) < INCOHERENT


def lines_apart(turning: Turning) -> float:
    """By how much the lines that were followed differ, as a share of the rotation, median."""
    running = np.isfinite(turning.rotation_hz)
    if not running.any():
        return STRANGERS
    return float(np.median(turning.deviation_hz[running] / turning.rotation_hz[running]))


def nothing_turns(count: int) -> Turning:
    """That no router is heard in so many frames."""
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


def refined(
    frames: Frames,
    search: Search,
    course: Course,
    *,
    flutes: int | None,
    taught: Voice | None = None,
) -> Turning:
    """A course that was found in a search of these frames, to the last digits.

    Of a router whose voice was taught only its own orders and the teeth's are read: beside a loud
    machine others seem to sound too.
    """
    count = len(frames.spectra)
    course = only_heard_in_cut(search, without_silent_ends(search, course))
    orders = search.orders(course.path)
    fits = order_fits(orders)
    idle = step_evidence(fits, course.voices.idle)
    cutting = step_evidence(fits, course.voices.cutting)
    rotation, deviation = bridged(
        *_rotation(
            frames, search, course, orders=_own_orders(course.machine.voice, flutes, taught)
        ),
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


def _own_orders(voice: Voice, flutes: int | None, taught: Voice | None) -> npt.NDArray[np.int64]:
    if taught is not None and flutes is not None:
        own = (taught >= AT_TIMES) | (ORDERS % flutes == 0)
        if np.count_nonzero(own & (voice >= AT_TIMES)) >= LEAST_OWN:
            voice = np.where(own, voice, SILENT)
    return audible_orders(voice)


def _rotation(
    frames: Frames, search: Search, course: Course, *, orders: npt.NDArray[np.int64]
) -> tuple[FloatArray, FloatArray]:
    """The rotation, Hz, and its deviation; NaN where off."""
    count = len(frames.spectra)
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
            deviation[first:last] = COARSE_DEVIATION * coarse[first:last]
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
    spectra, log_floor = frames.spectra[first:end], frames.log_floor[first:end]
    track = coarse[first:end].copy()
    phasors = phasors_of(spectra, log_floor, rotation_hz=track)
    for a, b in spans(gliding(track, step_s=grid.step_s)):
        here = slice(a, b)
        track[here], straight = followed_closely(
            spectra[here], log_floor[here], track[here], orders=orders, grid=grid
        )
        phasors[here] = phasors_of(straight, log_floor[here], rotation_hz=track[here])
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
