"""The last digits of the spindle speed: all orders' phases asked together.

The coarse path says within a fraction of a percent how fast the spindle turned. Taking
that rotation out leaves each order as a slowly turning phasor; how fast it still turns is
what the path is off by. Windows are doubled frame by frame as long as the longer answer
agrees with the shorter one (the intersection-of-confidence-intervals rule), so a steady
spindle is measured over seconds and a sagging one over tenths.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import accumulate, repeat
from typing import TypeVar

import numpy as np
import numpy.typing as npt
from scipy.ndimage import median_filter, uniform_filter1d

from analysis.hearing.spectra import FLOOR_EVERY, SpectrumGrid

FloatArray = npt.NDArray[np.float64]
AnyNumber = TypeVar("AnyNumber", np.float64, np.complex128)
ComplexArray = npt.NDArray[np.complex128]

HALF_WIDTHS = (1, 2, 4, 8, 16, 32, 64, 128, 256)  # frames to either side
FIRST_STEPS, LATER_STEPS = 4, 1  # Newton steps: a longer window starts near its answer
# Sum of the correlations between a Hann frame and its neighbours at a quarter frame:
# 1 + 2 (0.6592 + 0.1667 + 0.0075), from the window's autocorrelation.
OVERLAP_NOISE = 2.667
POOL_SHIFTS = (1, 2, 3, 4, 6, 8, 12, 16, 24, 32, 48, 64, 96, 128)  # frames
SCATTER_FRAMES = 17
MOST_SCATTER = 0.01  # of the rotation: more than that is a slip of one order
MOST_OF_BEND = 0.8  # one order's; what it differs by from the others shows that much less
FEW_ORDERS = 1.3  # Student's t over the normal at 95 %, for the five orders or so that tell most
COARSE_DEVIATION = 0.002  # of the path itself, as a share of the rotation
AROUND, SLIPPED = 9, 4  # frames; how many times shorter a slipped frame's window is
AGREE = 2.5  # standard deviations within which a longer window must agree


def order_phasors(
    spectra: npt.NDArray[np.complex64],
    log_floor: npt.NDArray[np.float32],  # every FLOOR_EVERY-th bin
    *,
    rotation_hz: FloatArray,
    orders: npt.NDArray[np.int64],
    grid: SpectrumGrid,
) -> ComplexArray:
    """Each order's amplitude and phase at the frames' centres, shape (frames, orders).

    White-noise units: noise alone has mean power 1. Orders above the top bin are 0.
    """
    place = rotation_hz[:, None] * orders[None, :] / grid.bin_hz
    inside = place < grid.bins - 2
    place = np.where(inside, place, 2.0)
    left = place.astype(np.int64)
    row = np.arange(len(rotation_hz))[:, None]
    out = np.zeros(place.shape, np.complex128)
    energy = np.zeros(place.shape)
    for shift in (0, 1):
        cell = left + shift
        gain = hann_kernel(cell - place)
        # The frame's phase counts from its first sample; (-1)^bin moves it to the centre.
        sign = 1 - 2 * (cell & 1)
        out += spectra[row, cell] * (gain * sign)
        energy += gain**2
    # Neighbouring Hann cells' noise is correlated by -2/3 (the sign is in the phase turn).
    left_gain, right_gain = hann_kernel(left - place), hann_kernel(left + 1 - place)
    energy += 2 * (2 / 3) * left_gain * right_gain
    out /= np.sqrt(energy)
    out *= np.exp(-0.5 * log_floor[row, left // FLOOR_EVERY])
    out[~inside] = 0
    return out


def hann_kernel(bins: FloatArray) -> FloatArray:
    """The Hann window's transform `bins` cells from its centre, 1 at the centre."""
    return np.asarray(np.sinc(bins) / (1 - np.minimum(bins**2, 0.999999)), np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class Refined:
    """Rotation frequency and its standard deviation at each frame of one stretch, Hz."""

    rotation_hz: FloatArray
    deviation_hz: FloatArray


def refine_stretch(
    phasors: ComplexArray,
    *,
    rotation_hz: FloatArray,
    orders: npt.NDArray[np.int64],
    step_s: float,
) -> Refined:
    """Refine the rotation along one running stretch.

    Parameters
    ----------
    phasors : array, shape (frames, orders)
        From `order_phasors`, read along `rotation_hz`.
    rotation_hz : array, shape (frames,)
        The path so far.
    orders : array, shape (orders,)
    step_s : float
        Seconds from frame to frame.
    """
    frames = len(rotation_hz)
    track = rotation_hz.copy()
    deviation = COARSE_DEVIATION * rotation_hz
    growing = np.ones(frames, bool)
    reach = np.ones(frames, np.int64)
    scatter = deviation
    for half in HALF_WIDTHS:
        if half > 1 and half >= frames:
            break
        found, peaked = track.copy(), growing.copy()
        sigma, apart = deviation.copy(), scatter.copy()
        # The early steps build on each other's answers all around; later windows stand alone.
        asked = np.flatnonzero(growing | (half <= 2))
        for _ in range(FIRST_STEPS if half <= 2 else LATER_STEPS):
            found[asked], sigma[asked], apart[asked], peaked[asked] = _newton_step(
                phasors, track=found, asked=asked, orders=orders, half=half, step_s=step_s
            )
        if half > 1:
            growing &= (np.abs(found - track) <= AGREE * deviation) | ~peaked
        accept = growing & peaked
        track = np.where(accept, found, track)
        deviation = np.where(accept, sigma, deviation)
        scatter = np.where(accept, apart, scatter)
        reach = np.where(accept, half, reach)
    # A frame that settled on a side peak cannot agree with any longer window, while those
    # around it reach far beyond it and agree: they know better.
    usual_reach = median_filter(reach, AROUND, mode="nearest")
    slipped = SLIPPED * reach <= usual_reach
    track = np.where(slipped, median_filter(track, AROUND, mode="nearest"), track)
    deviation = np.where(slipped, median_filter(deviation, AROUND, mode="nearest"), deviation)
    reach = np.where(slipped, usual_reach, reach)
    surer, borrowed = _pooled(track, deviation, reach)
    scatter = np.minimum(scatter, MOST_SCATTER * track)
    # A running sum may come out a rounding below nought.
    mean_square = np.maximum(uniform_filter1d(scatter**2, SCATTER_FRAMES, mode="nearest"), 0)
    scatter = np.sqrt(mean_square)
    return Refined(surer, np.maximum(borrowed, FEW_ORDERS * scatter))


def _pooled(
    track: FloatArray, deviation: FloatArray, reach: npt.NDArray[np.int64]
) -> tuple[FloatArray, FloatArray]:
    """Let frames whose window stopped growing early borrow from surer neighbours.

    A neighbour counts, by its inverse variance, if its own window reaches over this frame
    and its answer lies inside this frame's interval, which is what the window rule would
    have asked of it. Windows overlap: pooling makes no frame surer than its best source.
    """
    weight = 1 / deviation**2
    total, mean, best = weight.copy(), weight * track, deviation.copy()
    for shift in POOL_SHIFTS:
        if shift >= len(track):
            break
        for here, there in (
            (slice(shift, None), slice(None, -shift)),
            (slice(None, -shift), slice(shift, None)),
        ):
            agrees = np.abs(track[there] - track[here]) <= AGREE * deviation[here]
            agrees &= reach[there] >= shift
            borrowed = np.where(agrees, weight[there], 0.0)
            total[here] += borrowed
            mean[here] += borrowed * track[there]
            best[here] = np.where(agrees, np.minimum(best[here], deviation[there]), best[here])
    return mean / total, best


def _newton_step(
    phasors: ComplexArray,
    *,
    track: FloatArray,
    asked: npt.NDArray[np.int64],
    orders: npt.NDArray[np.int64],
    half: int,
    step_s: float,
) -> tuple[FloatArray, FloatArray, FloatArray, npt.NDArray[np.bool_]]:
    """One step towards the rotation that best stills all phasors in windows of 2 half + 1.

    Returns for the frames `asked` the rotation, its standard deviation in white noise, the same
    by how far the orders differ (jackknifed: a fan or a tooth does not keep to the shaft), and
    where the objective, the power of the windowed sum over all orders, bends down as it must
    near its peak.
    """
    frames = len(track)
    index = np.arange(frames)
    turn = 2 * np.pi * step_s
    turns = step_s * np.concatenate([[0.0], np.cumsum((track[1:] + track[:-1]) / 2)])
    # Each order's turn is a power of the first's: products are far cheaper than exponentials.
    once = np.exp(-2j * np.pi * turns)
    powers = list(accumulate(repeat(once, int(orders.max())), np.multiply))
    still = phasors * np.stack([powers[order - 1] for order in orders], axis=1)
    low = np.maximum(asked - half, 0)
    high = np.minimum(asked + half + 1, frames)
    count = (high - low).astype(np.float64)
    centre = (low + high - 1) / 2
    s0 = _window_sum(still, low, high)
    s1 = _window_sum(still * index[:, None], low, high)
    s2 = _window_sum(still * (index**2)[:, None], low, high)
    s2 += centre[:, None] * (centre[:, None] * s0 - 2 * s1)
    s1 -= centre[:, None] * s0
    slopes = orders * np.imag(np.conj(s0) * s1)
    bends = orders**2 * (np.abs(s1) ** 2 - np.real(np.conj(s0) * s2))
    bend = bends.sum(axis=1)
    peaked = bend < 0
    bend = np.where(peaked, bend, -1.0)
    turns_off = np.where(peaked, -slopes.sum(axis=1) / bend, 0.0)
    delta = turns_off / turn
    left = slopes + bends * turns_off[:, None]
    left /= 1 - np.clip(bends / bend[:, None], 0, MOST_OF_BEND)
    apart = np.sqrt((left**2).sum(axis=1)) / (-bend * turn)
    # The track's own mean over the window, weighted as a regression of its phase weighs it.
    spread = count * (count**2 - 1) / 12
    mean = _window_sum(turns * index, low, high) - centre * _window_sum(turns, low, high)
    mean /= spread * step_s
    power = np.abs(s0 / count[:, None]) ** 2 - OVERLAP_NOISE / count[:, None]
    power = np.maximum(power, 0)
    information = 2 * turn**2 * spread / OVERLAP_NOISE * (power * orders**2).sum(axis=1)
    limit = 0.002 * track[asked]
    found = mean + np.clip(delta, -limit, limit)
    return found, 1 / np.sqrt(np.maximum(information, 1e-9)), apart, peaked


def _window_sum(
    values: npt.NDArray[AnyNumber], low: npt.NDArray[np.int64], high: npt.NDArray[np.int64]
) -> npt.NDArray[AnyNumber]:
    total = np.empty((len(values) + 1, *values.shape[1:]), values.dtype)
    total[0] = 0
    np.cumsum(values, axis=0, out=total[1:])
    return np.asarray(total[high] - total[low])
