"""Takes of a router running free: one course over all of them, then the last digits of each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.ndimage import uniform_filter1d

from analysis.dial.free_course import FreeCourse, find_free_course
from analysis.dial.spectra import TakeSpectra, take_spectra
from analysis.errors import InputError
from analysis.hearing.listener import Hearing, Listener
from analysis.hearing.orders import AT_TIMES, Voice
from analysis.hearing.refine import order_phasors, refine_stretch
from analysis.hearing.search import spans
from analysis.hearing.sharpen import sharpened
from analysis.hearing.spectra import SpectrumGrid
from analysis.hearing.spindle import SpindleTrack
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
    voices : Voices or None
        How the router sounds; None where no machine was heard.
    rival_ratio : float or None
        Another multiple of all speeds that would explain the sound about as well.
    another_turns : bool
        Whether a second machine turns from speed to speed meanwhile.
    """

    tracks: tuple[SpindleTrack, ...]
    voices: Voices | None
    rival_ratio: float | None
    another_turns: bool


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
    return FreeHearing(
        tracks=tuple(tracks[place] for place in range(len(sounds))),
        voices=main.voices if main is not None else None,
        rival_ratio=main.rival_ratio if main is not None else None,
        another_turns=any(course is not None and course.another_turns for course in courses),
    )


def _hear_alike(
    sounds: list[Sound], plate_range_rpm: tuple[float, float] | None
) -> tuple[FreeCourse | None, list[SpindleTrack]]:
    """Course and tracks of takes of one sample rate."""
    grid = SpectrumGrid(sounds[0].sample_rate_hz)
    takes = [take_spectra(sound.samples, grid=grid) for sound in sounds]
    excess = np.concatenate([take.excess for take in takes])
    course = find_free_course(excess, grid=grid, plate_range_rpm=plate_range_rpm)
    tracks, first = [], 0
    for take in takes:
        steps = slice(first, first + len(take.excess))
        first = steps.stop
        tracks.append(_track(take, course, steps))
    return course, tracks


def _track(frames: TakeSpectra, course: FreeCourse | None, steps: slice) -> SpindleTrack:
    """Refine the course along one take."""
    count = len(frames.spectra)
    rotation, deviation = np.full(count, np.nan), np.full(count, np.nan)
    sureness = np.full(count, -8.0)
    if course is not None and steps.stop > steps.start:
        of_frame = np.minimum(np.arange(count) // 2, steps.stop - steps.start - 1)
        sureness = course.sureness[steps][of_frame]
        orders = _audible_orders(course.voices.idle)
        coarse = sharpened(
            frames.excess,
            course.rotation_hz[steps],
            orders=orders,
            grid=frames.grid,
            frames=len(frames.spectra),
        )
        for first, last in spans(np.isfinite(coarse)):
            a, b = max(first, EDGE_FRAMES), min(last, count - EDGE_FRAMES)
            if b - a < SHORTEST_FRAMES:
                continue
            phasors = order_phasors(
                frames.spectra[a:b],
                frames.log_floor[a:b],
                rotation_hz=coarse[a:b],
                orders=orders,
                grid=frames.grid,
            )
            refined = refine_stretch(
                phasors, rotation_hz=coarse[a:b], orders=orders, step_s=frames.grid.step_s
            )
            edges = (a - first, last - b)
            rotation[first:last] = np.pad(refined.rotation_hz, edges, mode="edge")
            deviation[first:last] = np.pad(refined.deviation_hz, edges, mode="edge")
    there = 1 / (1 + np.exp(-np.clip(uniform_filter1d(sureness, 9), -60, 60) / 2))
    keep = slice(None, None, 2)
    return SpindleTrack(
        time_s=np.arange(count, dtype=np.float64)[keep] * frames.grid.step_s,
        spindle_rpm=60 * rotation[keep],
        spindle_rpm_u95=1.96 * 60 * deviation[keep],
        confidence=np.where(np.isfinite(rotation), there, 1 - there)[keep],
        idle_rpm=None,
        idle_rpm_u95=None,
    )


def _audible_orders(voice: Voice) -> npt.NDArray[np.int64]:
    """The loudest orders, REFINED_ORDERS at most."""
    orders = np.flatnonzero(voice >= AT_TIMES) + 1
    return np.sort(orders[np.argsort(-voice[orders - 1], kind="stable")][:REFINED_ORDERS])


def hear_cuts(
    sounds: tuple[Sound, ...], heard: FreeHearing, *, plate_range_rpm: tuple[float, float] | None
) -> tuple[Hearing, ...]:
    """Hear the same takes as if passes were cut in them: for what running free can't explain."""
    hearings = []
    for sound in sounds:
        listener = Listener(
            sample_rate_hz=sound.sample_rate_hz,
            plate_range_rpm=plate_range_rpm,
            known_voices=heard.voices,
        )
        listener.feed(sound.samples)
        hearings.append(listener.finish())
    return tuple(hearings)
