"""Which machines are to be heard: stretches of one voice, and what runs on by itself."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import numpy.typing as npt
from scipy.ndimage import uniform_filter1d

from analysis.hearing.orders import LOG_STEP, FloatArray
from analysis.hearing.path import OFF
from analysis.hearing.ratio import RATIOS
from analysis.hearing.search import HOP, Course, Machine, Search
from analysis.hearing.voice import Mask, learn_voice, order_fits, step_evidence

MIN_SEED_STEPS = 20  # about a second


def seeds_of(search: Search, path: npt.NDArray[np.int64]) -> list[Mask]:
    """Stretches of a path that sound like one machine in one state, longest first, four at most."""
    on = path != OFF
    breaks = np.flatnonzero((np.diff(on.astype(np.int8)) != 0) | (np.abs(np.diff(path)) > HOP))
    edges = np.concatenate([[0], breaks + 1, [len(path)]])
    orders = np.clip(np.nan_to_num(search.orders(path)), -0.5, 3)
    stretches = [(a, b) for a, b in pairwise(edges.tolist()) if on[a] and b - a >= 8]
    clusters: list[tuple[FloatArray, Mask]] = []
    for a, b in sorted(stretches, key=lambda stretch: stretch[0] - stretch[1]):
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
