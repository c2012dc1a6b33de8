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
AT_ONCE = 32  # steps: what is made of them stays in the processor's cache
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
    heights = np.full((len(rotation_hz), len(OFFSETS)), 0.0)
    heights[running] = line_heights(
        excess,
        rotation_hz[running],
        rows=running,
        orders=orders,
        offsets=OFFSETS,
        bin_hz=grid.bin_hz,
    )
    heights = uniform_filter1d(heights, SHARPEN_STEPS, axis=0, mode="nearest")
    sharp *= 1 + offset_of_top(heights, OFFSETS)
    out = np.full(frames, np.nan)
    for first, last in spans(np.isfinite(sharp)):
        smooth = uniform_filter1d(sharp[first:last], 3, mode="nearest")
        centres = 2 * np.arange(first, last) + 0.5
        end = frames if last == len(sharp) else 2 * last
        out[2 * first : end] = np.interp(np.arange(2 * first, end), centres, smooth)
    return out


def line_heights(
    excess: Excess,
    rotation_hz: FloatArray,
    *,
    rows: npt.NDArray[np.int64],
    orders: npt.NDArray[np.int64],
    offsets: FloatArray,
    bin_hz: float,
) -> FloatArray:
    """How high all orders' lines stand, nepers summed, at offsets from a track.

    Parameters
    ----------
    excess : array, shape (steps, bins)
        ln(power / floor).
    rotation_hz, rows : arrays, shape (n,)
        The track, and the rows of `excess` it belongs to.
    orders : array
    offsets : array
        As shares of the rotation.

    Returns
    -------
    array, shape (n, offsets)
    """
    flat, bins = np.ravel(excess), excess.shape[1]
    scale = np.asarray(orders[:, None, None] * (1 + offsets) / bin_hz, np.float32)
    heights = np.empty((len(rows), len(offsets)))
    for first in range(0, len(rows), AT_ONCE):
        some = slice(first, first + AT_ONCE)
        place = scale * rotation_hz[some, None].astype(np.float32)
        inside = place < bins - 2
        np.minimum(place, bins - 2, out=place)
        cell = np.rint(place)
        place -= cell
        here = cell.astype(np.int64)
        here += (rows[some] * bins)[:, None]
        low, at, high = (flat.take(here + shift) for shift in (-1, 0, 1))
        # A Hann line's top is a parabola in the logarithm, nearly.
        line = at + place / 2 * (high - low + place * (high - 2 * at + low))
        np.clip(line, 0, HIGHEST, out=line)
        line *= inside
        heights[some] = line.sum(axis=0)
    return heights


def offset_of_top(heights: FloatArray, offsets: FloatArray) -> FloatArray:
    """The offset at which each row of heights, shape (n, offsets), is highest, between them too."""
    best = np.clip(np.argmax(heights, axis=1), 1, len(offsets) - 2)
    row = np.arange(len(best))
    low, top, high = heights[row, best - 1], heights[row, best], heights[row, best + 1]
    bend = low - 2 * top + high
    part = np.where(bend < 0, (low - high) / np.where(bend < 0, 2 * bend, 1.0), 0.0)
    step = offsets[1] - offsets[0]
    return np.asarray(offsets[best] + step * np.clip(part, -0.5, 0.5))
