"""Which machines are to be heard: stretches of one voice, and what runs on by itself."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import numpy.typing as npt
from scipy.ndimage import uniform_filter1d

from analysis.hearing.orders import AT_TIMES, LOG_STEP, ORDERS, SILENT, FloatArray, order_excess
from analysis.hearing.path import OFF
from analysis.hearing.ratio import RATIOS
from analysis.hearing.search import HOP, Course, Machine, Search, some_of, spans
from analysis.hearing.voice import Mask, learn_voice, order_fits, step_evidence

MIN_SEED_STEPS, SHORTEST_STEPS = 20, 8  # about a second of all, and a third in one piece
# Of a course's quiet stretches: share in the cut up to which they are, nepers over its
# surroundings for an order to be asked after, nepers and deviations by which they sound elsewhere.
HARDLY_CUT, CLEAR_ORDER, SOUNDS_ON, SURELY = 0.3, 1.2, 0.25, 4.5
LOUDEST_CELL = 4.0  # nepers a cell may add to a mean
FAR = 0.02  # in log: nearer by, lines of the one run into the other's
LEAST_ORDERS, LEAST_CELLS = 3, 100
LEAST_OF_A_LINE, LINE_SOUNDS_ON, LINE_SURELY = 40, 0.9, 6.0  # the same, for one line alone
# Of leaps to a machine and back: steps heard to either side, ln speed, share of the way within two
# steps (a tenth of a second), how many are seen, and the share of them that leap.
BESIDE_STEPS, FAR_OFF, AT_ONCE, LEAST_LEAPS, MOST_LEAP = 12, 0.12, 0.8, 3, 0.8
SOON_STEPS = 3  # within which a speed is left and another one reached
CELL_SPREAD = 1.9  # nepers; strays and levels that ride included
ASIDE_BINS = 3.5  # just outside a Hann line


def seeds_of(search: Search, path: npt.NDArray[np.int64]) -> list[Mask]:
    """Stretches of a path that sound like one machine in one state, longest first, four at most."""
    orders = np.clip(np.nan_to_num(search.orders(path)), -0.5, 3)
    clusters: list[tuple[FloatArray, Mask]] = []
    for a, b in _stretches(path):
        if b - a < SHORTEST_STEPS:
            break
        likeness = np.maximum(orders[a:b].mean(axis=0) + 0.2, 0) * (b - a)
        cosines = [
            likeness @ total / np.sqrt((likeness @ likeness) * (total @ total) + 1e-9)
            for total, _ in clusters
        ]
        if cosines and max(cosines) > 0.75:
            total, mask = clusters[int(np.argmax(cosines))]
            total += likeness
        else:
            mask = np.zeros(len(path), bool)
            clusters.append((likeness.astype(np.float64), mask))
        mask[a:b] = True
    masks = sorted((mask for _, mask in clusters), key=lambda mask: -mask.sum())
    return [mask for mask in masks if mask.sum() >= MIN_SEED_STEPS][:4]


def other_machines(
    search: Search, path: npt.NDArray[np.int64], seeds: list[Mask], best: Course
) -> list[Machine]:
    """Machines that run on at their own speed whatever the best course does."""
    others = []
    rotation = search.candidates.rotation_hz[np.maximum(path, 0)]
    best_hz = search.candidates.rotation_hz[np.maximum(best.path, 0)]
    for seed in seeds:
        log_hz = np.log(rotation)
        near = seed & (np.abs(log_hz - np.median(log_hz[seed])) < 0.01)
        if near.sum() < 0.6 * seed.sum():
            continue
        steps = np.flatnonzero(near)
        smooth = uniform_filter1d(log_hz[steps], 9, mode="nearest")
        course = np.interp(np.arange(len(path)), steps, smooth)
        apart = best.cutting & ~seed
        if apart.sum() <= 8:
            apart = best.running
        ratio = course[apart] - np.log(best_hz[apart])
        if any(np.mean(np.abs(ratio - np.log(r)) < 0.005) > 0.5 for r in RATIOS):
            continue  # the same machine, counted otherwise
        steady = np.rint((course - np.log(search.candidates.lowest_hz)) / LOG_STEP).astype(np.int64)
        fits = order_fits(search.orders(steady))
        voice = learn_voice(fits, seed)
        if (~seed).sum() > 8:
            runs_on = uniform_filter1d(step_evidence(fits, voice), 5)[~seed] > 1
            if runs_on.mean() <= 0.4:
                continue
        others.append(Machine(steady, voice))
    return others


def machines_met(search: Search, course: Course) -> list[Machine]:
    """Machines that a course went over to where its own fell quiet.

    When a router gives way its lines go with it. A comb that was followed out of the cut and
    in the cut sounds on at its own speed, while the course is elsewhere, is another machine's.
    Stretches that hold half of the cut are not asked: there the router itself may sound on.
    """
    path, met = course.path, []
    all_cut = np.count_nonzero(course.cutting & course.running)
    for stretch in _stretches_alike(path):
        steps = np.flatnonzero(stretch)
        cut = np.count_nonzero(course.cutting[stretch])
        if len(steps) < MIN_SEED_STEPS or cut > HARDLY_CUT * len(steps) or 2 * cut > all_cut:
            continue
        log_hz = np.log(search.candidates.rotation_hz[path[steps]])
        smooth = uniform_filter1d(log_hz, 9, mode="nearest")
        log_hz = np.interp(np.arange(len(path)), steps, smooth)
        elsewhere = course.cutting & course.running & ~stretch
        elsewhere &= np.abs(np.log(search.rotation_hz(path)) - log_hz) > FAR
        if np.count_nonzero(elsewhere) < MIN_SEED_STEPS:
            continue
        sounding = _sounding_on(search, course, np.exp(log_hz), stretch, elsewhere)
        if sounding.any():
            steady = np.rint((log_hz - np.log(search.candidates.lowest_hz)) / LOG_STEP)
            steady = steady.astype(np.int64)
            voice = learn_voice(order_fits(search.orders(steady)), stretch)
            met.append(Machine(steady, np.where(sounding, voice, SILENT)))
    return met


def leapt_to(search: Search, course: Course) -> tuple[Machine, Mask] | None:
    """A machine that a course leaps to from another's speed and back, again and again; and when.

    It need not be heard in the cut: no spindle wins back a tenth of its speed in no time.
    """
    for stretch in _stretches_alike(course.path):
        steps = np.flatnonzero(stretch)
        if len(steps) < MIN_SEED_STEPS or np.mean(course.cutting[steps]) > HARDLY_CUT:
            continue
        if _leaps(course.path, stretch):
            steady = np.interp(np.arange(len(stretch)), steps, course.path[steps])
            path = np.rint(steady).astype(np.int64)
            voice = learn_voice(order_fits(search.orders(path)), stretch)
            return Machine(path, voice), stretch
    return None


def leaps_up_from(path: npt.NDArray[np.int64]) -> Mask | None:
    """The steps at a speed that a path mostly keeps to and leaps up from, again and again.

    A spindle that is relieved wins its speed back in tenths of a second, and running up from
    standing takes longer: none turns faster by an eighth all at once.
    """
    stretches = _stretches_alike(path)
    if not stretches or 2 * np.count_nonzero(stretches[0]) < np.count_nonzero(path != OFF):
        return None
    mostly, usual = stretches[0], np.median(path[stretches[0]])
    faster = np.asarray(path > usual + FAR_OFF / LOG_STEP)
    rises = leaps = 0
    for first, end in spans(faster):
        if mostly[max(0, first - SOON_STEPS) : first].any():
            rises += 1
            leaps += bool(path[first] - usual > AT_ONCE * (np.median(path[first:end]) - usual))
    return mostly if leaps >= LEAST_LEAPS and leaps >= MOST_LEAP * rises else None


def is_a_line(machine: Machine) -> bool:
    """Whether a machine that was met is known by too few lines to be told from a whistle."""
    return bool(np.count_nonzero(machine.voice != SILENT) < LEAST_ORDERS)


def _leaps(path: npt.NDArray[np.int64], stretch: Mask) -> bool:
    """Whether a speed that is held is come to from far off, and left, all at once."""
    if np.ptp(np.percentile(path[stretch], [10, 90])) > HOP:
        return False
    leaps = meetings = 0
    edges = 1 + np.flatnonzero(stretch[1:] != stretch[:-1])
    for edge in edges[(edges >= BESIDE_STEPS) & (edges <= len(path) - BESIDE_STEPS)]:
        around = path[edge - BESIDE_STEPS : edge + BESIDE_STEPS]
        before, after = (
            np.median(around[: BESIDE_STEPS // 2]),
            np.median(around[-BESIDE_STEPS // 2 :]),
        )
        if (around == OFF).any() or abs(after - before) * LOG_STEP < FAR_OFF:
            continue
        meetings += 1
        at_once = np.abs(path[edge + 1] - path[edge - 1])
        leaps += bool(at_once > AT_ONCE * abs(after - before))
    return meetings >= LEAST_LEAPS and leaps >= MOST_LEAP * meetings


def _stretches(path: npt.NDArray[np.int64]) -> list[tuple[int, int]]:
    """The running steps of a path parted at its hops, longest first."""
    on = path != OFF
    breaks = np.flatnonzero((np.diff(on.astype(np.int8)) != 0) | (np.abs(np.diff(path)) > HOP))
    edges = np.concatenate([[0], breaks + 1, [len(path)]])
    stretches = [(a, b) for a, b in pairwise(edges.tolist()) if on[a]]
    return sorted(stretches, key=lambda stretch: stretch[0] - stretch[1])


def _stretches_alike(path: npt.NDArray[np.int64]) -> list[Mask]:
    """The running steps of a path parted at its hops; stretches of much the same speed together."""
    alike: list[tuple[float, Mask]] = []
    for a, b in _stretches(path):
        middle = float(np.median(path[a:b]))
        near = (mask for speed, mask in alike if abs(speed - middle) <= HOP)
        mask = next(near, None)
        if mask is None:
            mask = np.zeros(len(path), bool)
            alike.append((middle, mask))
        mask[a:b] = True
    return [mask for _, mask in alike]


def _sounding_on(
    search: Search, course: Course, rotation_hz: FloatArray, heard: Mask, elsewhere: Mask
) -> Mask:
    """Which orders of a comb are there elsewhere too, shape (orders,): all, some or none.

    Where most of those that were clear sound on the comb is a machine's, else only what surely
    does by itself is: a machine of one loud line.
    """
    there = np.nan_to_num(_over_surroundings(search, rotation_hz, some_of(heard)))
    clear = there.mean(axis=0)
    steps = some_of(elsewhere)
    over = _over_surroundings(search, rotation_hz, steps)
    # Cells where the course's own lines lie, or just beside, say nothing.
    line_hz = rotation_hz[steps][:, None] * ORDERS
    own_hz = search.rotation_hz(course.path)[steps][:, None]
    nearest = np.rint(line_hz / own_hz).astype(np.int64)
    audible = np.concatenate([[False], course.machine.voice >= AT_TIMES, [False]])
    own = np.abs(line_hz - nearest * own_hz) < (ASIDE_BINS + 2.5) * search.grid.bin_hz
    own &= audible[np.minimum(nearest, len(audible) - 1)]
    heard_there = np.isfinite(over) & ~own & (clear > CLEAR_ORDER)
    counts = np.count_nonzero(heard_there, axis=0)
    means = np.where(heard_there, over, 0).sum(axis=0) / np.maximum(counts, 1)
    clearly = means > np.maximum(LINE_SOUNDS_ON, LINE_SURELY * _deviation(counts))
    by_itself: Mask = clearly & (counts >= LEAST_OF_A_LINE)
    cells, each = int(counts.sum()), means[counts > 0]
    if cells < LEAST_CELLS or len(each) < LEAST_ORDERS:
        return by_itself
    # One line in common with a third machine must not decide: most of the orders sound on.
    mean, middle = float(np.mean(over[heard_there])), float(np.median(each))
    all_do = mean > SURELY * _deviation(cells) and min(mean, middle) > SOUNDS_ON
    return np.ones(len(means), bool) if all_do else by_itself


def _deviation(cells: npt.ArrayLike) -> FloatArray:
    """Of the mean of so many cells; neighbouring steps share half their sound."""
    return CELL_SPREAD / np.sqrt(np.maximum(cells, 1) / 2)


def _over_surroundings(
    search: Search, rotation_hz: FloatArray, steps: npt.NDArray[np.int64]
) -> FloatArray:
    """Excess at each order less what lies just beside it, shape (steps, orders)."""
    at, below, above = (
        order_excess(
            search.excess[steps],
            rotation_hz=rotation_hz[steps],
            grid=search.grid,
            aside_bins=aside,
        )
        for aside in (0.0, -ASIDE_BINS, ASIDE_BINS)
    )
    beside = (np.minimum(below, LOUDEST_CELL) + np.minimum(above, LOUDEST_CELL)) / 2
    return np.asarray(np.minimum(at, LOUDEST_CELL) - beside, np.float64)
