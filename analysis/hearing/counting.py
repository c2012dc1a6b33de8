"""Counting a course's lines anew when another multiple explains the whole take better."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from analysis.hearing.orders import FloatArray, order_excess, shift_to
from analysis.hearing.ratio import (
    MARGIN,
    NOISE_LEVEL,
    RATIOS,
    cutting_score,
    idle_score,
    ripple_sidebands,
)
from analysis.hearing.search import Course, Search, some_of
from analysis.hearing.states import told_either_way
from analysis.hearing.voice import Mask

ASIDE = 3.5  # bins: just outside a Hann line
MOST_EXCESS = 5.0  # nepers a step may add to an order's mean
LIKENESS_WORTH = 5.0  # of nats a step, all through a take: a voice that was learned knows the count
TEETH_WORTH, MOST_TEETH = 0.3, 6.0  # of nepers by which the cut is heard in the teeth's tones
NEARLY = 5.0  # nats by which a ratio may be behind and still be looked at
NEARLY_TAUGHT = 15.0  # and where a voice that was learned may speak for it
SAME_LINES, MOSTLY = 4, 0.6  # candidates, 1 %; share of the steps
CLEARLY, APART_BINS = 0.8, 4.0  # of a line that moves: nepers, and how far
WEIGHED_HZ = 7_500.0  # ratios are weighed on the orders up to here


def counted_right(search: Search, course: Course) -> Course:
    """Count the lines of a course anew if another multiple explains them better.

    What the lines' means say of a ratio is weighed together with the evidence for the course
    so counted: counted double, half of the lines are left unexplained.
    """
    nearly = NEARLY if search.taught is None else NEARLY_TAUGHT
    for _ in range(2):
        scores = ratio_scores(search, course)
        likely = [ratio for ratio in scores if scores[ratio] > scores[1.0] - nearly]
        counted = {ratio: _counted(search, course, ratio) for ratio in likely}
        # Counted wrongly, the cut may be told wrongly too: each ratio may have any's.
        for otherwise in likely:
            if otherwise != 1.0:
                cutting = counted[otherwise].cutting & course.running
                told = ratio_scores(search, replace(course, cutting=cutting))
                scores = {ratio: max(scores[ratio], told.get(ratio, -np.inf)) for ratio in likely}
        weights = {
            ratio: scores[ratio]
            + counted[ratio].evidence
            + LIKENESS_WORTH * counted[ratio].likeness
            + TEETH_WORTH * min(counted[ratio].cutness, MOST_TEETH)
            - counted[ratio].off_plate
            for ratio in likely
        }
        best = max(weights, key=lambda ratio: weights[ratio])
        if weights[best] <= weights[1.0] + MARGIN:
            break
        course = counted[best]
    return course


def _counted(search: Search, course: Course, ratio: float) -> Course:
    """The course counted by another ratio, its states told apart anew and by what they were."""
    if ratio == 1.0:
        return course
    path = _moved(search, course, ratio, course.running)
    return told_either_way(search, path, course.cutting)


def _moved(search: Search, course: Course, ratio: float, steps: Mask) -> npt.NDArray[np.int64]:
    """The course's path with some of its steps counted by another ratio."""
    moved = np.clip(course.path + shift_to(ratio), 0, search.candidates.count - 1)
    return np.where(steps, moved, course.path)


def counted_otherwise(course: Course, other: Course) -> float | None:
    """The ratio of another course's speeds to a course's where both follow the same lines."""
    both = course.running & other.running
    if not both.any():
        return None
    apart = (other.path - course.path)[both]
    return next(
        (
            ratio
            for ratio in RATIOS[1:]
            if np.mean(np.abs(apart - shift_to(ratio)) <= SAME_LINES) > MOSTLY
        ),
        None,
    )


def ratio_scores(search: Search, course: Course) -> dict[float, float]:
    """How well the lines of a course make sense as a machine's, counted by each ratio, nats.

    Ratios that lead out of the speeds looked among are left out.
    """
    free, cutting = some_of(course.running & ~course.cutting), some_of(course.cutting)
    middle_hz = float(np.median(search.candidates.rotation_hz[course.path[course.running]]))
    lowest_hz, highest_hz = search.candidates.rotation_hz[[0, -1]]
    free_hz = (
        np.median(search.candidates.rotation_hz[course.path[free]]) if len(free) > 8 else np.inf
    )
    scores = {}
    for ratio in RATIOS:
        if ratio != 1.0 and not 0.97 * lowest_hz <= ratio * middle_hz <= 1.03 * highest_hz:
            continue
        if ratio != 1.0 and ratio * free_hz < search.free_hz[0]:
            continue
        top_hz = min(WEIGHED_HZ, (search.grid.bins - 3) * search.grid.bin_hz)
        top_order = max(4, int(top_hz / (ratio * middle_hz)))
        moving = _moving_along(search, course, ratio, top_order)
        score, idle_too = 0.0, np.zeros(top_order, bool)
        if len(free) > 8:
            mean = _mean_excess(search, course, ratio, free, top_order)
            idle_too = np.nan_to_num(mean, nan=-1) > 0.2
            score += idle_score(mean, steps=len(free), rotation_hz=ratio * middle_hz, moving=moving)
        if len(cutting) > 8 and search.flutes:
            mean = _mean_excess(search, course, ratio, cutting, top_order)
            score += cutting_score(
                mean,
                steps=len(cutting),
                rotation_hz=ratio * middle_hz,
                flutes=search.flutes,
                idle_too=idle_too,
                moving=moving,
            )
        scores[ratio] = score
    return scores


def _moving_along(search: Search, course: Course, ratio: float, top_order: int) -> Mask:
    """Orders that are clear both where the course is slow and where it is fast, shape (orders,).

    A line that stands still, or is another machine's, can't be on one order at both.
    """
    rotation_hz = search.rotation_hz(course.path)
    slow_hz, fast_hz = np.percentile(rotation_hz[course.running], [25, 75])
    slow, fast = (
        _mean_excess(search, course, ratio, some_of(course.running & side), top_order) > CLEARLY
        for side in (rotation_hz <= slow_hz, rotation_hz >= fast_hz)
    )
    apart_hz = ratio * (fast_hz - slow_hz) * np.arange(1, top_order + 1)
    return np.asarray(slow & fast & (apart_hz > APART_BINS * search.grid.bin_hz))


def _mean_excess(
    search: Search,
    course: Course,
    ratio: float,
    steps: npt.NDArray[np.int64],
    top_order: int,
) -> FloatArray:
    """Mean excess of orders 1 to `top_order`, less their surroundings' and mains ripple.

    A resonance lifts a whole stretch of the spectrum over its floor; a tone stands out of
    what lies just beside it.
    """
    rotation = ratio * search.rotation_hz(course.path)[steps]
    at, below, above = (
        _order_means(search, rotation, steps, top_order, aside) for aside in (0, -ASIDE, ASIDE)
    )
    mean = at - np.maximum((below + above) / 2 - NOISE_LEVEL, 0)
    ripple = ripple_sidebands(
        mean, rotation_hz=float(np.median(rotation)), bin_hz=search.grid.bin_hz
    )
    return np.where(ripple, np.minimum(mean, NOISE_LEVEL), mean)


def _order_means(
    search: Search,
    rotation_hz: FloatArray,
    steps: npt.NDArray[np.int64],
    top_order: int,
    aside_bins: float,
) -> FloatArray:
    orders = order_excess(
        search.excess[steps],
        rotation_hz=rotation_hz,
        grid=search.grid,
        top_order=top_order,
        aside_bins=aside_bins,
    )
    heard = np.isfinite(orders)
    total = np.where(heard, np.minimum(orders, MOST_EXCESS), 0).sum(axis=0)
    return np.asarray(total / np.maximum(heard.sum(axis=0), 1), np.float64)
