"""From a course on a coarse grid to one near enough for phases to tell the rest."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.ndimage import uniform_filter1d

from analysis.hearing.orders import Excess, FloatArray
from analysis.hearing.search import spans
from analysis.hearing.spectra import SpectrumGrid

OFFSETS = np.linspace(-0.005, 0.005, 21)
HIGHEST = 12.0  # nepers: above any line met
SHARPEN_STEPS = 7  # about a third of a second


def sharpened(
    excess: Excess,
    rotation_hz: FloatArray,
    *,
    orders: npt.NDArray[np.int64],
    grid: SpectrumGrid,
    frames: int,
) -> FloatArray:
    """The course at every frame, to a fraction of its steps of a quarter of a percent.

    Phases tell the last digits, but only from a start near enough that the highest order
    can't slip a turn. So each step first moves to where its lines' tops are.

    Parameters
    ----------
    excess : array, shape (steps, bins)
        ln(power / floor) in steps of two frames.
    rotation_hz : array, shape (steps,)
        The course; NaN where off.
    orders : array
        The audible orders.
    frames : int
        Frames to tell the course at; there may be one more than two a step.

    Returns
    -------
    array, shape (frames,)
        Rotation, Hz; NaN where off.
    """
    running = np.flatnonzero(np.isfinite(rotation_hz))
    sharp = rotation_hz.copy()
    bin_hz, bins = grid.bin_hz, grid.bins
    heights = []
    for offset in OFFSETS:
        place = (1 + offset) * rotation_hz[running, None] * orders / bin_hz
        inside = place < bins - 2
        cell = np.where(inside, np.rint(place), 1).astype(np.int64)
        aside = np.where(inside, place, 1) - cell
        rows = running[:, None]
        low, at, high = (excess[rows, cell + shift] for shift in (-1, 0, 1))
        # A Hann line's top is a parabola in the logarithm, nearly.
        top = at + aside * (high - low) / 2 + aside**2 * (high - 2 * at + low) / 2
        heights.append(np.where(inside, np.clip(top, 0, HIGHEST), 0).sum(axis=1))
    height = np.full((len(rotation_hz), len(OFFSETS)), 0.0)
    height[running] = np.transpose(heights)
    height = uniform_filter1d(height, SHARPEN_STEPS, axis=0, mode="nearest")
    best = np.clip(np.argmax(height, axis=1), 1, len(OFFSETS) - 2)
    row = np.arange(len(best))
    low, top, high = height[row, best - 1], height[row, best], height[row, best + 1]
    bend = low - 2 * top + high
    part = np.where(bend < 0, (low - high) / np.where(bend < 0, 2 * bend, 1.0), 0.0)
    step = OFFSETS[1] - OFFSETS[0]
    sharp *= 1 + OFFSETS[best] + step * np.clip(part, -0.5, 0.5)
    out = np.full(frames, np.nan)
    for first, last in spans(np.isfinite(sharp)):
        smooth = uniform_filter1d(sharp[first:last], 3, mode="nearest")
        centres = 2 * np.arange(first, last) + 0.5
        end = frames if last == len(sharp) else 2 * last
        out[2 * first : end] = np.interp(np.arange(2 * first, end), centres, smooth)
    return out
