"""Lines that move together: the speeds of a machine against one another, no order counted.

On a log frequency axis a machine's lines keep their distances at any speed. So the steps of a
take are laid over each other, by shifts, until the lines of all of them fall together.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.ndimage import maximum_filter1d, uniform_filter1d
from scipy.signal import find_peaks

from analysis.hearing.orders import (
    LEARNABLE,
    LOG_STEP,
    SILENT,
    Excess,
    levels,
    sounding_tables,
)
from analysis.hearing.path import OFF, best_path
from analysis.hearing.search import spans
from analysis.hearing.spectra import SpectrumGrid
from analysis.hearing.voice import Mask

FloatArray = npt.NDArray[np.float64]
Cells = npt.NDArray[np.int64]

LOWEST_HZ = 110.0  # below lies no router's first order, but mains and rumble
EVIDENCE = 0.5  # neighbouring steps share half their sound
GLIDE, SWITCH = 0.1, 12.0
SEED_OFFSET = 1.0  # what a comb of clipped gains wins from noise alone
ROUNDS = 5
LAG_STEPS = 8  # about 0.4 s
SEED_STEPS = 31
SMOOTH_STEPS = 9
STEADY_REACH = 8  # cells: a vacuum wanders by 2 %
STEADY_SHARE, STEADY_LINES, STEADY_LOUD = 0.5, 2, 0.8
BLANK_CELLS = 2
LEFT = 0.62  # share of its worth that a course of the router's own keeps
NOISE = -0.6  # ln(power / floor) of nothing
MOSTLY = 0.6
STAYS, STAYS_CLEAR = 60, 0.3  # percent of the take, nepers
MOST_LINES = 30
LINE_APART = 4  # cells of 0.25 %
BINS_APART = 2.0  # lines nearer than that are one
LINE_OUT = 0.25, 4.5  # nepers a line must stand out, at least, and in standard deviations
LOUD = 3.0
SETTLED_CELLS, SETTLED_STEPS = 1.5, 24
FEWEST_STEPS = 20
ROWS_AT_ONCE = 64  # keeps the sums in the processor's cache
HOP_CELLS = 16  # a leap of 4 % from one step to the next
FAINT = 0.22


@dataclass(frozen=True, slots=True, eq=False)
class LogAxis:
    """A take on a log frequency axis.

    Cell ``c`` is LOWEST_HZ * exp(c * LOG_STEP).

    Attributes
    ----------
    excess, level : arrays, shape (steps, cells)
        ln(power / floor), and its place in the tables of soundings.
    reach : int
        Cells by which two speeds can differ.
    bin_hz : float
        Spacing of the spectra it was read from.
    """

    excess: npt.NDArray[np.float32]
    level: npt.NDArray[np.uint8]
    reach: int
    bin_hz: float


def log_axis(excess: Excess, *, grid: SpectrumGrid, reach: int) -> LogAxis:
    """Lay excess, shape (steps, bins), on the log axis."""
    cells = int(np.log((grid.bins - 2) * grid.bin_hz / LOWEST_HZ) / LOG_STEP)
    place = LOWEST_HZ * np.exp(LOG_STEP * np.arange(cells)) / grid.bin_hz
    left = place.astype(np.int64)
    weight = (place - left).astype(np.float32)
    on_axis = excess[:, left] * (1 - weight) + excess[:, left + 1] * weight
    return LogAxis(on_axis, levels(on_axis), reach, grid.bin_hz)


def _without_what_stays(axis: LogAxis) -> LogAxis:
    """Take off what stands out most of the time: no plateau lasts so long."""
    some = axis.excess[:: max(1, len(axis.excess) // 400)]
    stays = np.percentile(some, STAYS, axis=0) + STAYS_CLEAR
    excess = (axis.excess - np.maximum(stays, 0)).astype(np.float32)
    return LogAxis(np.clip(excess, -1, LOUD), levels(excess), axis.reach, axis.bin_hz)


def _without_a_steady_machine(axis: LogAxis) -> LogAxis:
    """Blank the lines of a machine that runs on at its own speed: a shop vacuum.

    It is found as the router is, by lines that move together, but all within a few percent
    and for most of the take.
    """
    smooth = uniform_filter1d(axis.excess, SMOOTH_STEPS, axis=0)
    near = maximum_filter1d(smooth[:: max(1, len(smooth) // 500)], 5, axis=1)
    mean = near.mean(axis=0).astype(np.float64)
    lines = _lines(mean, steps=len(near), first_hz=LOWEST_HZ, bin_hz=axis.bin_hz)
    within = LogAxis(axis.excess, axis.level, STEADY_REACH, axis.bin_hz)
    found = _shifts(within, lines)
    on = np.flatnonzero(found.path != OFF)
    loud = found.lines[found.mean[found.lines + STEADY_REACH] > STEADY_LOUD]
    if len(on) < STEADY_SHARE * len(found.path) or len(loud) < STEADY_LINES:
        return axis
    excess = axis.excess.copy()
    for line in loud.tolist():
        cell = line + found.path[on] - STEADY_REACH
        for beside in range(-BLANK_CELLS, BLANK_CELLS + 1):
            inside = (cell + beside >= 0) & (cell + beside < excess.shape[1])
            excess[on[inside], cell[inside] + beside] = NOISE
    return LogAxis(excess, levels(excess), axis.reach, axis.bin_hz)


@dataclass(frozen=True, slots=True, eq=False)
class Shifts:
    """A set of lines that move together.

    Attributes
    ----------
    path : array, shape (steps,)
        Shift of each step, 0 to 2 reach, or OFF; the seed's own is `reach`.
    sureness : array, shape (steps,)
        Log likelihood of the lines' being there.
    mean : array, shape (cells + 2 reach,)
        Mean excess with all steps shifted onto the seed.
    lines : array
        Cells of the lines, in the seed's own place.
    """

    path: npt.NDArray[np.int64]
    sureness: FloatArray
    mean: FloatArray
    lines: npt.NDArray[np.int64]


def _shifts(axis: LogAxis, lines: npt.NDArray[np.int64]) -> Shifts:
    """Path of each step's shift onto a set of lines that is learned on the way."""
    soundings = None
    count = len(axis.level)
    path, sureness = np.full(count, OFF), np.full(count, -8.0)
    mean = np.full(axis.level.shape[1] + 2 * axis.reach, np.nan)
    first_hz = LOWEST_HZ * float(np.exp(-LOG_STEP * axis.reach))
    for _ in range(ROUNDS):
        if not len(lines):
            return Shifts(np.full(count, OFF), sureness, mean, lines)
        evidence = _evidence(axis, lines, soundings)
        path = best_path(EVIDENCE * evidence, glide_cost=GLIDE, switch_cost=SWITCH)
        sureness = np.max(evidence, axis=1).astype(np.float64)
        on = path != OFF
        if on.sum() < FEWEST_STEPS:
            break
        mean = aligned_mean(axis, path)
        lines = _lines(mean, steps=int(on.sum()), first_hz=first_hz, bin_hz=axis.bin_hz)
        lines -= axis.reach
        soundings = _learn(axis, lines, path)
        lines, soundings = lines[soundings != SILENT], soundings[soundings != SILENT]
    return Shifts(path, sureness, mean, lines)


def moving_lines(axis: LogAxis) -> Shifts:
    """The lines that move together and are not a steady machine's.

    What is heard with everything in is right unless it lives on the steady machine's lines:
    then little of it is left once those are blanked, and what is heard without them is taken.
    """
    everything = _without_what_stays(axis)
    first = _shifts(everything, _seed_lines(everything))
    heard = np.count_nonzero(first.path != OFF)
    if heard < MOSTLY * len(first.path):
        # Few speeds: what stays may be the router itself.
        raw = _shifts(axis, _seed_lines(axis))
        if heard < MOSTLY * np.count_nonzero(raw.path != OFF):
            return raw
    blanked = _without_a_steady_machine(axis)
    if blanked is axis:
        return first
    alone = _without_what_stays(blanked)
    second = _shifts(alone, _seed_lines(alone))
    lives_on = _worth(alone, first) < LEFT * _worth(alone, second)
    return second if lives_on and settled_steps(second.path).sum() >= FEWEST_STEPS else first


def _worth(axis: LogAxis, found: Shifts) -> float:
    """Log likelihood of a course and its lines, nats."""
    steps = np.flatnonzero(found.path != OFF)
    total = 0.0
    soundings = _learn(axis, found.lines, found.path)
    for line, sounding in zip(found.lines.tolist(), soundings.tolist(), strict=True):
        cell = line + found.path[steps] - axis.reach
        inside = (cell >= 0) & (cell < axis.level.shape[1])
        heard = axis.level[steps[inside], cell[inside]]
        total += float(sounding_tables()[sounding][heard].sum())
    return total


def _seed_lines(axis: LogAxis) -> npt.NDArray[np.int64]:
    """Lines where they stand still and clear for longest."""
    smooth = np.maximum(uniform_filter1d(axis.excess, SMOOTH_STEPS, axis=0), 0)
    early, late = smooth[:-LAG_STEPS], smooth[LAG_STEPS:]
    alike = (early * late).sum(axis=1)
    louder = np.maximum((early**2).sum(axis=1), (late**2).sum(axis=1))
    clear = uniform_filter1d(alike / np.sqrt(louder + 1e-6), 25)
    middle = int(np.argmax(clear)) + LAG_STEPS // 2
    seed = axis.excess[max(0, middle - SEED_STEPS // 2) : middle + SEED_STEPS // 2 + 1]
    mean = seed.mean(axis=0).astype(np.float64)
    return _lines(mean, steps=len(seed), first_hz=LOWEST_HZ, bin_hz=axis.bin_hz)


def _lines(mean: FloatArray, *, steps: int, first_hz: float, bin_hz: float) -> Cells:
    """Cells in which the mean excess over so many steps stands out, the clearest MOST_LINES.

    `first_hz` is the frequency of the first cell, `bin_hz` the spacing of the spectra.
    """
    heard = np.isfinite(mean)
    if not heard.any():
        return np.zeros(0, np.int64)
    least, deviations = LINE_OUT
    out = float(np.median(mean[heard])) + max(least, deviations / np.sqrt(max(steps, 1) / 1.5))
    peaks, _ = find_peaks(np.where(heard, mean, -9.0), height=out, distance=LINE_APART)
    kept: list[int] = []
    kept_hz: list[float] = []
    for peak in peaks[np.argsort(-mean[peaks], kind="stable")].tolist():
        line_hz = first_hz * float(np.exp(LOG_STEP * peak))
        if all(abs(line_hz - other_hz) > BINS_APART * bin_hz for other_hz in kept_hz):
            kept.append(peak)
            kept_hz.append(line_hz)
        if len(kept) == MOST_LINES:
            break
    return np.sort(np.array(kept, np.int64))


def _evidence(
    axis: LogAxis, lines: npt.NDArray[np.int64], soundings: npt.NDArray[np.int64] | None
) -> npt.NDArray[np.float32]:
    """Log likelihood of each shift, shape (steps, 2 reach + 1); the seed's own is `reach`.

    Before the soundings are learned a line counts only where it is there.
    """
    steps, cells = axis.level.shape
    if soundings is None:
        tables = {0: np.maximum(sounding_tables()[7], 0) - np.float32(0.03)}
        soundings = np.zeros(len(lines), np.int64)
        total = np.full((steps, 2 * axis.reach + 1), -SEED_OFFSET, np.float32)
    else:
        tables = {int(sounding): sounding_tables()[sounding] for sounding in np.unique(soundings)}
        total = np.zeros((steps, 2 * axis.reach + 1), np.float32)
    for first in range(0, steps, ROWS_AT_ONCE):
        rows = slice(first, first + ROWS_AT_ONCE)
        part, heard = total[rows], axis.level[rows]
        for sounding, table in tables.items():
            gain = table[heard]
            for line in lines[soundings == sounding].tolist():
                low, high = max(line - axis.reach, 0), min(line + axis.reach + 1, cells)
                if high > low:
                    shift = low - line + axis.reach
                    part[:, shift : shift + high - low] += gain[:, low:high]
    return total


def aligned_mean(axis: LogAxis, path: npt.NDArray[np.int64]) -> FloatArray:
    """Mean excess with all steps shifted onto the seed, shape (cells + 2 reach,).

    Cell ``c`` of the seed is cell ``c + reach`` here; NaN where under a third of the steps
    had anything to say.
    """
    cells, reach = axis.level.shape[1], axis.reach
    total, count = np.zeros(cells + 2 * reach), np.zeros(cells + 2 * reach)
    for shift in np.unique(path[path != OFF]):
        steps = path == shift
        first = 2 * reach - int(shift)
        total[first : first + cells] += axis.excess[steps].sum(axis=0)
        count[first : first + cells] += steps.sum()
    enough = count > 0.3 * np.count_nonzero(path != OFF)
    return np.where(enough, total / np.maximum(count, 1), np.nan)


def _learn(
    axis: LogAxis, lines: npt.NDArray[np.int64], path: npt.NDArray[np.int64]
) -> npt.NDArray[np.int64]:
    """The likeliest sounding of each line."""
    tables = sounding_tables()[LEARNABLE]
    steps = np.flatnonzero(path != OFF)
    learned = np.full(len(lines), SILENT)
    for place, line in enumerate(lines.tolist()):
        cell = line + path[steps] - axis.reach
        inside = (cell >= 0) & (cell < axis.level.shape[1])
        if inside.sum() >= FEWEST_STEPS:
            heard = axis.level[steps[inside], cell[inside]]
            learned[place] = LEARNABLE[np.argmax(tables[:, heard].mean(axis=1))]
    return learned


def settled_steps(path: npt.NDArray[np.int64]) -> Mask:
    """Steps within stretches of a second or more at one speed: no ramps, starting or coasting."""
    still = np.zeros(len(path), bool)
    smooth = uniform_filter1d(path.astype(np.float64), 9)
    for first, last in spans((path != OFF) & (np.abs(path - smooth) < SETTLED_CELLS)):
        if last - first >= SETTLED_STEPS:
            still[first:last] = True
    return still


def without_the_faint(found: Shifts) -> npt.NDArray[np.int64]:
    """The path without stretches whose lines are far fainter than the rest: chance, or a guest."""
    path = found.path.copy()
    on = path != OFF
    if not on.any():
        return path
    usual = float(np.median(found.sureness[on]))
    jumps = np.flatnonzero((np.abs(np.diff(path)) > HOP_CELLS) & on[1:] & on[:-1]) + 1
    whole = on.copy()
    whole[jumps] = False
    for first, last in spans(whole):
        if np.mean(found.sureness[first:last]) < FAINT * usual:
            path[max(0, first - 1) : last] = OFF
    return path
