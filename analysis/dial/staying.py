"""Machines that run on at one speed while the router's dial is turned: a shop vacuum, mains hum.

Such a machine drifts by a few percent and no more, and it runs for longer than anyone leaves a
dial alone. So its lines are found as the router's are, as lines that move together, but with
so little room to move that no router can follow, and they are those that stay for most of that
time. Where they lie, nothing is known of the router.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
from numpy.lib.stride_tricks import sliding_window_view
from scipy.ndimage import maximum_filter1d, median_filter
from scipy.signal import find_peaks

from analysis.dial.log_axis import LOUD, LOWEST_HZ, Floats, LogAxis, over_time
from analysis.dial.moving_lines import LINE_APART, Cells, cells_of, evidence_for
from analysis.hearing.orders import LOG_STEP, ORDERS, TOP_ORDER
from analysis.hearing.path import OFF, best_paths
from analysis.hearing.ratio import RIPPLES_HZ
from analysis.hearing.voice import Mask

STAYS_S = 20.0  # a setting that is set twice in a row takes some 12
DRIFT = 10  # cells of 0.25 % to either side
THERE = 35  # percent of the time in which a line may be away or drowned
STANDS_OUT = 0.8  # nepers over its surroundings
SURROUNDINGS = 81  # cells
MOST_LINES = 30
FEWEST_LINES = 2
WIDE = 5  # cells by which a line may stray within a window
ROUNDS = 2
OFFSET = 2.0  # nats a chunk: a course must be heard
GLIDE, SWITCH = 0.5, 12.0
HUMMING, HUMS = 15, 0.6  # multiples that are looked at, and nepers over what lies between them
ROTATIONS_HZ = 150.0, 700.0
BEYOND_CHANCE, LEAST_POWER = 0.47, 10.0  # of the lines' power what a rotation explains
FEWEST_ORDERS = 3
SOUNDS, SILENT = 0.6, 0.15  # of the lines' usual height, and of that beside a moment
SILENT_CHUNKS, BESIDE = 2, 5  # some 0.75 s, and 2 s
AT_TIMES, HEARD = 80, 0.5  # percent of the time in which an order may be silent, and nepers


def staying_lines(axis: LogAxis) -> Mask:
    """Cells that belong to what stays, shape (chunks, cells); `axis` is of the raw spectra."""
    foreign = _mains(axis)
    axis = without_cells(axis, foreign)
    found = _longest(axis)
    if found is None:
        return foreign
    lines, path = found
    orders = _their_orders(axis, lines, path)
    return foreign | cells_of(axis, orders, path, np.arange(len(path)), reach=DRIFT)


def _mains(axis: LogAxis) -> Mask:
    """Cells of mains hum, shape (chunks, cells), if it is heard for most of the take.

    Ripple and buzz lie at twice the mains frequency, 50 or 60 Hz, and its multiples.
    """
    chunks = np.arange(len(axis.mean))
    level = over_time(axis.mean, 50)
    for mains_hz in RIPPLES_HZ:
        order = np.arange(2, HUMMING + 1)
        below, above = _at(level, (order - 0.5) * mains_hz), _at(level, (order + 0.5) * mains_hz)
        if float(np.mean(_at(level, order * mains_hz) - np.add(below, above) / 2)) > HUMS:
            cells = _cells(ORDERS * mains_hz)
            at_times = over_time(axis.mean, AT_TIMES)
            lines = cells[(cells < len(level)) & (_at(at_times, ORDERS * mains_hz) > HEARD)]
            still = np.full(len(chunks), DRIFT)
            return cells_of(axis, lines, still, chunks, reach=DRIFT)
    return np.zeros(axis.mean.shape, bool)


def _cells(line_hz: npt.NDArray[np.floating]) -> Cells:
    return np.asarray(np.rint(np.log(line_hz / LOWEST_HZ) / LOG_STEP), np.int64)


def _at(level: Floats, line_hz: npt.NDArray[np.floating]) -> Floats:
    return np.asarray(level[np.clip(_cells(line_hz), 0, len(level) - 1)])


def without_cells(axis: LogAxis, foreign: Mask) -> LogAxis:
    """The axis with nothing known in some cells."""
    mine = ~foreign
    return replace(
        axis,
        mean=np.where(mine, axis.mean, np.minimum(axis.mean, 0)),
        gains=axis.gains * mine,
        bonus=axis.bonus * mine,
    )


def _longest(axis: LogAxis) -> tuple[Cells, Cells] | None:
    """Lines and path of the machine that stays loudest for longest."""
    least = round(STAYS_S / axis.chunk_s)
    strayed = maximum_filter1d(axis.mean, WIDE, axis=1)
    firsts = range(0, max(1, len(strayed) - least + 1), max(1, least // 2))
    lines = [_standing_out(over_time(strayed[first : first + least], THERE)) for first in firsts]
    paths = _paths(axis, [cells for cells, _ in lines])
    for _ in range(ROUNDS):
        lines, paths = _that_stay(lines, paths, least)
        for place, path in enumerate(paths):
            on = np.flatnonzero(path != OFF)
            cells, heights = _standing_out(over_time(_along(axis.mean, path, on), THERE))
            lines[place] = cells - DRIFT, heights
        paths = _paths(axis, [cells for cells, _ in lines])
    best, most = None, 0.0
    for (cells, heights), path in zip(*_that_stay(lines, paths, least), strict=True):
        heard = float(heights.sum()) * np.count_nonzero(path != OFF)
        if heard > most:
            best, most = (cells, path), heard
    return best


_Lines = tuple[Cells, Floats]


def _that_stay(
    lines: list[_Lines], paths: list[Cells], least: int
) -> tuple[list[_Lines], list[Cells]]:
    """Those with enough lines that are there for at least so many chunks."""
    kept = [
        place
        for place, path in enumerate(paths)
        if np.count_nonzero(path != OFF) >= least and len(lines[place][0]) >= FEWEST_LINES
    ]
    return [lines[place] for place in kept], [paths[place] for place in kept]


def _their_orders(axis: LogAxis, lines: Cells, path: Cells) -> Cells:
    """Cells of the other orders of the machine to which most of the lines belong.

    While the router is off, more of them rise over the floor than stay all the time. The
    rotation is the one that explains the lines best beyond chance. Where none does, the lines
    are a room's and a microphone's, and the router alone is heard: there are no orders. Nor
    where all of them fall silent at once for a moment: the router left one setting and came to
    another whose lines lie in the same places, as those of speeds as 5 to 7 do.
    """
    on = np.flatnonzero(path != OFF)
    mean = _along(axis.mean, path, on)
    steady = over_time(mean, THERE)
    over = (steady - median_filter(steady, SURROUNDINGS, mode="nearest"))[lines + DRIFT]
    weight = np.clip(over, 0, 3) ** 2
    logs = np.log(LOWEST_HZ) + LOG_STEP * lines
    low, high = np.log(ROTATIONS_HZ)
    tried = np.arange(low, high, LOG_STEP / 2)
    place = np.exp(logs[None, :] - tried[:, None])
    whole = np.maximum(np.rint(place), 1)
    near = np.maximum(LOG_STEP, 0.5 * axis.bin_hz / np.exp(logs))  # nepers
    fits = (np.abs(np.log(place / whole)) < near) & (whole <= TOP_ORDER)
    chance = np.minimum(2 * near * place, 1)
    beyond = (fits - chance) @ weight
    best = int(np.argmax(beyond))
    few = np.count_nonzero(fits[best]) < FEWEST_ORDERS
    if few or beyond[best] < max(BEYOND_CHANCE * weight.sum(), LEAST_POWER):
        return np.zeros(0, np.int64)
    if _falls_silent(mean, lines[fits[best]]):
        return np.zeros(0, np.int64)
    orders = _cells(ORDERS * np.exp(tried[best]))
    orders = orders[(orders >= 0) & (orders < axis.mean.shape[1])]
    at_times = over_time(mean, AT_TIMES)
    about = orders[:, None] + DRIFT + np.arange(-1, 2)
    return np.asarray(orders[at_times[about].max(axis=1) > HEARD], np.int64)


def _falls_silent(mean: Floats, lines: Cells) -> bool:
    """Whether lines that sound before and after a moment are all silent in it.

    What is drowned by the router fades, and does so for longer.
    """
    about = lines[:, None] + DRIFT + np.arange(-1, 2)
    height = np.minimum(mean[:, about].max(axis=2), LOUD).mean(axis=1)
    if len(height) < 2 * BESIDE + SILENT_CHUNKS:
        return False
    beside = np.median(sliding_window_view(height, BESIDE), axis=1)
    moment = sliding_window_view(height, SILENT_CHUNKS).mean(axis=1)
    fainter = np.minimum(beside[: -BESIDE - SILENT_CHUNKS], beside[BESIDE + SILENT_CHUNKS :])
    sounds = fainter > SOUNDS * float(np.median(height))
    silent = moment[BESIDE : BESIDE + len(fainter)] < SILENT * fainter
    return bool(np.any(sounds & silent))


def _standing_out(level: npt.NDArray[np.floating]) -> tuple[Cells, Floats]:
    """Cells of lines over their surroundings, the loudest MOST_LINES, and their heights."""
    over = level - median_filter(level, SURROUNDINGS, mode="nearest")
    peaks, _ = find_peaks(over, height=STANDS_OUT, distance=LINE_APART)
    peaks = np.asarray(peaks[np.argsort(-over[peaks], kind="stable")][:MOST_LINES], np.int64)
    return peaks, np.asarray(over[peaks], np.float32)


def _paths(axis: LogAxis, lines: list[Cells]) -> list[Cells]:
    """Likeliest drift of each chunk, 0 to 2 DRIFT, or OFF, for each set of lines."""
    if not lines:
        return []
    drifts = replace(axis, reach=DRIFT)
    evidence = [evidence_for(drifts, cells, None, (0, 2 * DRIFT)) - OFFSET for cells in lines]
    return list(best_paths(np.stack(evidence), glide_cost=GLIDE, switch_cost=SWITCH))


def _along(mean: Floats, path: Cells, on: Cells) -> Floats:
    """The chunks with the drift taken out, shape (chunks on, cells + 2 DRIFT)."""
    out = np.zeros((len(on), mean.shape[1] + 2 * DRIFT), np.float32)
    for row, chunk in enumerate(on.tolist()):
        first = 2 * DRIFT - int(path[chunk])
        out[row, first : first + mean.shape[1]] = mean[chunk]
    return out
