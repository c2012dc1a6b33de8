"""The spindle's speed over time: from the spectra of a stretch of sound to rpm."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from typing import TypeVar

import numpy as np
import numpy.typing as npt
from scipy.ndimage import binary_dilation, uniform_filter1d

from analysis.hearing.bridging import bridged, only_heard_in_cut
from analysis.hearing.counting import counted_otherwise, ratio_scores
from analysis.hearing.course import beyond_doubt, find_course
from analysis.hearing.gliding import followed_closely, glide_of, gliding, unbent
from analysis.hearing.impostors import is_hum, is_tune
from analysis.hearing.orders import AT_TIMES, Candidates, Voice
from analysis.hearing.path import OFF
from analysis.hearing.refine import order_phasors, refine_stretch
from analysis.hearing.search import HOP, Course, Search, Steps, spans
from analysis.hearing.sharpen import sharpened
from analysis.hearing.silence import without_silent_ends
from analysis.hearing.spectra import SpectrumGrid, against_floor, log_power
from analysis.hearing.states import tell_apart
from analysis.hearing.voice import Mask, Voices, order_fits, step_evidence

FloatArray = npt.NDArray[np.float64]
AnyValue = TypeVar("AnyValue", bound=np.generic)

LOADED = 2 / 3  # an unregulated router may lose a third of its speed in the cut
OVER_PLATE = 1.08  # and run this much over its plate when free
UNDER_PLATE = 0.92  # or, at the lowest setting, under it
ANY_ROUTER_RPM = (8_000.0, 35_000.0)
REFINED_ORDERS = 14
MUCH_THE_SAME = 0.97  # share of the steps
MIN_STEPS = 10  # half a second of sound
TEETH = 8
MIN_STRETCH_FRAMES = 6
# What no phase shows, 95 %: a router or a phone moved by 0.1 m/s shifts all tones by 3e-4, and
# mains ripple turns the shaft to and fro within a frame.
UNSEEN = 4e-4
SETTLED = 0.004  # change of speed over a second, as a share, below which it runs steadily
CLEAR_OF_PASS_S = 0.6


@dataclass(frozen=True, slots=True, eq=False)
class SpindleTrack:
    """Spindle speed on an even time grid.

    Attributes
    ----------
    time_s : array, shape (n,)
        Centres of the steps, at most 50 ms apart.
    spindle_rpm, spindle_rpm_u95 : arrays, shape (n,)
        Speed and the half-width of its 95 % interval; NaN where the router is off.
    confidence : array, shape (n,)
        0 to 1: how surely the router is what this step says it is.
    idle_rpm, idle_rpm_u95 : float or None
        Mean no-load speed; None if the router was never heard running free.
    """

    time_s: FloatArray
    spindle_rpm: FloatArray
    spindle_rpm_u95: FloatArray
    confidence: FloatArray
    idle_rpm: float | None
    idle_rpm_u95: float | None


@dataclass(frozen=True, slots=True, eq=False)
class Frames:
    """Spectra of a stretch of sound.

    Attributes
    ----------
    spectra : array, shape (frames, bins), complex64
    log_floor : array, shape (frames, every FLOOR_EVERY-th bin)
    bands : array, shape (frames, bands)
        Broadband levels, ln power.
    steps : Steps
        The same in the longer steps in which a course is sought.
    """

    grid: SpectrumGrid
    spectra: npt.NDArray[np.complex64]
    log_floor: npt.NDArray[np.float32]
    bands: npt.NDArray[np.float32]
    steps: Steps

    def over_standing_floor(self) -> Steps:
        """The steps over a floor that leaves ripples of the noise standing, and faint lines too."""
        excess, _ = against_floor(log_power(self.spectra), grid=self.grid, standing=True)
        return replace(self.steps, excess=excess)


def as_frames(
    spectra: npt.NDArray[np.complex64],
    log_powers: npt.NDArray[np.float32],
    bands: npt.NDArray[np.float32],
    *,
    grid: SpectrumGrid,
) -> Frames:
    """Set spectra, shape (frames, bins), against their floor."""
    excess, log_floors = against_floor(log_powers, grid=grid)
    pairs = 2 * len(excess)
    steps = Steps(
        grid=grid,
        excess=excess,
        log_floor=np.float32(0.5) * (log_floors[0:pairs:2] + log_floors[1:pairs:2]),
        bands=np.float32(0.5) * (bands[0:pairs:2] + bands[1:pairs:2]),
    )
    return Frames(grid, spectra, log_floors, bands, steps)


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


def candidate_range_hz(plate_range_rpm: tuple[float, float] | None) -> tuple[float, float]:
    """Rotation frequencies to look among: the plate's, less sag, plus tolerance."""
    low_rpm, high_rpm = plate_range_rpm or ANY_ROUTER_RPM
    return low_rpm * LOADED / 60, high_rpm * OVER_PLATE / 60


def free_range_hz(plate_range_rpm: tuple[float, float] | None) -> tuple[float, float]:
    """Rotation below and above which a router of that plate should not run free."""
    low_rpm, high_rpm = plate_range_rpm or ANY_ROUTER_RPM
    return UNDER_PLATE * low_rpm / 60, high_rpm / 60


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
    count = len(frames.spectra)
    sought = _sought(frames, flutes, plate_range_rpm, known=known, taught=taught)
    if sought is None or is_tune(*sought) or is_hum(*sought):
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
    search, course = sought
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


def _sought(
    frames: Frames,
    flutes: int | None,
    plate_range_rpm: tuple[float, float] | None,
    *,
    known: Voices | None,
    taught: Voices | None,
) -> tuple[Search, Course] | None:
    """The router's course, and what it was found in: over either floor, unless it is plain."""
    if len(frames.steps.excess) <= MIN_STEPS:
        return None
    search_over = partial(
        Search.over,
        candidates=Candidates.between(*candidate_range_hz(plate_range_rpm)),
        flutes=flutes,
        free_hz=free_range_hz(plate_range_rpm),
    )
    search = search_over(frames.steps)
    course = find_course(search, known, taught)
    if course is not None and (known is not None or beyond_doubt(course)):
        return search, course
    standing = search_over(frames.over_standing_floor())
    other = find_course(standing, known, taught)
    if other is None:
        return None if course is None else (search, course)
    if course is None or _goes_before(standing, other, search, course):
        return standing, other
    return search, course


def _goes_before(standing: Search, other: Course, search: Search, course: Course) -> bool:
    """Whether a course found over the standing floor is likelier than the other one.

    Each looked most like a router at work where it was sought. Where two such courses differ one
    has gone astray, mostly by little things, and it has less evidence on the floor that leaves
    nothing but lines standing. Where they count the same lines otherwise evidence says little:
    the ratio is weighed on both floors.
    """
    ratio = counted_otherwise(course, other)
    if ratio is not None:
        here, there = ratio_scores(search, course), ratio_scores(standing, other)
        back = min(there, key=lambda r: abs(r * ratio - 1))
        return there[1.0] - there[back] > here[1.0] - here.get(ratio, here[1.0])
    one, two = (tell_apart(search, c.path, guess=c.cutting) for c in (other, course))
    if np.mean(np.abs(other.path - course.path) <= HOP // 2) > MUCH_THE_SAME:
        return one.merit > two.merit  # they differ in what is the cut
    return one.evidence > two.evidence


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
    orders = _audible_orders(course.machine.voice)
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
) -> tuple[FloatArray, npt.NDArray[np.complex128]]:
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


def _audible_orders(voice: Voice) -> npt.NDArray[np.int64]:
    """The loudest orders of a voice, REFINED_ORDERS at most, the first always among them."""
    orders = np.flatnonzero(voice >= AT_TIMES) + 1
    loudest = orders[np.argsort(-voice[orders - 1], kind="stable")][:REFINED_ORDERS]
    return np.union1d(loudest, [1])


def spindle_track(
    *,
    rotation_hz: FloatArray,
    deviation_hz: FloatArray,
    sureness: FloatArray,
    contact: Mask,
    step_s: float,
) -> SpindleTrack:
    """The track as it is told: every other frame, in rpm, with the idle speed."""
    free = np.isfinite(rotation_hz) & ~binary_dilation(
        contact, iterations=max(1, round(CLEAR_OF_PASS_S / step_s))
    )
    idle_rpm, idle_rpm_u95 = idle_speed(
        rotation_hz=rotation_hz, deviation_hz=deviation_hz, free=free, step_s=step_s
    )
    with np.errstate(over="ignore"):
        there = 1 / (1 + np.exp(-uniform_filter1d(sureness, 9) / 2))
    running = np.isfinite(rotation_hz)
    keep = slice(None, None, 2)
    return SpindleTrack(
        time_s=step_s * np.arange(len(rotation_hz), dtype=np.float64)[keep],
        spindle_rpm=60 * rotation_hz[keep],
        spindle_rpm_u95=60 * np.hypot(1.96 * deviation_hz, UNSEEN * rotation_hz)[keep],
        confidence=np.where(running, there, 1 - there)[keep],
        idle_rpm=idle_rpm,
        idle_rpm_u95=idle_rpm_u95,
    )


def idle_speed(
    *, rotation_hz: FloatArray, deviation_hz: FloatArray, free: Mask, step_s: float
) -> tuple[float | None, float | None]:
    """Mean speed over the frames that run free and steadily, rpm, and its u95.

    Spin-up, coasting and recovery after a cut are left out: the speed there still changes.
    """
    second = max(2, round(1.0 / step_s))
    settled = np.zeros(len(free), bool)
    for first, last in spans(free):
        if last - first < second // 2:
            continue
        speed = uniform_filter1d(rotation_hz[first:last], 9, mode="nearest")
        lag = min(second // 2, (last - first - 1) // 2)
        change = np.abs(np.pad(speed[2 * lag :] / speed[: -2 * lag] - 1, lag, mode="edge"))
        settled[first:last] = change < SETTLED
    if settled.sum() < second // 2:
        settled = free
    if settled.sum() < 4:
        return None, None
    speeds = rotation_hz[settled]
    # Leave out what another speed setting or a slip of the course would add.
    usual = np.percentile(speeds, 50, method="higher")  # one of them, not what lies between two
    near = np.abs(speeds / usual - 1) < 0.02
    # The middle one: a frame whose window stopped growing early must not draw it.
    middle = float(np.median(speeds[near]))
    wander = np.std(speeds[near]) / np.sqrt(max(1.0, near.sum() * step_s))
    u95 = 1.96 * float(np.hypot(np.mean(deviation_hz[settled][near]), wander))
    return 60 * middle, 60 * u95
