"""Sound to short-time spectra on a grid fixed to the take, not to the blocks it came in."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, cached_property

import numpy as np
import numpy.typing as npt
import scipy.fft
import scipy.linalg
from scipy.ndimage import median_filter, uniform_filter1d

from analysis.errors import InputError

# Long enough to part the orders of an 80 Hz rotation, short enough that a spindle
# settling under load still draws sharp lines.
WINDOW_S = 0.0928
# Commutator and fan tones lie up to here; above it phones and codecs cut.
TOP_HZ = 10_000.0
# The floor is read over this much of the spectrum: several lines of a comb wide.
FLOOR_SPAN_HZ = 430.0
# A microphone's and a room's standing colour is told from lines by a median this wide.
COLOUR_SPAN_HZ = 180.0
# Of ripples of this span half is followed. What stands above the curve draws at it that little.
RIPPLE_SPAN_HZ = 170.0
ABOVE_WEIGHT, COLOUR_ROUNDS = 0.03, 8
FLOOR_FRAMES, BESIDE_FRAMES = 64, 32  # with one colour, and heard for it on either side; even
FLOOR_EVERY = 4  # bins: the floor is smooth, every fourth bin tells it
LOG_POWER_MIN = -46.0  # ln(1e-20): digital silence


@dataclass(frozen=True)
class SpectrumGrid:
    """The time and frequency grid for one sample rate.

    Frame ``m`` is centred on sample ``m * hop``; three quarters of it overlap its neighbour.
    """

    sample_rate_hz: float

    def __post_init__(self) -> None:
        if not 8_000 <= self.sample_rate_hz <= 192_000:
            raise InputError("sample rate (Hz)", self.sample_rate_hz, "8,000 to 192,000")

    @cached_property
    def hop(self) -> int:
        """Samples from frame to frame."""
        quarter = round(WINDOW_S * self.sample_rate_hz / 4)
        fast = scipy.fft.next_fast_len
        return next(n for n in range(quarter, 2 * quarter) if fast(4 * n, real=True) == 4 * n)

    @property
    def length(self) -> int:
        """Samples in a frame."""
        return 4 * self.hop

    @property
    def step_s(self) -> float:
        """Seconds from frame to frame."""
        return self.hop / self.sample_rate_hz

    @property
    def bin_hz(self) -> float:
        """Spacing of the frequency grid."""
        return self.sample_rate_hz / self.length

    @cached_property
    def bins(self) -> int:
        """Bins kept, from 0 Hz up."""
        return int(min(TOP_HZ, 0.46 * self.sample_rate_hz) / self.bin_hz) + 1

    @cached_property
    def window(self) -> npt.NDArray[np.float32]:
        """Periodic Hann window, sum of squares 1 (white noise keeps its variance)."""
        n = np.arange(self.length)
        hann = 0.5 - 0.5 * np.cos(2 * np.pi * n / self.length)
        return np.asarray(hann / np.sqrt(np.sum(hann**2)), np.float32)


class Framer:
    """Cuts blocks of any size into frames on the take's own grid."""

    def __init__(self, grid: SpectrumGrid) -> None:
        self.grid = grid
        self._held = [np.zeros(grid.length // 2, dtype=np.float32)]
        self._samples = grid.length // 2

    def frames(self, samples: npt.NDArray[np.float32], *, multiple: int) -> npt.NDArray[np.float32]:
        """Windowable frames that are now complete, shape (k * multiple, length).

        Only whole groups of `multiple` frames come out, so that what is computed from
        them cannot depend on the size of the blocks.
        """
        self._held.append(samples)
        self._samples += len(samples)
        grid = self.grid
        count = (self._samples - grid.length) // grid.hop + 1
        count = max(0, count // multiple * multiple)
        if not count:
            return np.zeros((0, grid.length), np.float32)
        held = np.concatenate(self._held)
        view = np.lib.stride_tricks.sliding_window_view(held, grid.length)
        out = view[: count * grid.hop : grid.hop]
        self._held = [held[count * grid.hop :]]
        self._samples -= count * grid.hop
        return out

    def rest(self) -> npt.NDArray[np.float32]:
        """The frames whose centre lies inside the take but whose end does not."""
        grid, held = self.grid, np.concatenate(self._held)
        self._held, self._samples = [np.zeros(0, np.float32)], 0
        after = len(held) - grid.length // 2  # sound after the first centre
        count = max(0, -(-after // grid.hop))
        padded = np.zeros((count - 1) * grid.hop + grid.length if count else 0, np.float32)
        padded[: len(held)] = held[: len(padded)]
        if not count:
            return np.zeros((0, grid.length), np.float32)
        view = np.lib.stride_tricks.sliding_window_view(padded, grid.length)
        return view[:: grid.hop]


def spectrum(frames: npt.NDArray[np.float32], *, grid: SpectrumGrid) -> npt.NDArray[np.complex64]:
    """Hann-windowed spectra of frames, all bins, shape (frames, length / 2 + 1)."""
    return scipy.fft.rfft(frames * grid.window, axis=1)


def log_power(spectra: npt.NDArray[np.complex64]) -> npt.NDArray[np.float32]:
    """Natural logarithm of the power in each cell."""
    power = spectra.real**2
    power += spectra.imag**2
    np.maximum(power, np.float32(np.exp(LOG_POWER_MIN)), out=power)
    return np.log(power, out=power)


def standing_colour(
    log_powers: npt.NDArray[np.float32], *, grid: SpectrumGrid
) -> npt.NDArray[np.float32]:
    """The standing shape of a stretch's spectrum without its lines, ln power, shape (bins,).

    A microphone falls off steeply at the bottom and a room has its hills; taken off first,
    they can't be mistaken for lines.
    """
    mean = log_powers[:: max(1, len(log_powers) // 800)].mean(axis=0)
    return np.asarray(median_filter(mean, round(COLOUR_SPAN_HZ / grid.bin_hz) | 1, mode="nearest"))


def rippled_colour(
    log_powers: npt.NDArray[np.float32],
    *,
    grid: SpectrumGrid,
    above: npt.NDArray[np.bool_] | None = None,
) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.bool_]]:
    """The shape of some seconds' spectra with the ripples in it, ln power, shape (bins,).

    A wall or a bench nearby ripples all of the noise like a comb, and the ripples move as the
    router, the phone and the hands do. A smooth curve along the mean's lower edge follows them
    and stays under the lines: asymmetric least squares (Eilers and Boelens, 2005 [memory]) with
    a penalty on its second differences. Also tells the bins that lie above it; from those `above`
    it just before, the one such curve is found in fewer rounds.
    """
    # A product of matrices sums far faster than a mean does.
    mean = np.full(len(log_powers), 1 / len(log_powers), np.float32) @ log_powers
    stiffness = (2 * np.sin(np.pi * grid.bin_hz / RIPPLE_SPAN_HZ)) ** -4
    bending = _second_differences(grid.bins) * stiffness
    diagonal = bending[0].copy()
    above = np.zeros(grid.bins, bool) if above is None else above
    for _ in range(COLOUR_ROUNDS):
        weight = np.where(above, ABOVE_WEIGHT, 1 - ABOVE_WEIGHT)
        bending[0] = diagonal + weight
        curve = scipy.linalg.solveh_banded(bending, weight * mean, lower=True, check_finite=False)
        was_above, above = above, mean > curve
        if np.array_equal(above, was_above):
            break
    return np.asarray(curve, np.float32), above


@cache
def _second_differences(count: int) -> npt.NDArray[np.float64]:
    """The sum of squared second differences as a quadratic form, lower bands, shape (3, count)."""
    bands = np.tile(np.array([[6.0], [-4.0], [1.0]]), count)
    bands[0, [0, -1]], bands[0, [1, -2]], bands[1, [0, -2]] = 1, 5, -2
    return bands


def against_floor(
    log_powers: npt.NDArray[np.float32], *, grid: SpectrumGrid, standing: bool = False
) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.float32]]:
    """Spectra against their floor, ln power, shape (frames, bins).

    The floor follows the ripples of the noise, or, if `standing`, only its standing shape.

    Returns
    -------
    excess : array, shape (frames // 2, bins)
        ln(power / floor), mean of two frames.
    log_floor : array, shape (frames, every FLOOR_EVERY-th bin)
    """
    standing_shape = standing_colour(log_powers, grid=grid) if standing else None
    frames, bins = log_powers.shape
    excess = np.empty((frames // 2, bins), np.float32)
    log_floors = np.empty((frames, -(-bins // FLOOR_EVERY)), np.float32)
    above = None
    for first in range(0, len(log_powers), FLOOR_FRAMES):
        part = log_powers[first : first + FLOOR_FRAMES]
        shape = standing_shape
        if shape is None:
            around = slice(max(0, first - BESIDE_FRAMES), first + FLOOR_FRAMES + BESIDE_FRAMES)
            shape, above = rippled_colour(log_powers[around], grid=grid, above=above)
        floor = log_floor(part, colour=shape, grid=grid)
        log_floors[first : first + FLOOR_FRAMES] = floor[:, ::FLOOR_EVERY]
        over = np.subtract(part, floor, out=floor)
        steps = excess[first // 2 : (first + FLOOR_FRAMES) // 2]
        np.add(over[0 : 2 * len(steps) : 2], over[1 : 2 * len(steps) : 2], out=steps)
        steps /= 2
    return excess, log_floors


def log_floor(
    log_powers: npt.NDArray[np.float32],
    *,
    colour: npt.NDArray[np.float32],
    grid: SpectrumGrid,
) -> npt.NDArray[np.float32]:
    """The broadband level under the lines, as natural log of mean noise power.

    A running mean of the log power, taken twice: the second time with what stands out
    of the first cut down, so that lines do not lift the floor they stand on. White noise
    comes out at its own power: the mean of the logarithm of an exponential variate lies
    Euler's gamma below the logarithm of its mean, and cutting at +0.9 takes another 0.12.
    """
    span = max(5, round(FLOOR_SPAN_HZ / grid.bin_hz) | 1)
    flat = log_powers - colour
    mean = uniform_filter1d(flat, span, axis=1, mode="nearest")
    mean += np.float32(0.9)
    np.minimum(flat, mean, out=flat)
    floor = uniform_filter1d(flat, span, axis=1, mode="nearest", output=mean)
    floor += colour + np.float32(0.5772 + 0.1166)
    return floor
