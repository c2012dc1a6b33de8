"""The search for lines that move together, from many starts.

Each start is a second and a half that stands still: its lines are looked for in the whole
take, learned anew where they are found, and so on.
"""

from __future__ import annotations

import numpy as np
from scipy.ndimage import uniform_filter1d
from scipy.signal import find_peaks

from analysis.dial.moving_lines import (
    CHUNK_STEPS,
    EVIDENCE,
    FEWEST_CHUNKS,
    HEARD_IN,
    LINE_APART,
    LOWEST_HZ,
    Alignment,
    Cells,
    FloatArray,
    LogAxis,
    evidence_for,
    likeliest,
    path_along,
    shifted_sum,
    sounding_lines,
    worth_of_moving,
)
from analysis.hearing.orders import LOG_STEP
from analysis.hearing.path import OFF

SEED_OFFSET = 1.0  # nats a step, what all lines of a seed together win from noise alone
SEED_CHUNKS, SEEDS_APART = 4, 8
ROUNDS = 4
ALIKE = 0.95  # of two paths
MOST_LINES = 30
BINS_APART = 2.0  # lines nearer than that are one
LINE_OUT = 0.25, 4.5  # nepers a line must stand out, at least, and in standard deviations


def aligned(axis: LogAxis, *, seeds: int) -> Alignment | None:
    """The lines that move together best, from so many starts."""
    return next(iter(alignments(axis, seeds=seeds)), None)


def alignments(axis: LogAxis, *, seeds: int) -> list[Alignment]:
    """Sets of lines that move together, best first, one from each of so many starts at most."""
    found: list[Alignment] = []
    for first, last in _seeds(axis, seeds):
        alignment = _from_seed(axis, first, last, known=[one.path for one in found])
        if alignment is not None:
            found.append(alignment)
    return sorted(found, key=lambda one: worth_of_moving(axis, one), reverse=True)


def _seeds(axis: LogAxis, most: int) -> list[tuple[int, int]]:
    """First and last chunk of stretches in which lines stand still and clear, best first."""
    up = np.maximum(axis.mean, 0)
    early, late = up[:-1], up[1:]
    louder = np.maximum((early**2).sum(axis=1), (late**2).sum(axis=1))
    clear = (early * late).sum(axis=1) / np.sqrt(louder + 1e-6)
    clear = uniform_filter1d(clear, SEED_CHUNKS - 1)
    seeds: list[tuple[int, int]] = []
    while len(seeds) < most and np.isfinite(clear.max(initial=-np.inf)):
        middle = int(np.argmax(clear))
        first = max(0, middle - SEED_CHUNKS // 2 + 1)
        seeds.append((first, min(first + SEED_CHUNKS, len(up))))
        clear[max(0, middle - SEEDS_APART + 1) : middle + SEEDS_APART] = -np.inf
    return seeds


def _from_seed(axis: LogAxis, first: int, last: int, *, known: list[Cells]) -> Alignment | None:
    """What a start leads to; None where to nothing, or to a path that is known already."""
    mean = axis.mean[first:last].mean(axis=0).astype(np.float64)
    lines = _lines(mean, chunks=last - first, first_hz=LOWEST_HZ, bin_hz=axis.bin_hz)
    seed_offset = SEED_OFFSET * EVIDENCE * CHUNK_STEPS
    anywhere = (0, 2 * axis.reach)
    path = likeliest(evidence_for(axis, lines, None, anywhere) - seed_offset, anywhere)
    lowest_hz = LOWEST_HZ * float(np.exp(-LOG_STEP * axis.reach))
    soundings = np.zeros((0, 2 * axis.reach + 1), np.int64)
    for _ in range(ROUNDS):
        on = int(np.count_nonzero(path != OFF))
        if on < FEWEST_CHUNKS or any(_alike(path, other) for other in known):
            return None
        mean = _mean_along(axis, path)
        lines = _lines(mean, chunks=on, first_hz=lowest_hz, bin_hz=axis.bin_hz) - axis.reach
        lines, soundings = sounding_lines(axis, lines, path)
        last_path, path = path, path_along(axis, lines, soundings)
        if np.array_equal(path, last_path):
            break
    return Alignment(path, lines, soundings)


def _alike(path: Cells, other: Cells) -> bool:
    """Whether two paths are the same nearly everywhere, wherever their seeds lie."""
    both = (path != OFF) & (other != OFF)
    either = np.count_nonzero((path != OFF) | (other != OFF))
    if not both.any():
        return False
    apart = (path - other)[both]
    return bool(np.count_nonzero(np.abs(apart - np.median(apart)) <= 1) > ALIKE * either)


def _lines(mean: FloatArray, *, chunks: int, first_hz: float, bin_hz: float) -> Cells:
    """Cells in which the mean excess over so many chunks stands out, the clearest MOST_LINES.

    `first_hz` is the frequency of the first cell, `bin_hz` the spacing of the spectra.
    """
    heard = np.isfinite(mean)
    if not heard.any():
        return np.zeros(0, np.int64)
    least, deviations = LINE_OUT
    steps = max(chunks * CHUNK_STEPS, 1)
    out = float(np.median(mean[heard])) + max(least, deviations / np.sqrt(steps / 1.5))
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


def _mean_along(axis: LogAxis, path: Cells) -> FloatArray:
    """Mean excess with all chunks shifted onto the seed, shape (cells + 2 reach,).

    Cell ``c`` of the seed is cell ``c + reach`` here; NaN where too few chunks reach.
    """
    total, count = shifted_sum(axis.mean[None], path, np.ones(len(path)), reach=axis.reach)
    enough = count > HEARD_IN * np.count_nonzero(path != OFF)
    return np.where(enough, total[0] / np.maximum(count, 1), np.nan)
