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
Phasors = npt.NDArray[np.complex64]

HALF_WIDTHS = (1, 2, 4, 8, 16, 32, 64, 128, 256)  # frames to either side
FIRST_STEPS, LATER_STEPS = 4, 1  # Newton steps: a longer window starts near its answer
# Sum of the correlations between a Hann frame and its neighbours at a quarter frame:
# 1 + 2 (0.6592 + 0.1667 + 0.0075), from the window's autocorrelation.
OVERLAP_NOISE = 2.667
NEARBY = 4  # frames to either side of a window that is cheaper summed frame by frame
POOL_SHIFTS = (1, 2, 3, 4, 6, 8, 12, 16, 24, 32, 48, 64, 96, 128)  # frames
SCATTER_FRAMES = 17
MOST_SCATTER = 0.01  # of the rotation: more than that is a slip of one order
MOST_OF_BEND = 0.8  # one order's; what it differs by from the others shows that much less
FEW_ORDERS = 1.3  # Student's t over the normal at 95 %, for the five orders or so that tell most
COARSE_DEVIATION = 0.002  # of the path itself, as a share of the rotation
AROUND, SLIPPED = 9, 4  # frames; how many times shorter a slipped frame's window is
FEW_GROWING = 0.1  # share of the frames: if no more windows grow, their growing is chance
AGREE = 2.5  # standard deviations within which a longer window must agree


def order_phasors(
    spectra: npt.NDArray[np.complex64],
    log_floor: npt.NDArray[np.float32],  # every FLOOR_EVERY-th bin
    *,
    rotation_hz: FloatArray,
    orders: npt.NDArray[np.int64],
    grid: SpectrumGrid,
) -> Phasors:
    """Each order's amplitude and phase at the frames' centres, shape (frames, orders).

    White-noise units: noise alone has mean power 1. Orders above the top bin are 0.
    """
    place = rotation_hz[:, None] * orders[None, :] / grid.bin_hz
    inside = place < spectra.shape[1] - 2
    place = np.where(inside, place, 2.0)
    left = place.astype(np.int64)
    row = np.arange(len(rotation_hz))[:, None]
    gain, next_gain = hann_kernel(left - place), hann_kernel(left + 1 - place)
    out = spectra[row, left] * gain - spectra[row, left + 1] * next_gain
    # The frame's phase counts from its first sample; (-1)^bin moves it to the centre.
    out *= 1 - 2 * (left & 1)
    # Neighbouring Hann cells' noise is correlated by -2/3 (the sign is in the phase turn).
    out /= np.sqrt(gain**2 + next_gain**2 + 2 * (2 / 3) * gain * next_gain)
    out *= np.exp(-0.5 * log_floor[row, left // FLOOR_EVERY])
    out[~inside] = 0
    return out.astype(np.complex64)


def hann_kernel(bins: FloatArray) -> FloatArray:
    """The Hann window's transform `bins` cells from its centre, 1 at the centre."""
    return np.asarray(np.sinc(bins) / (1 - np.minimum(bins**2, 0.999999)), np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class Refined:
    """Rotation frequency and its standard deviation at each frame of one stretch, Hz."""

    rotation_hz: FloatArray
    deviation_hz: FloatArray


def refine_stretch(
    phasors: Phasors,
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
    along = np.ascontiguousarray(phasors.T)  # sums run along the frames
    track = rotation_hz.copy()
    deviation = COARSE_DEVIATION * rotation_hz
    growing = np.ones(frames, bool)
    reach = np.ones(frames, np.int64)
    scatter = deviation
    for half in HALF_WIDTHS:
        if half > 1 and (half >= frames or np.mean(growing) <= FEW_GROWING):
            break
        found = track
        for _ in range(FIRST_STEPS if half <= 2 else LATER_STEPS):
            found, sigma, apart, peaked = _newton_step(
                along, track=found, orders=orders, half=half, step_s=step_s
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
    phasors: Phasors,
    *,
    track: FloatArray,
    orders: npt.NDArray[np.int64],
    half: int,
    step_s: float,
) -> tuple[FloatArray, FloatArray, FloatArray, npt.NDArray[np.bool_]]:
    """One step towards the rotation that best stills all phasors in windows of 2 half + 1.

    `phasors` has shape (orders, frames).

    Returns for each frame the rotation, its standard deviation in white noise, the same by how
    far the orders differ (jackknifed: a fan or a tooth does not keep to the shaft), and where
    the objective, the power of the windowed sum over all orders, bends down as it must near its
    peak.
    """
    turn = 2 * np.pi * step_s
    turns = step_s * np.concatenate([[0.0], np.cumsum((track[1:] + track[:-1]) / 2)])
    # Each order's turn is a power of the first's: products are far cheaper than exponentials.
    once = np.exp(-2j * np.pi * turns).astype(np.complex64)
    powers = list(accumulate(repeat(once, int(orders.max())), np.multiply))
    still = phasors * np.array([powers[order - 1] for order in orders])
    # The power's slope and bend are the same wherever frames are counted from.
    s0, s1, s2 = (_moments_nearby if half <= NEARBY else _moments)(still, half)
    index = np.arange(len(track)) - (len(track) - 1) / 2
    low, high = np.maximum(index - half, index[0]), np.minimum(index + half, index[-1])
    count, centre = high - low + 1, (low + high) / 2
    weights = orders.astype(np.float32)[:, None]
    slopes = s0.real * s1.imag - s0.imag * s1.real
    slopes *= weights
    bends = s1.real**2 + s1.imag**2 - s0.real * s2.real - s0.imag * s2.imag
    bends *= weights**2
    bend = bends.sum(axis=0)
    peaked = bend < 0
    bend = np.where(peaked, bend, -1.0)
    turns_off = np.where(peaked, -slopes.sum(axis=0) / bend, 0.0)
    delta = turns_off / turn
    left = slopes + bends * turns_off
    left /= 1 - np.clip(bends / bend, 0, MOST_OF_BEND)
    apart = np.sqrt((left**2).sum(axis=0)) / (-bend * turn)
    # The track's own mean over the window, weighted as a regression of its phase weighs it.
    spread = count * (count**2 - 1) / 12
    sums = _window_sum(np.stack([turns, turns * index]), half)
    mean = (sums[1] - centre * sums[0]) / (spread * step_s)
    noise = (OVERLAP_NOISE * count).astype(np.float32)
    power = weights[:, 0] ** 2 @ np.maximum(s0.real**2 + s0.imag**2 - noise, 0)
    information = 2 * turn**2 * spread / OVERLAP_NOISE * power / count**2
    limit = 0.002 * track
    found = mean + np.clip(delta, -limit, limit)
    return found, 1 / np.sqrt(np.maximum(information, 1e-9)), apart, peaked


def _moments_nearby(still: Phasors, half: int) -> tuple[Phasors, Phasors, Phasors]:
    """`_moments` counted from each window's middle, summed frame by frame: short windows' way."""
    orders, frames = still.shape
    padded = np.zeros((orders, frames + 2 * half), still.dtype)
    padded[:, half : half + frames] = still
    s0, s1, s2 = still.copy(), np.zeros_like(still), np.zeros_like(still)
    for away in range(1, half + 1):
        after = padded[:, half + away : half + away + frames]
        before = padded[:, half - away : half - away + frames]
        both = after + before
        s0 += both
        s1 += away * (after - before)
        s2 += away**2 * both
    return s0, s1, s2


def _moments(still: Phasors, half: int) -> tuple[ComplexArray, ComplexArray, ComplexArray]:
    """Sums over windows of phasors, times frame number, and times that squared."""
    index = np.arange(still.shape[1]) - still.shape[1] / 2
    once = np.asarray(still, np.complex128)  # sums that grow long
    first = once * index
    return _window_sum(once, half), _window_sum(first, half), _window_sum(first * index, half)


def _window_sum(values: npt.NDArray[AnyNumber], half: int) -> npt.NDArray[AnyNumber]:
    """Sums along rows over `half` places to either side, less where they end, shape as `values`."""
    rows, count = values.shape
    total = np.zeros((rows, count + 2 * half + 1), values.dtype)
    np.cumsum(values, axis=1, out=total[:, half + 1 : half + 1 + count])
    total[:, half + 1 + count :] = total[:, half + count, None]
    return total[:, 2 * half + 1 :] - total[:, :count]
