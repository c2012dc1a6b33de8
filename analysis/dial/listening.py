"""Takes of a router running free: one course over all of them, then the last digits of each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.dial.free_course import FreeCourse, find_free_course
from analysis.errors import InputError
from analysis.hearing.course import Search
from analysis.hearing.listener import Hearing, Listener
from analysis.hearing.orders import AT_TIMES, Candidates, Voice
from analysis.hearing.refine import order_phasors, refine_stretch
from analysis.hearing.spectra import Framer, SpectrumGrid, log_power, spectrum
from analysis.hearing.spindle import (
    Frames,
    SpindleTrack,
    as_frames,
    candidate_range_hz,
    spans,
    spindle_track,
)
from analysis.hearing.voice import Voices

FloatArray = npt.NDArray[np.float64]

LONGEST_S = 600.0
REFINED_ORDERS = 14
SHORTEST_FRAMES = 12
EDGE_FRAMES = 2  # at the ends of a take a frame holds a step in the sound


@dataclass(frozen=True, slots=True, eq=False)
class Sound:
    """One take in memory: `samples` of shape (n,), full scale +-1."""

    samples: npt.NDArray[np.float32]
    sample_rate_hz: float

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return len(self.samples) / self.sample_rate_hz


@dataclass(frozen=True, slots=True, eq=False)
class FreeHearing:
    """What was heard in the takes of one calibration.

    Attributes
    ----------
    tracks : tuple of SpindleTrack
        One for each take, in order.
    hearings : tuple of Hearing
        What the engine makes of the same takes, as if passes were cut in them.
    voices : Voices or None
        How the router sounds; None where no machine was heard.
    rival_ratio : float or None
        Another multiple of all speeds that would explain the sound about as well.
    """

    tracks: tuple[SpindleTrack, ...]
    hearings: tuple[Hearing, ...]
    voices: Voices | None
    rival_ratio: float | None


def hear_running_free(
    sounds: tuple[Sound, ...], *, plate_range_rpm: tuple[float, float] | None
) -> FreeHearing:
    """Hear takes of one router running free at different dial settings.

    Takes that share the longest one's sample rate are heard as one, so that a line learned at
    one setting is known at the next; any other is heard by itself.

    Parameters
    ----------
    sounds : tuple of Sound
        One or more, together at most 10 minutes.
    plate_range_rpm : (float, float) or None
        No-load speeds on the router's plate.

    Raises
    ------
    InputError
        If there is no take or too much of it.
    """
    if not sounds:
        raise InputError("takes", 0, "one or more")
    total_s = sum(sound.duration_s for sound in sounds)
    if total_s > LONGEST_S:
        raise InputError("length of all takes (s)", round(total_s), f"at most {LONGEST_S:g}")
    longest = max(sounds, key=lambda sound: sound.duration_s)
    groups: dict[float, list[int]] = {longest.sample_rate_hz: []}
    for place, sound in enumerate(sounds):
        groups.setdefault(sound.sample_rate_hz, []).append(place)
    tracks: dict[int, SpindleTrack] = {}
    courses = []
    for places in groups.values():
        course, heard = _hear_alike([sounds[i] for i in places], plate_range_rpm)
        tracks |= dict(zip(places, heard, strict=True))
        courses.append(course)
    main = courses[0]
    voices = main.voices if main is not None else None
    return FreeHearing(
        tracks=tuple(tracks[place] for place in range(len(sounds))),
        hearings=tuple(_as_passes(sound, plate_range_rpm, voices) for sound in sounds),
        voices=voices,
        rival_ratio=main.rival_ratio if main is not None else None,
    )


def _hear_alike(
    sounds: list[Sound], plate_range_rpm: tuple[float, float] | None
) -> tuple[FreeCourse | None, list[SpindleTrack]]:
    """Course and tracks of takes of one sample rate."""
    grid = SpectrumGrid(sounds[0].sample_rate_hz)
    takes = [_frames(sound.samples, grid=grid) for sound in sounds]
    candidates = Candidates.between(*candidate_range_hz(plate_range_rpm))
    search = Search(np.concatenate([take.excess for take in takes]), grid, candidates, None)
    course = find_free_course(search)
    tracks, first = [], 0
    for take in takes:
        steps = slice(first, first + len(take.excess))
        first = steps.stop
        tracks.append(_track(take, course, steps))
    return course, tracks


def _frames(samples: npt.NDArray[np.float32], *, grid: SpectrumGrid) -> Frames:
    framer = Framer(grid)
    parts = [
        spectrum(frames, grid=grid)[:, : grid.bins]
        for frames in (framer.frames(samples, multiple=1), framer.rest())
    ]
    spectra = np.concatenate(parts)
    return as_frames(spectra, log_power(spectra), grid=grid)


def _track(frames: Frames, course: FreeCourse | None, steps: slice) -> SpindleTrack:
    """Refine the course along one take."""
    count = len(frames.spectra)
    rotation, deviation = np.full(count, np.nan), np.full(count, np.nan)
    sureness = np.full(count, -8.0)
    if course is not None and steps.stop > steps.start:
        of_step = np.minimum(np.arange(count) // 2, steps.stop - steps.start - 1)
        coarse = course.rotation_hz[steps][of_step]
        sureness = course.sureness[steps][of_step]
        orders = _audible_orders(course.voices.idle)
        for first, last in spans(np.isfinite(coarse)):
            a, b = max(first, EDGE_FRAMES), min(last, count - EDGE_FRAMES)
            if b - a < SHORTEST_FRAMES:
                continue
            refined = _refine(frames, a, b, coarse, orders)
            rotation[first:last] = np.pad(refined[0], (a - first, last - b), mode="edge")
            deviation[first:last] = np.pad(refined[1], (a - first, last - b), mode="edge")
    return spindle_track(
        rotation_hz=rotation,
        deviation_hz=deviation,
        sureness=sureness,
        contact=np.zeros(count, bool),
        step_s=frames.grid.step_s,
    )


def _refine(
    frames: Frames, first: int, last: int, coarse_hz: FloatArray, orders: npt.NDArray[np.int64]
) -> tuple[FloatArray, FloatArray]:
    # Steps of a quarter of a percent, drawn through: the refinement starts from a smooth course.
    centres = np.arange(first, last)
    knots = np.arange(first | 1, last, 2) + 0.5
    known = coarse_hz[(first | 1) : last : 2]
    smooth = np.interp(centres, knots, known) if len(knots) else coarse_hz[first:last]
    phasors = order_phasors(
        frames.spectra[first:last],
        frames.log_floor[first:last],
        rotation_hz=smooth,
        orders=orders,
        grid=frames.grid,
    )
    refined = refine_stretch(phasors, rotation_hz=smooth, orders=orders, step_s=frames.grid.step_s)
    return refined.rotation_hz, refined.deviation_hz


def _audible_orders(voice: Voice) -> npt.NDArray[np.int64]:
    """The loudest orders, REFINED_ORDERS at most."""
    orders = np.flatnonzero(voice >= AT_TIMES) + 1
    return np.sort(orders[np.argsort(-voice[orders - 1], kind="stable")][:REFINED_ORDERS])


def _as_passes(
    sound: Sound, plate_range_rpm: tuple[float, float] | None, voices: Voices | None
) -> Hearing:
    listener = Listener(
        sample_rate_hz=sound.sample_rate_hz, plate_range_rpm=plate_range_rpm, known_voices=voices
    )
    listener.feed(sound.samples)
    return listener.finish()
