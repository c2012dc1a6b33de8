"""The search for lines that move together, from many starts.

Each start is a second and a half that stands still: its lines are looked for in the whole
take, learned anew where they are found, and so on. That is done in chunks twice as long, which
a setting fills several of; the ends of a setting are found last.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.ndimage import uniform_filter1d
from scipy.signal import find_peaks

from analysis.dial.log_axis import EVIDENCE, LOWEST_HZ, LogAxis, in_pairs
from analysis.dial.moving_lines import (
    HEARD_IN,
    LEAST_HEARD,
    LINE_APART,
    Alignment,
    Cells,
    FloatArray,
    evidence_for,
    likeliest_of_each,
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
    """Sets of lines that move together, best first, one from each of so many starts at most.

    All starts are followed side by side; one that leads where an earlier one leads is left.
    """
    rough = in_pairs(axis)
    found: list[Alignment] = []
    paths = _from_seeds(axis, rough, _seeds(axis, seeds))
    for _ in range(ROUNDS):
        paths = _worth_following(paths, [one.path for one in found], fewest=rough.fewest_chunks)
        learned = [_learned(rough, path) for path in paths]
        followed = _paths_along(rough, learned)
        paths = []
        for one, path in zip(learned, followed, strict=True):
            if np.array_equal(path, one.path):
                found.append(one)
            else:
                paths.append(path)
    unsettled = _worth_following(paths, [one.path for one in found], fewest=rough.fewest_chunks)
    found += [_learned(rough, path) for path in unsettled]
    whole = _paths_along(axis, found)
    found = [replace(one, path=path) for one, path in zip(found, whole, strict=True)]
    found = [one for one in found if np.count_nonzero(one.path != OFF) >= axis.fewest_chunks]
    return sorted(found, key=lambda one: worth_of_moving(axis, one), reverse=True)


def _learned(axis: LogAxis, path: Cells) -> Alignment:
    """The lines that stand out along a path."""
    lowest_hz = LOWEST_HZ * float(np.exp(-LOG_STEP * axis.reach))
    steps = axis.steps * int(np.count_nonzero(path != OFF))
    mean = _mean_along(axis, path)
    lines = _lines(mean, steps=steps, first_hz=lowest_hz, bin_hz=axis.bin_hz) - axis.reach
    return Alignment(path, *sounding_lines(axis, lines, path))


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


def _from_seeds(axis: LogAxis, rough: LogAxis, seeds: list[tuple[int, int]]) -> list[Cells]:
    """Where in `rough` each start's lines are found again, whatever else sounds."""
    if not seeds:
        return []
    seed_offset = SEED_OFFSET * EVIDENCE * rough.steps
    evidence = []
    for first, last in seeds:
        mean = axis.mean[first:last].mean(axis=0).astype(np.float64)
        steps = axis.steps * (last - first)
        lines = _lines(mean, steps=steps, first_hz=LOWEST_HZ, bin_hz=axis.bin_hz)
        evidence.append(evidence_for(rough, lines, None, (0, 2 * axis.reach)) - seed_offset)
    return list(likeliest_of_each(evidence))


def _paths_along(axis: LogAxis, learned: list[Alignment]) -> list[Cells]:
    """The likeliest path along each set of lines, no farther apart than a dial's speeds are."""
    if not learned:
        return []
    span = min(2 * axis.reach, max(np.ptp(_reached(one.path, axis.reach)) for one in learned))
    firsts = [min(_reached(one.path, axis.reach)[0], 2 * axis.reach - span) for one in learned]
    least = LEAST_HEARD * axis.steps
    paths = likeliest_of_each(
        [
            evidence_for(axis, one.lines, one.soundings, (first, first + span)) - least
            for first, one in zip(firsts, learned, strict=True)
        ]
    )
    return [
        np.where(path != OFF, path + first, OFF) for first, path in zip(firsts, paths, strict=True)
    ]


def _reached(path: Cells, reach: int) -> tuple[int, int]:
    """First and last shift that lie within `reach` of the shifts at which most of a path lies."""
    shifts = np.sort(path[path != OFF])
    after = np.searchsorted(shifts, shifts + reach, side="right")
    first = int(np.argmax(after - np.arange(len(shifts))))
    low, high = int(shifts[first]), int(shifts[after[first] - 1])
    return max(0, high - reach), min(2 * reach, low + reach)


def _worth_following(paths: list[Cells], known: list[Cells], *, fewest: int) -> list[Cells]:
    """The paths that lead somewhere, and not where another has led."""
    kept: list[Cells] = []
    for path in paths:
        on = int(np.count_nonzero(path != OFF))
        if on >= fewest and not any(_alike(path, other) for other in (*known, *kept)):
            kept.append(path)
    return kept


def _alike(path: Cells, other: Cells) -> bool:
    """Whether two paths are the same nearly everywhere, wherever their seeds lie."""
    both = (path != OFF) & (other != OFF)
    either = np.count_nonzero((path != OFF) | (other != OFF))
    if not both.any():
        return False
    apart = (path - other)[both]
    return bool(np.count_nonzero(np.abs(apart - np.median(apart)) <= 1) > ALIKE * either)


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


def _mean_along(axis: LogAxis, path: Cells) -> FloatArray:
    """Mean excess with all chunks shifted onto the seed, shape (cells + 2 reach,).

    Cell ``c`` of the seed is cell ``c + reach`` here; NaN where too few chunks reach.
    """
    total, count = shifted_sum(axis.mean[None], path, np.ones(len(path)), reach=axis.reach)
    enough = count > HEARD_IN * np.count_nonzero(path != OFF)
    return np.where(enough, total[0] / np.maximum(count, 1), np.nan)
