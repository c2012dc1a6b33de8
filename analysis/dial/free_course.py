"""The course of a router that runs free while its dial is turned, and its voice.

A take for calibration holds no cut to find the machine by, and its speeds span the whole
plate, so half, 3/2 and double can't be told apart plateau by plateau. But its lines keep
their distances on a log frequency axis, whatever the speed. So the steps are laid over each
other first, which gives all speeds against one another without counting an order; lines
that stay where they are belong to something else and drop out. The orders are counted once,
over the whole take.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.dial.moving_lines import (
    FEWEST_STEPS,
    LOUD,
    LOWEST_HZ,
    LogAxis,
    aligned_mean,
    log_axis,
    moving_lines,
    settled_steps,
    without_the_faint,
)
from analysis.dial.recount import recounted
from analysis.hearing.orders import (
    LOG_STEP,
    ORDERS,
    Candidates,
    Excess,
    Voice,
    order_excess,
)
from analysis.hearing.path import OFF
from analysis.hearing.spectra import SpectrumGrid
from analysis.hearing.spindle import ANY_ROUTER_RPM
from analysis.hearing.voice import Mask, Voices, learn_voice, order_fits

FloatArray = npt.NDArray[np.float64]

MOST_SPAN = 1.25  # a dial's highest speed over its lowest, against the plate's
BEYOND = 0.75, 1.3  # how far beyond the plate a speed may lie
PLATE_TOLERANCE = 0.08
COST_BEYOND = 150.0  # nats for each neper beyond that
NEAR = 0.02  # neper
AUDIBLE = 1.0  # nepers over the median
ORDER_CLEAR = 0.2  # nepers over the median at which an order begins to count
MOST_GAIN = 6.0  # nats one order can bring: one line must not outvote the rest
EXPECTED_LINES = 5.0
COUNT_CLEAR = 3.0  # nats by which the count of orders must beat the next


@dataclass(frozen=True, slots=True, eq=False)
class FreeCourse:
    """What a router did and sounds like, running free.

    Attributes
    ----------
    rotation_hz : array, shape (steps,)
        To a quarter of a percent; NaN where off.
    sureness : array, shape (steps,)
        Log likelihood of the lines' being there.
    voices : Voices
        Both are the same voice: nothing was cut.
    rival_ratio : float or None
        Another multiple of all speeds that explains the lines about as well.
    """

    rotation_hz: FloatArray
    sureness: FloatArray
    voices: Voices
    rival_ratio: float | None


@dataclass(frozen=True, slots=True, eq=False)
class _Search:
    """Where to look."""

    excess: Excess
    grid: SpectrumGrid
    candidates: Candidates
    plate_hz: tuple[float, float]


def find_free_course(
    excess: Excess, *, grid: SpectrumGrid, plate_range_rpm: tuple[float, float] | None
) -> FreeCourse | None:
    """Find the course of a machine running free, or None where no set of lines moves together.

    Parameters
    ----------
    excess : array, shape (steps, bins)
        ln(power / floor), from `take_spectra`; several takes may follow one another.
    grid : SpectrumGrid
    plate_range_rpm : (float, float) or None
        No-load speeds on the router's plate. Plates are wrong at times: counts of the orders
        that leave it are unlikelier, the farther the more, not impossible.

    Notes
    -----
    1. The steps' spectra on a log axis, without lines that stay where they are; without those
       of a machine that runs on by itself, if they led astray.
    2. The steadiest second or so seeds a set of lines.
    3. Path of the shifts that bring every step onto the lines; the lines are then learned
       anew from all steps, and so on, ROUNDS times.
    4. The rotation that makes orders of the lines, all settled speeds inside the plate.
    5. The voice along that path.
    """
    low_rpm, high_rpm = plate_range_rpm or ANY_ROUTER_RPM
    plate_hz = low_rpm / 60, high_rpm / 60
    candidates = Candidates.between(BEYOND[0] * plate_hz[0], BEYOND[1] * plate_hz[1])
    search = _Search(excess, grid, candidates, plate_hz)
    reach = int(np.log(MOST_SPAN * high_rpm / low_rpm) / LOG_STEP)
    axis = log_axis(excess, grid=grid, reach=reach)
    if len(axis.excess) < FEWEST_STEPS:
        return None
    found = moving_lines(axis)
    path = without_the_faint(found)
    settled = settled_steps(path)
    if settled.sum() < FEWEST_STEPS:
        return None
    counted = _count_orders(found.mean, path, settled, axis, search)
    if counted is None:
        return None
    first_hz, rival_ratio = counted
    first_hz = _on_the_tops(first_hz, aligned_mean(axis, path), axis.reach)
    on = path != OFF
    rotation_hz = np.where(on, first_hz * np.exp(LOG_STEP * (path - axis.reach)), np.nan)
    low_hz, high_hz = plate_hz
    rotation_hz = recounted(
        rotation_hz,
        settled=settled,
        excess=excess,
        grid=grid,
        range_hz=(low_hz * (1 - PLATE_TOLERANCE), high_hz * (1 + PLATE_TOLERANCE)),
    )
    voice = _voice(rotation_hz, search)
    return FreeCourse(rotation_hz, found.sureness, Voices(voice, voice), rival_ratio)


def _voice(rotation_hz: FloatArray, search: _Search) -> Voice:
    candidates = search.candidates
    index = np.log(np.nan_to_num(rotation_hz, nan=1.0) / candidates.lowest_hz) / LOG_STEP
    index = np.rint(index).astype(np.int64)
    on = np.isfinite(rotation_hz) & (index >= 0) & (index < candidates.count)
    heard_hz = np.where(on, rotation_hz, candidates.lowest_hz)
    orders = order_excess(search.excess, rotation_hz=heard_hz, grid=search.grid)
    return learn_voice(order_fits(orders), on)


def _count_orders(
    mean: FloatArray, path: npt.NDArray[np.int64], steps: Mask, axis: LogAxis, search: _Search
) -> tuple[float, float | None] | None:
    """Rotation at the seed's own shift, Hz, and the ratio of a rival count if there is one."""
    candidates = search.candidates
    shift = path[steps] - axis.reach
    slowest, middle, fastest = np.percentile(shift, [1, 50, 99])
    low = np.log(candidates.lowest_hz) - LOG_STEP * slowest
    high = np.log(candidates.rotation_hz[-1]) - LOG_STEP * fastest
    if high < low:
        return None
    rotations = np.exp(np.arange(low, high + LOG_STEP / 4, LOG_STEP / 4))
    scores = np.array(
        [_score(mean, hz, axis.reach, int(steps.sum()), middle, search) for hz in rotations]
    )
    low_hz, high_hz = np.log(search.plate_hz)
    turns = np.log(rotations)
    below = low_hz - (turns + LOG_STEP * slowest) - PLATE_TOLERANCE
    above = turns + LOG_STEP * fastest - high_hz - PLATE_TOLERANCE
    scores -= COST_BEYOND * np.maximum(np.maximum(below, above), 0)
    best = int(np.argmax(scores))
    apart = np.abs(np.log(rotations / rotations[best])) > 0.02
    if not apart.any():
        return float(rotations[best]), None
    rival = int(np.argmax(np.where(apart, scores, -np.inf)))
    close = scores[best] - scores[rival] < COUNT_CLEAR
    return float(rotations[best]), float(rotations[rival] / rotations[best]) if close else None


def _on_the_tops(rotation_hz: float, mean: FloatArray, reach: int) -> float:
    """Move a rotation by up to NEAR to where the mean excess at its audible orders is highest."""
    heard = np.median(mean[np.isfinite(mean)])
    near = rotation_hz * np.exp(np.linspace(-NEAR, NEAR, 2 * round(NEAR / LOG_STEP) * 4 + 1))
    at = np.array([_at_orders(mean, hz, reach) for hz in near])
    audible = np.nanmax(np.where(np.isfinite(at), at, -9.0), axis=0) > heard + AUDIBLE
    if not audible.any():
        return rotation_hz
    return float(near[np.argmax(np.nansum(at[:, audible], axis=1))])


def _at_orders(mean: FloatArray, rotation_hz: float, reach: int) -> FloatArray:
    """Mean excess at each order of a rotation, NaN where it is not known."""
    place = np.log(rotation_hz * ORDERS / LOWEST_HZ) / LOG_STEP + reach
    left = np.clip(place.astype(np.int64), 0, len(mean) - 2)
    weight = place - left
    at = mean[left] * (1 - weight) + mean[left + 1] * weight
    return np.where((place >= 0) & (place < len(mean) - 1), at, np.nan)


def _score(
    mean: FloatArray, rotation_hz: float, reach: int, steps: int, middle: float, search: _Search
) -> float:
    """How well the lines are orders of a rotation, nats.

    A machine running free has its first orders, and a few more whichever; what stands out
    beyond the cap still counts a little, so that the middle of a line beats its flank.
    """
    at = _at_orders(mean, rotation_hz, reach)
    floor = float(np.nanmedian(mean)) + ORDER_CLEAR + 2 / np.sqrt(max(steps, 1) / 2)
    gains = np.clip((at - floor) / 0.1, 0, MOST_GAIN)
    top_hz = search.grid.bins * search.grid.bin_hz
    typical_hz = rotation_hz * float(np.exp(LOG_STEP * middle))
    chance = np.full(len(ORDERS), min(0.3, EXPECTED_LINES * typical_hz / top_hz))
    chance[:2] = 0.8, 0.6
    score = float(np.nansum(np.log(1 - chance + chance * np.exp(gains))))
    return score + 0.5 * float(np.nansum(np.clip(at, 0, LOUD)))
