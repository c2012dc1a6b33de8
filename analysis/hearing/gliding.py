"""Where the speed glides: frames unbent, so that every order's line stands still in them.

A motor that gives way changes its speed by a tenth in the time of a few frames. Its high orders
then sweep over many bins within one frame and are lost. Read along a clock that runs with the
spindle, a frame holds them as sharp lines again.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import numpy.typing as npt
import scipy.fft
from scipy.ndimage import binary_dilation, uniform_filter1d

from analysis.hearing.orders import FloatArray
from analysis.hearing.search import spans
from analysis.hearing.sharpen import line_heights, offset_of_top
from analysis.hearing.spectra import FLOOR_EVERY, SpectrumGrid

Spectra = npt.NDArray[np.complex64]
Mask = npt.NDArray[np.bool_]

GLIDES = 0.06  # share of the speed in a second: the tenth order moves by half a bin in a frame
AROUND_FRAMES = 5
SHORTEST_FRAMES = 8
FINER = 2  # times as many samples as bins need: read between them along a straight line
NOTICED = 0.03  # change of glide below which frames are not unbent anew
AT_ONCE = 16  # frames: what is made of them stays in the processor's cache
# Round after round: offsets from the track so far, as a share, and how many of them are tried.
ROUNDS = ((0.02, 41), (0.008, 17))
SMOOTH_FRAMES = 5  # of the heights along the track
CURVE_FRAMES = 7  # a sixth of a second is a parabola
JOINED_FRAMES = 4


def gliding(rotation_hz: FloatArray, *, step_s: float) -> Mask:
    """Frames in which a running stretch's speed changes fast, and those about them."""
    fast = np.zeros(len(rotation_hz), bool)
    for first, end in spans(np.isfinite(rotation_hz)):
        if end - first > SHORTEST_FRAMES:
            rate = glide_of(rotation_hz[first:end], step_s=step_s)
            near = binary_dilation(np.abs(rate) > GLIDES, iterations=AROUND_FRAMES)
            for a, b in spans(near):
                fast[first + a : first + b] = b - a >= SHORTEST_FRAMES
    return fast


def glide_of(rotation_hz: FloatArray, *, step_s: float) -> FloatArray:
    """Change of speed, as a share of it in a second, shape (frames,)."""
    return np.asarray(_along_curves(rotation_hz, slope=True) / (step_s * rotation_hz))


def _along_curves(values: FloatArray, *, slope: bool = False) -> FloatArray:
    """A parabola's value or slope at each frame, fitted to those about it, shape (frames,)."""
    weights, half = _curve_weights(slope=slope), CURVE_FRAMES // 2
    middle = np.correlate(values, weights[half])
    first, last = weights[:half] @ values[:CURVE_FRAMES], weights[-half:] @ values[-CURVE_FRAMES:]
    return np.concatenate([first, middle, last])


@cache
def _curve_weights(*, slope: bool) -> FloatArray:
    """Weights of CURVE_FRAMES values in the fitted value or slope at each of them."""
    place = np.arange(CURVE_FRAMES, dtype=np.float64)
    powers = np.vander(place, 3, increasing=True)
    at = np.stack([0 * place, 0 * place + 1, 2 * place], axis=1) if slope else powers
    return np.asarray(at @ np.linalg.pinv(powers))


def unbent(spectra: Spectra, glide: FloatArray, *, grid: SpectrumGrid) -> Spectra:
    """Spectra of frames on a clock that runs with the spindle, and with true time at the centre.

    A tone of frequency f there, changing by ``glide * f`` in a second, becomes a line at f.

    Parameters
    ----------
    spectra : array, shape (frames, bins)
        All bins from 0 Hz up to where tones are asked for.
    glide : array, shape (frames,)
        Share of the speed by which it changes in a second.
    """
    bins = spectra.shape[1]
    count = scipy.fft.next_fast_len(2 * FINER * bins, real=True)
    frame_s = grid.length / grid.sample_rate_hz
    place = np.arange(count, dtype=np.float32)
    clock_s = (place - count / 2) * (frame_s / count)
    second, third = (count / frame_s / 2 * clock_s**power for power in (2, 3))
    straight = np.empty_like(spectra)
    for first in range(0, len(spectra), AT_ONCE):
        some = slice(first, first + AT_ONCE)
        sound = scipy.fft.irfft(spectra[some], n=count, axis=1)
        rate = glide[some, None].astype(np.float32)
        # The time t at which t + rate t^2 / 2 is what the clock shows, to third order.
        bent = place - rate * second + rate**2 * third
        straight[some] = scipy.fft.rfft(_read_between(sound, bent), axis=1)[:, :bins]
    return straight


def _read_between(
    values: npt.NDArray[np.float32], place: npt.NDArray[np.float32]
) -> npt.NDArray[np.float32]:
    """Each row's values at places between them, along straight lines, shape as both."""
    rows, count = values.shape
    np.clip(place, 0, count - 1.001, out=place)
    left = place.astype(np.int32)
    place -= left.astype(np.float32)
    cell = np.add(left, count * np.arange(rows)[:, None])
    low = values.take(cell)
    cell += 1
    between: npt.NDArray[np.float32] = values.take(cell)
    between -= low
    between *= place
    between += low
    return between


def followed_closely(
    spectra: Spectra,
    log_floor: npt.NDArray[np.float32],
    rotation_hz: FloatArray,
    *,
    orders: npt.NDArray[np.int64],
    grid: SpectrumGrid,
) -> tuple[FloatArray, Spectra]:
    """One gliding stretch: its track, moved to where its unbent lines stand highest, and these.

    Parameters
    ----------
    spectra : array, shape (frames, bins)
    log_floor : array, shape (frames, every FLOOR_EVERY-th bin)
    rotation_hz : array, shape (frames,)
        The track so far.
    orders : array
        The audible orders.

    Returns
    -------
    track : array, shape (frames,)
    straight : array, shape (frames, bins)
        The spectra unbent along it, as far as the orders reach.
    """
    track, count = rotation_hz, len(rotation_hz)
    rows = np.arange(count)
    highest_hz = (1 + 2 * ROUNDS[0][0]) * float(rotation_hz.max() * orders.max())
    straight = spectra[:, : int(highest_hz / grid.bin_hz) + 4].copy()
    glide = np.zeros(count)  # by which they are unbent so far
    for most, tries in ROUNDS:
        _unbend_on(straight, glide, spectra, track, grid=grid)
        levels = np.log(straight.real**2 + straight.imag**2 + np.float32(1e-20))
        levels -= np.repeat(log_floor, FLOOR_EVERY, axis=1)[:, : levels.shape[1]]
        offsets = np.linspace(-most, most, tries)
        heights = line_heights(
            levels, track, rows=rows, orders=orders, offsets=offsets, bin_hz=grid.bin_hz
        )
        heights = uniform_filter1d(heights, SMOOTH_FRAMES, axis=0, mode="nearest")
        track = track * (1 + offset_of_top(heights, offsets))
        track = _along_curves(track)
    inside = np.minimum(rows, rows[::-1])
    share = np.minimum(1.0, inside / JOINED_FRAMES)
    track = share * track + (1 - share) * rotation_hz
    _unbend_on(straight, glide, spectra, track, grid=grid)
    return track, straight


def _unbend_on(
    straight: Spectra,
    glide: FloatArray,
    spectra: Spectra,
    track: FloatArray,
    *,
    grid: SpectrumGrid,
) -> None:
    """Unbend anew, in place, the spectra whose glide along a track is not what it was."""
    now = glide_of(track, step_s=grid.step_s)
    anew = np.abs(now - glide) > NOTICED
    straight[anew] = unbent(spectra[anew, : straight.shape[1]], now[anew], grid=grid)
    glide[anew] = now[anew]
