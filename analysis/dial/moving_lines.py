"""Lines that move together: the speeds of a machine against one another, no order counted.

On a log frequency axis a machine's lines keep their distances at any speed. So the parts of a
take are laid over each other, by shifts, until the lines of all of them fall together.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import reduce
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from analysis.dial.log_axis import LOWEST_HZ, Floats, LogAxis
from analysis.hearing.orders import LEARNABLE, LOG_STEP
from analysis.hearing.path import OFF, best_path, best_paths
from analysis.hearing.voice import Mask

FloatArray = npt.NDArray[np.float64]
Cells = npt.NDArray[np.int64]

GLIDE, SWITCH = 0.1, 12.0
GROUP = 4  # shifts that are gone through as one, 1 %, where many paths are
LEAST_HEARD = 0.25  # nats a step: a course must be heard
LINE_APART = 4  # cells of 0.25 %
HEARD_IN = 0.3  # share of a course in which a frequency lay on the axis, to be judged by it
MOST_AT_ONE = 1.5  # two settings of 4 and 6 s
SETTING_S = 14.0  # nobody leaves a dial alone for longer; a vacuum runs on
SAME_CELLS = 6
APART_CELLS = 4
STEADY = 2  # of LEARNABLE, what does not get louder with speed: silent, and there at times
TILTS = (0.0, 1.0, 2.0, 3.0)  # soundings, some 6 dB each, for a neper of speed
LEVEL_STEP = 0.5
LINE_BINS = 2.2  # half of a Hann line
DRIFT_CELLS, WIDEST = 2, 10


@dataclass(frozen=True, slots=True, eq=False)
class Alignment:
    """A set of lines that move together.

    Attributes
    ----------
    path : array, shape (chunks,)
        Shift of each chunk, 0 to 2 reach, or OFF; the seed's own is `reach`.
    lines : array
        Cells of the lines, in the seed's own place.
    soundings : array, shape (lines, 2 reach + 1)
        How each line sounds at each shift, as an index into LEARNABLE.
    """

    path: Cells
    lines: Cells
    soundings: Cells


def path_along(
    axis: LogAxis,
    lines: Cells,
    soundings: Cells,
    within: tuple[int, int] | None = None,
) -> Cells:
    """Likeliest shift of each chunk onto lines that are known; `within` limits the shifts."""
    within = within or (0, 2 * axis.reach)
    evidence = evidence_for(axis, lines, soundings, within) - LEAST_HEARD * axis.steps
    path = best_path(evidence, glide_cost=GLIDE, switch_cost=SWITCH)
    return np.where(path != OFF, path + within[0], OFF)


def likeliest_of_each(evidence: list[Floats]) -> Cells:
    """The likeliest path through each of some evidences of one shape (chunks, shifts).

    Of a few shifts side by side the likeliest stands for all: a quarter of the ways to weigh.
    """
    every = np.stack(evidence)
    spare = -every.shape[2] % GROUP
    every = np.pad(every, ((0, 0), (0, 0), (0, spare)), constant_values=-np.inf)
    apart = [every[:, :, place::GROUP] for place in range(GROUP)]
    paths = best_paths(reduce(np.maximum, apart), glide_cost=GROUP * GLIDE, switch_cost=SWITCH)
    inside = np.argmax(
        [np.take_along_axis(part, paths[:, :, None], axis=2) for part in apart], axis=0
    )
    return np.where(paths != OFF, GROUP * paths + inside[:, :, 0], OFF)


def evidence_for(
    axis: LogAxis,
    lines: Cells,
    soundings: Cells | None,
    within: tuple[int, int],
    chunks: slice | Cells = slice(None),
) -> Floats:
    """Log likelihood of each shift in some chunks, shape (chunks, shifts within).

    Without `soundings` a line counts only where it is there.
    """
    bonus, gains = axis.bonus[chunks], axis.gains[:, chunks]
    rows, cells = bonus.shape
    first, last = within
    total = np.zeros((rows, last - first + 1), np.float32)
    for place, line in enumerate(lines.tolist()):
        begin = line - axis.reach + first  # the cell in which the line lies at the first shift
        low, high = max(begin, 0), min(begin + total.shape[1], cells)
        if high <= low:
            continue
        if soundings is None:
            total[:, low - begin : high - begin] += bonus[:, low:high]
            continue
        kinds = soundings[place, first + low - begin : first + high - begin]
        for a, b in runs_of_one_value(kinds):
            total[:, low - begin + a : low - begin + b] += gains[kinds[a], :, low + a : low + b]
    return total


def runs_of_one_value(values: Cells) -> list[tuple[int, int]]:
    """First and one past the last place of each run of equal values."""
    breaks = np.flatnonzero(np.diff(values)) + 1
    edges = [0, *breaks.tolist(), len(values)]
    return list(pairwise(edges))


def shifted_sum(
    values: Floats, path: Cells, weights: FloatArray, *, reach: int
) -> tuple[FloatArray, FloatArray]:
    """Weighted sums of values, shape (kinds, chunks, cells), with all chunks on the seed.

    Returns sums, shape (kinds, cells + 2 reach), and of the weights, shape (cells + 2 reach,).
    """
    kinds, _, cells = values.shape
    total, count = np.zeros((kinds, cells + 2 * reach)), np.zeros(cells + 2 * reach)
    for chunk in np.flatnonzero(path != OFF).tolist():
        first = 2 * reach - int(path[chunk])
        total[:, first : first + cells] += weights[chunk] * values[:, chunk]
        count[first : first + cells] += weights[chunk]
    return total, count


def sounding_lines(axis: LogAxis, lines: Cells, path: Cells) -> tuple[Cells, Cells]:
    """The lines that sound along a path, and their likeliest soundings at each shift.

    A machine is the louder the faster it turns, over a floor that others make. So the lines
    that are always there get louder with the shift, all by the same share of TILTS, in steps
    of a sounding for each neper of speed; the share is the one that explains them best.
    """
    chosen, every, inside, _ = _fitted(axis, lines, path)
    sounds = (chosen > 0) & (inside.sum(axis=1) >= axis.fewest_chunks)  # the first is silence
    return lines[sounds], every[chosen[sounds]]


def fitted_worth(axis: LogAxis, lines: Cells, path: Cells) -> float:
    """Log likelihood of a path with every line sounding as it does best."""
    return _fitted(axis, lines, path)[3]


def _fitted(axis: LogAxis, lines: Cells, path: Cells) -> tuple[Cells, Cells, Mask, float]:
    """Of each line which sounding, all of them at each shift, where on the axis, and the worth."""
    gains, inside = gains_along(axis, lines, path)  # soundings, lines, chunks
    here = path[path != OFF]
    shifts = np.arange(2 * axis.reach + 1)
    middle = float(np.median(here)) if len(here) else float(axis.reach)
    constant = gains[:STEADY].sum(axis=2)  # silent, or there at times, at any speed
    kinds = _tilted(shifts, middle)
    # A sum over what a line's sounding picks is a product with ones and noughts.
    picked = kinds[:, :, here, None] == np.arange(len(LEARNABLE))
    flat = gains.transpose(2, 0, 1).reshape(len(here) * len(gains), len(lines))
    along = picked.reshape(*kinds.shape[:2], -1).astype(np.float32) @ flat  # tilts, levels, lines
    sums = np.concatenate([np.repeat(constant[None], len(kinds), axis=0), along], axis=1)
    totals = sums.max(axis=1).sum(axis=1)
    best = int(np.argmax(totals))
    steady = np.repeat(np.arange(STEADY)[:, None], len(shifts), axis=1)
    every = np.concatenate([steady, kinds[best]])
    return np.argmax(sums[best], axis=0), every, inside, float(totals[best])


def _tilted(shifts: Cells, middle: float) -> Cells:
    """Soundings of lines of several levels at each shift, shape (tilts, levels, shifts)."""
    levels = np.arange(STEADY, len(LEARNABLE), LEVEL_STEP)
    louder = LOG_STEP * np.multiply.outer(TILTS, shifts - middle)
    kinds = np.rint(levels[:, None] + louder[:, None])
    return np.asarray(np.clip(kinds, STEADY, len(LEARNABLE) - 1), np.int64)


def gains_along(axis: LogAxis, lines: Cells, path: Cells) -> tuple[Floats, Mask]:
    """Gains of lines along a path, shape (soundings, lines, chunks), 0 off the axis."""
    on = np.flatnonzero(path != OFF)
    cell = lines[:, None] + path[on] - axis.reach
    inside = (cell >= 0) & (cell < axis.mean.shape[1])
    return axis.gains[:, on, np.where(inside, cell, 0)] * inside, inside


def sounding_gains(axis: LogAxis, lines: Cells, soundings: Cells, path: Cells) -> Floats:
    """Gains of lines along a path as they are known to sound, shape (lines, chunks on)."""
    gains, _ = gains_along(axis, lines, path)
    kinds = soundings[:, path[path != OFF]]
    return np.asarray(np.take_along_axis(gains, kinds[None], axis=0)[0], np.float32)


def worth(axis: LogAxis, found: Alignment) -> float:
    """Log likelihood of an alignment; what keeps its speed for too long counts less."""
    return float(_worths(axis, found).sum())


def _worths(axis: LogAxis, found: Alignment) -> FloatArray:
    weights = setting_weights(axis, found.path)[found.path != OFF]
    by_chunk = sounding_gains(axis, found.lines, found.soundings, found.path).sum(axis=0)
    return np.asarray(by_chunk * weights, np.float64)


def worth_of_moving(axis: LogAxis, found: Alignment) -> float:
    """The same, but what lies at one speed counts no more than MOST_AT_ONE times the others.

    Any lines that stand still explain it: only where lines move do they move together.
    """
    by_chunk, path = _worths(axis, found), found.path[found.path != OFF]
    if not len(path):
        return 0.0
    near = np.abs(path[:, None] - path[None, :]) <= SAME_CELLS
    at_one = float((near @ by_chunk).max())
    others = float(by_chunk.sum()) - at_one
    return others + min(at_one, MOST_AT_ONE * others)


def setting_weights(axis: LogAxis, path: Cells) -> FloatArray:
    """Weight of each chunk, 0 to 1, shape (chunks,).

    A speed that is kept for longer than a setting may be another machine's, that runs on.
    """
    on = path != OFF
    near = np.abs(path[:, None] - path[None, on]) <= SAME_CELLS
    kept_s = np.maximum(near.sum(axis=1), 1) * axis.chunk_s
    return np.where(on, np.minimum(1.0, (SETTING_S / kept_s) ** 2), 0.0)


def cells_of(
    axis: LogAxis, lines: Cells, path: Cells, chunks: Cells, *, reach: int | None = None
) -> Mask:
    """Where the lines lie in some chunks, shape (chunks, cells).

    `reach` is the shift that leaves them where they are, the axis' own if None.
    """
    reach = axis.reach if reach is None else reach
    rows, cells = axis.mean.shape
    chunks = chunks[path[chunks] != OFF]
    cell = lines[:, None] + path[chunks] - reach
    line_hz = LOWEST_HZ * np.exp(LOG_STEP * cell)
    half = np.clip(LINE_BINS * axis.bin_hz / (LOG_STEP * line_hz), DRIFT_CELLS, WIDEST)
    half = half.astype(np.int64)
    # A step up where each line begins and down where it ends: between them the sum is not 0.
    edges = np.zeros((rows, cells + 1), np.int32)
    row = np.broadcast_to(chunks, cell.shape)
    np.add.at(edges, (row, np.clip(cell - half, 0, cells)), 1)
    np.add.at(edges, (row, np.clip(cell + half + 1, 0, cells)), -1)
    return np.asarray(np.cumsum(edges[:, :-1], axis=1) > 0)
