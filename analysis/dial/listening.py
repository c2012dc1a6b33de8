"""Takes of a router running free: one course over all of them, then the last digits of each."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.ndimage import uniform_filter1d

from analysis.dial.free_course import FreeCourse, find_free_course
from analysis.dial.log_axis import CHUNK_STEPS
from analysis.dial.plateaus import WANDER, Plateau
from analysis.dial.second_look import Held
from analysis.dial.spectra import TakeSpectra, take_spectra
from analysis.errors import InputError
from analysis.hearing.listener import Hearing, Listener
from analysis.hearing.orders import AT_TIMES, SILENT, Voice, order_excess
from analysis.hearing.refine import order_phasors, refine_stretch
from analysis.hearing.search import spans
from analysis.hearing.sharpen import sharpened
from analysis.hearing.spectra import SpectrumGrid
from analysis.hearing.spindle import SpindleTrack
from analysis.hearing.voice import Voices, learn_voice, order_fits

FloatArray = npt.NDArray[np.float64]

LONGEST_S = 600.0
REFINED_ORDERS = 14
VOICE_ORDERS = 8  # fans and commutators have about as many loud ones
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
class HeardTake:
    """One take, for a second look: its spectra, and its place in the course.

    Attributes
    ----------
    spectra : TakeSpectra
    course : FreeCourse or None
        Of all takes that were heard with it.
    steps : slice
        Which steps of the course are this take's.
    """

    spectra: TakeSpectra
    course: FreeCourse | None
    steps: slice


@dataclass(frozen=True, slots=True, eq=False)
class FreeHearing:
    """What was heard in the takes of one calibration.

    Attributes
    ----------
    takes : tuple of HeardTake
    tracks : tuple of SpindleTrack
        One for each take, in order.
    voices : Voices or None
        How the router sounds; None where no machine was heard.
    rival_ratio : float or None
        Another multiple of all speeds that would explain the sound about as well.
    another_turns : bool
        Whether a second machine turns from speed to speed meanwhile.
    """

    takes: tuple[HeardTake, ...]
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
    heard: dict[int, HeardTake] = {}
    courses = []
    for places in groups.values():
        alike = _hear_alike([sounds[i] for i in places], plate_range_rpm)
        heard |= dict(zip(places, alike, strict=True))
        courses.append(alike[0].course)
    main = courses[0]
    takes = tuple(heard[place] for place in range(len(sounds)))
    return FreeHearing(
        takes=takes,
        tracks=tuple(_track(take) for take in takes),
        voices=main.voices if main is not None else None,
        rival_ratio=main.rival_ratio if main is not None else None,
        another_turns=any(course is not None and course.another_turns for course in courses),
    )


def _hear_alike(
    sounds: list[Sound], plate_range_rpm: tuple[float, float] | None
) -> list[HeardTake]:
    """Takes of one sample rate, with the course that goes through all of them."""
    grid = SpectrumGrid(sounds[0].sample_rate_hz)
    takes = [take_spectra(sound.samples, grid=grid) for sound in sounds]
    excess = np.concatenate([take.excess for take in takes])
    course = find_free_course(excess, grid=grid, plate_range_rpm=plate_range_rpm)
    heard, first = [], 0
    for take in takes:
        steps = slice(first, first + len(take.excess))
        first = steps.stop
        heard.append(HeardTake(take, course, steps))
    return heard


def _track(take: HeardTake) -> SpindleTrack:
    """The course along one take."""
    course, steps = take.course, take.steps
    if course is None or steps.stop == steps.start:
        count = len(take.spectra.excess)
        nothing, unsure = np.full(count, np.nan), np.full(count, -8.0)
        return _refined(take.spectra, nothing, unsure, np.zeros(0, np.int64))
    return _refined(
        take.spectra,
        course.rotation_hz[steps],
        course.sureness[steps],
        _audible_orders(course.voices.idle),
    )


def hear_again(
    take: HeardTake,
    *,
    between_s: tuple[float, float],
    between_rpm: tuple[float, float],
    faint: bool,
    but_not: Plateau | None = None,
) -> tuple[SpindleTrack, Held] | None:
    """A speed held somewhere in a time and a range of speeds, if the router may be heard at one.

    Parameters
    ----------
    take : HeardTake
    between_s, between_rpm : (float, float)
        Where it must lie.
    faint : bool
        Whether it is known to be there, so that its lines may be fainter than elsewhere.
    but_not : Plateau, optional
        Another machine, taken for this router at first: its lines don't count.

    Returns
    -------
    (SpindleTrack, Held) or None
        NaN elsewhere, and how likely it is.
    """
    course = take.course
    if course is None:
        return None
    sounding = course.sounding
    if but_not is not None:
        foreign = np.arange(_chunk(take, but_not.start_s), _chunk(take, but_not.end_s))
        sounding = sounding.without(foreign, but_not.spindle_rpm / 60)
    held = sounding.held(
        slice(*(_chunk(take, time_s) for time_s in between_s)),
        lowest_hz=between_rpm[0] / 60,
        highest_hz=between_rpm[1] / 60,
        faint=faint,
    )
    if held is None:
        return None
    rotation_hz = np.full(len(take.spectra.excess), np.nan)
    first, last = (max(CHUNK_STEPS * end - take.steps.start, 0) for end in (held.first, held.last))
    rotation_hz[first:last] = held.rotation_hz
    sureness = np.where(np.isfinite(rotation_hz), held.worth / max(last - first, 1), -8.0)
    orders = _audible_orders(course.voices.idle)
    return _refined(take.spectra, rotation_hz, sureness, orders), held


def worth_of(plateau: Plateau, take: HeardTake) -> float:
    """Log likelihood of the router's turning at a plateau's speed in all of it, not being off."""
    if take.course is None:
        return -math.inf
    chunks = slice(_chunk(take, plateau.start_s), _chunk(take, plateau.end_s))
    return take.course.sounding.worth(chunks, plateau.spindle_rpm / 60)


def voice_at(plateaus: tuple[Plateau, ...], heard: FreeHearing) -> Voices | None:
    """How the router sounds at speeds that are known, over all takes; None without a sound.

    The course knows its speeds to a quarter of a percent only, and may have followed another
    machine somewhere; what was matched to the settings is the router, and known much better.

    Alone in a quiet room nearly every order sounds, and a comb so dense lies on anybody's lines.
    The loudest are what is left of it beside another machine: the others are kept as silent.
    """
    fits = []
    for plateau in plateaus:
        take = heard.takes[plateau.take]
        first, last = (
            round(time_s / (2 * take.spectra.grid.step_s))
            for time_s in (plateau.start_s, plateau.end_s)
        )
        excess = take.spectra.excess[first:last]
        speed_rpm = heard.tracks[plateau.take].spindle_rpm[first : first + len(excess)]
        near = np.abs(speed_rpm / plateau.spindle_rpm - 1) < WANDER
        rotation_hz = np.where(near, speed_rpm, plateau.spindle_rpm) / 60
        fits.append(
            order_fits(order_excess(excess, rotation_hz=rotation_hz, grid=take.spectra.grid))
        )
    if not fits:
        return None
    every = np.concatenate(fits, axis=1)
    voice = learn_voice(every, np.ones(every.shape[1], bool))
    told = every[voice, :, np.arange(len(voice))].sum(axis=1)
    loudest = np.argsort(-told, kind="stable")[:VOICE_ORDERS]
    kept = np.full_like(voice, SILENT)
    kept[loudest] = voice[loudest]
    return Voices(kept, kept)


def _chunk(take: HeardTake, time_s: float) -> int:
    """The chunk of the course in which a moment of a take lies."""
    step = take.steps.start + time_s / (2 * take.spectra.grid.step_s)
    return int(np.clip(step, take.steps.start, take.steps.stop)) // CHUNK_STEPS


def _refined(
    frames: TakeSpectra,
    rotation_hz: FloatArray,
    sureness_of_step: FloatArray,
    orders: npt.NDArray[np.int64],
) -> SpindleTrack:
    """The last digits along a course of one take, `rotation_hz` of shape (steps,)."""
    count = len(frames.spectra)
    rotation, deviation = np.full(count, np.nan), np.full(count, np.nan)
    sureness = np.full(count, -8.0)
    if len(rotation_hz):
        sureness = sureness_of_step[np.minimum(np.arange(count) // 2, len(rotation_hz) - 1)]
    if np.isfinite(rotation_hz).any():
        coarse = sharpened(
            frames.excess,
            rotation_hz,
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
