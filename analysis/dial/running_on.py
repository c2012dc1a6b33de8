"""Stretches of a course that live on another machine's lines.

Two signs tell them. A line that is there as well while the router turns at quite another
speed is not the router's. And another machine's lines are not loud and faint in the same
order as the router's: they fit its voice far worse than a voice of their own.
"""

from __future__ import annotations

import numpy as np

from analysis.dial.log_axis import Floats, LogAxis
from analysis.dial.moving_lines import (
    DRIFT_CELLS,
    Cells,
    cells_of,
    fitted_worth,
    gains_along,
    sounding_gains,
)
from analysis.dial.staying import without_cells
from analysis.hearing.path import OFF
from analysis.hearing.search import spans

HELD_CELLS = 2
SHORTEST_CHUNKS = 4
NEAR_CHUNKS = 40  # some 15 s to either side
ELSEWHERE_CELLS = 8
TOGETHER = 4  # chunks
LOUD = 0.4  # nepers
LEAST_ON, MISFIT_AT = 0.43, 0.5
RECURRING, RECURRING_FIT = 0.15, 0.8
HIDDEN = 0.15
SAME_CELLS = 6
SHORT_S, SHORT_WORTH, LEAST_WORTH = 3.5, 60.0, 10.0  # nats
PASSING_CHUNKS, PASSING_FIT, PASSING_LOUD = 6, 0.65, 0.5


def without_what_runs_on(
    axis: LogAxis, lines: Cells, soundings: Cells, path: Cells, *, hidden: Cells
) -> tuple[LogAxis, Cells] | None:
    """The axis without other machines' lines on which the path lives; None where on none.

    `hidden` is the shift at which some were taken out before, in each chunk, or OFF. What is
    found there now is doubted less; what has that speed elsewhere, more. It comes back with
    the new ones in.
    """
    own = cells_of(axis, lines, path, np.arange(len(path)))
    elsewhere = np.where(own, np.nan, axis.raw)
    stretches = held(path, SHORTEST_CHUNKS)
    fits = [_fit(axis, lines, soundings, path[a:b], a) for a, b in stretches]
    usual = float(np.median([loud for _, loud in fits])) if fits else 0.0
    margins = []
    for (first, last), (fit, loud) in zip(stretches, fits, strict=True):
        margin = _runs_on(axis, elsewhere, lines, path, first, last)
        margin -= max(LEAST_ON, 2 * (fit - MISFIT_AT))
        if last - first <= PASSING_CHUNKS and loud < PASSING_LOUD * usual and fit < PASSING_FIT:
            margin = max(margin, RECURRING)
        margins.append(margin - (HIDDEN if np.mean(hidden[first:last] != OFF) > 0.5 else 0.0))
    shifts = np.array([np.median(path[a:b]) for a, b in stretches])
    others = np.concatenate([shifts[np.array(margins) > 0], hidden[hidden != OFF]])
    for place, (fit, _) in enumerate(fits):
        again = np.any(np.abs(others - shifts[place]) <= ELSEWHERE_CELLS)
        if fit < RECURRING_FIT and again:
            margins[place] += RECURRING
    worst = max(margins, default=0.0)
    if worst <= 0:
        return None
    foreign, hidden = np.zeros(own.shape, bool), hidden.copy()
    for (first, last), margin in zip(stretches, margins, strict=True):
        if margin > max(0.0, 0.5 * worst):
            foreign |= cells_of(axis, lines, path, np.arange(first, last))
            hidden[first:last] = path[first:last]
    return without_cells(axis, foreign), hidden


def without_the_doubtful(axis: LogAxis, lines: Cells, path: Cells) -> Cells:
    """The path without stretches that hardly make it likelier: chance, or a guest's lines.

    Hands leave a dial alone for longer than SHORT_S, so what is shorter must be heard well.
    """
    kept = path.copy()
    whole = fitted_worth(axis, lines, path)
    for first, last in held(path, 2):
        here = (path != OFF) & (np.abs(path - np.median(path[first:last])) <= SAME_CELLS)
        here[first:last] = True
        worth = whole - fitted_worth(axis, lines, np.where(here, OFF, path))
        short = (last - first) * axis.chunk_s < SHORT_S
        if worth < (SHORT_WORTH if short else LEAST_WORTH):
            kept[first:last] = OFF
    return kept


def _fit(
    axis: LogAxis, lines: Cells, soundings: Cells, path: Cells, first: int
) -> tuple[float, float]:
    """How well a stretch fits the voice, against a voice of its own, and its likelihood a chunk."""
    whole = np.full(len(axis.mean), OFF)
    whole[first : first + len(path)] = path
    gains = gains_along(axis, lines, whole)[0].sum(axis=2)
    fitted = float(sounding_gains(axis, lines, soundings, whole).sum())
    return fitted / max(float(gains.max(axis=0).sum()), 1e-9), fitted / len(path)


def held(path: Cells, shortest: int) -> list[tuple[int, int]]:
    """Stretches at one speed, of so many chunks at least."""
    on = path != OFF
    still = on[1:] & on[:-1] & (np.abs(np.diff(path)) <= HELD_CELLS)
    return [(a, b + 1) for a, b in spans(still) if b + 1 - a >= shortest]


def _runs_on(
    axis: LogAxis, mean: Floats, lines: Cells, path: Cells, first: int, last: int
) -> float:
    """How much of the lines of a stretch is there before or after it as well, 0 to 1."""
    shift = int(np.median(path[first:last]))
    cells = lines + shift - axis.reach
    cells = cells[(cells >= DRIFT_CELLS) & (cells < mean.shape[1] - DRIFT_CELLS)]
    inside = _heights(axis.raw[first:last], cells)
    loud = inside > LOUD
    cells, inside = cells[loud], inside[loud]
    shares = [0.0]
    for begin, end in ((max(0, first - NEAR_CHUNKS), first), (last, last + NEAR_CHUNKS)):
        elsewhere = (path[begin:end] != OFF) & (np.abs(path[begin:end] - shift) > ELSEWHERE_CELLS)
        outside = _heights(mean[begin:end][elsewhere], cells)
        known = np.isfinite(outside)
        if known.any():
            there = np.clip(outside[known], 0, inside[known])
            shares.append(float(there.sum() / inside[known].sum()))
    return max(shares)


def _heights(mean: Floats, cells: Cells) -> Floats:
    """Median height at some cells, or beside them, over a few chunks together each."""
    groups = len(mean) // TOGETHER
    if not groups or not len(cells):
        return np.full(len(cells), np.nan, np.float32)
    near = cells[:, None] + np.arange(-DRIFT_CELLS, DRIFT_CELLS + 1)
    parts = mean[: groups * TOGETHER, near].reshape(groups, TOGETHER, *near.shape)
    parts = parts.mean(axis=1)  # NaN where the router's own line crosses
    parts = np.where(np.isnan(parts).any(axis=2), np.nan, parts.max(axis=2))
    known = np.isfinite(parts).any(axis=0)
    out = np.full(len(cells), np.nan, np.float32)
    out[known] = np.nanmedian(parts[:, known], axis=0)
    return out
