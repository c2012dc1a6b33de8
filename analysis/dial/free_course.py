"""The course of a router that runs free while its dial is turned, and its voice.

A take for calibration holds no cut to find the machine by, and its speeds span the whole
plate, so half, 3/2 and double can't be told apart plateau by plateau. But its lines keep
their distances on a log frequency axis, whatever the speed. So the take's parts are laid over
each other first, which gives all speeds against one another without counting an order; lines
that stay where they are belong to something else and drop out. The orders are counted once,
over the whole take.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from analysis.dial.aligning import alignments
from analysis.dial.counting_orders import TOLERANCE, count_orders
from analysis.dial.log_axis import (
    CHUNK_STEPS,
    EVIDENCE,
    FEWEST_CHUNKS,
    LOWEST_HZ,
    Floats,
    LogAxis,
    log_axis,
    without_what_stays,
)
from analysis.dial.moving_lines import (
    GLIDE,
    SWITCH,
    Alignment,
    Cells,
    path_along,
    runs_of_one_value,
    sounding_lines,
    worth_of_moving,
)
from analysis.dial.running_on import without_the_doubtful, without_what_runs_on
from analysis.dial.second_look import Sounding
from analysis.dial.second_router import another_turns
from analysis.dial.staying import staying_lines, without_cells
from analysis.hearing.orders import (
    LEARNABLE,
    LOG_STEP,
    ORDERS,
    Excess,
    Voice,
    levels,
    log_axis_excess,
    order_excess,
    sounding_tables,
)
from analysis.hearing.path import OFF, best_path
from analysis.hearing.plate import ANY_ROUTER_RPM
from analysis.hearing.spectra import SpectrumGrid
from analysis.hearing.voice import Mask, Voices, learn_voice, order_fits

FloatArray = npt.NDArray[np.float64]

MOST_SPAN = 1.25  # a dial's highest speed over its lowest, against the plate's
BEYOND = 0.88, 1.12  # how far beyond the plate a speed may lie
MOSTLY = 0.6
FAR_MORE = 1.5  # explained with the lines of a machine that stays left in: it was the router
SEEDS, FEWER_SEEDS = 10, 5  # fewer for a yes or no
LIKELIEST = 5
ROUNDS = 5
ROWS_AT_ONCE = 64  # keeps the sums in the processor's cache
NEAR_CELLS = 6
RULED_OUT = -50.0  # nats


@dataclass(frozen=True, slots=True, eq=False)
class FreeCourse:
    """What a router did and sounds like, running free.

    Attributes
    ----------
    rotation_hz : array, shape (steps,)
        To a quarter of a percent; NaN where off.
    sureness : array, shape (steps,)
        Log likelihood of the lines' being there.
    voices : Voices
        Both are the same voice: nothing was cut.
    rival_ratio : float or None
        Another multiple of all speeds that explains the lines about as well.
    another_turns : bool
        Whether a second machine turns from speed to speed meanwhile.
    sounding : Sounding
        What a second look is taken with.
    """

    rotation_hz: FloatArray
    sureness: FloatArray
    voices: Voices
    rival_ratio: float | None
    another_turns: bool
    sounding: Sounding


def find_free_course(
    excess: Excess, *, grid: SpectrumGrid, plate_range_rpm: tuple[float, float] | None
) -> FreeCourse | None:
    """Find the course of a machine running free, or None where no set of lines moves together.

    Parameters
    ----------
    excess : array, shape (steps, bins)
        ln(power / floor), from `take_spectra`; several takes may follow one another.
    grid : SpectrumGrid
    plate_range_rpm : (float, float) or None
        No-load speeds on the router's plate. Plates are wrong at times: counts of the orders
        that leave it are unlikelier, the farther the more, not impossible.

    Notes
    -----
    1. The spectra on a log axis, without lines that stay where they are.
    2. The lines that move together best, from many starts.
    3. The rotation that makes orders of them, most of the take being on the plate.
    4. The path again, first roughly, then in every step, by whole orders alone.
    5. The voice along that path.
    """
    low_rpm, high_rpm = plate_range_rpm or ANY_ROUTER_RPM
    plate_hz = low_rpm / 60, high_rpm / 60
    found = _moving(excess, grid=grid, reach=int(np.log(MOST_SPAN * high_rpm / low_rpm) / LOG_STEP))
    if found is None:
        return None
    on_axis, axis, raw, likely, foreign = found
    whole = axis
    counted = max((_counted(axis, lines, plate_hz) for lines in likely), key=lambda one: one.worth)
    first_hz, orders, path, within = counted.first_hz, counted.orders, counted.path, counted.within
    hidden = np.full(len(path), OFF)
    for _ in range(ROUNDS):
        sounding, soundings = sounding_lines(axis, orders, path)
        before, path = path, path_along(axis, sounding, soundings, within)
        if np.count_nonzero(path != OFF) < FEWEST_CHUNKS:
            return None
        cleared = without_what_runs_on(axis, sounding, soundings, path, hidden=hidden)
        if cleared is not None:
            axis, hidden = cleared
        elif np.array_equal(path, before):
            break  # another round would be this one
    sounding, soundings = sounding_lines(axis, orders, path)
    path = without_the_doubtful(axis, orders, path)
    ordered = Alignment(path, sounding, soundings)
    evidence = _evidence(levels(on_axis), ordered, axis.reach, within, foreign)
    steps = best_path(EVIDENCE * evidence, glide_cost=GLIDE, switch_cost=SWITCH)
    sureness = evidence.max(axis=1).astype(np.float64)
    if not np.any(steps != OFF):
        return None
    log_turns = np.log(first_hz) + LOG_STEP * (steps + within[0] - axis.reach)
    rotation_hz = np.where(steps != OFF, np.exp(log_turns), np.nan)
    voice = _voice(rotation_hz, excess, grid)
    another = another_turns(whole, orders, ordered)
    return FreeCourse(
        rotation_hz=rotation_hz,
        sureness=sureness,
        voices=Voices(voice, voice),
        rival_ratio=counted.rival_ratio,
        another_turns=another,
        sounding=Sounding(whole, raw, *sounding_lines(whole, orders, path), first_hz, path),
    )


def _moving(
    excess: Excess, *, grid: SpectrumGrid, reach: int
) -> tuple[Floats, LogAxis, LogAxis, list[Alignment], Mask] | None:
    """Lines that move together, the axes without and with others, and the cells not known.

    The likeliest sets of lines, best first.
    """
    raw = log_axis_excess(excess, grid=grid, lowest_hz=LOWEST_HZ)
    raw_axis = log_axis(raw, raw, grid=grid, reach=reach)
    foreign = staying_lines(raw_axis)
    moving = without_what_stays(raw)
    axis = without_cells(log_axis(raw, moving, grid=grid, reach=reach), foreign)
    found = alignments(axis, seeds=SEEDS)
    heard = np.count_nonzero(found[0].path != OFF) if found else 0
    few = heard < MOSTLY * len(axis.mean)
    again = []
    if few or foreign.any():
        again = alignments(raw_axis, seeds=SEEDS if few else FEWER_SEEDS)
    if again:
        worth = worth_of_moving(raw_axis, again[0])
        # Few speeds: what stays may be the router itself.
        if few and worth > (worth_of_moving(axis, found[0]) if found else -1.0):
            return raw, raw_axis, raw_axis, again[:1], np.zeros_like(foreign)
        # A router with all its orders loud, at a speed that comes again, seems to stay.
        if found and worth > FAR_MORE * worth_of_moving(raw_axis, found[0]):
            return raw, raw_axis, raw_axis, again[:LIKELIEST], np.zeros_like(foreign)
    return (moving, axis, raw_axis, found[:LIKELIEST], foreign) if found else None


class _Counted(NamedTuple):
    """A set of lines that move together, with its orders counted."""

    first_hz: float
    rival_ratio: float | None
    orders: Cells
    path: Cells
    within: tuple[int, int]
    worth: float


def _counted(axis: LogAxis, lines: Alignment, plate_hz: tuple[float, float]) -> _Counted:
    """Count the orders of some lines; what that is worth is what whole orders alone explain.

    Where a setting is laid on the others by the wrong lines, whole orders explain less. What
    lies off the plate counts for nothing: it may be a machine that runs on.
    """
    first_hz, rival_ratio = count_orders(axis, lines, plate_hz=plate_hz)
    within = _within(first_hz, axis.reach, plate_hz)
    orders = np.rint(np.log(first_hz * ORDERS / LOWEST_HZ) / LOG_STEP).astype(np.int64)
    path = path_along(axis, *sounding_lines(axis, orders, lines.path), within)
    log_turns = np.log(first_hz) + LOG_STEP * (path - axis.reach)
    low, high = np.log(plate_hz) + np.array([-TOLERANCE, TOLERANCE])
    path = np.where((log_turns > low) & (log_turns < high), path, OFF)
    ordered = Alignment(path, *sounding_lines(axis, orders, path))
    return _Counted(
        first_hz, rival_ratio, orders, lines.path, within, worth_of_moving(axis, ordered)
    )


def _within(first_hz: float, reach: int, plate_hz: tuple[float, float]) -> tuple[int, int]:
    """First and last shift that are near enough to the plate."""
    low, high = (
        np.log(beyond * hz / first_hz) / LOG_STEP + reach
        for beyond, hz in zip(BEYOND, plate_hz, strict=True)
    )
    return int(np.clip(low, 0, 2 * reach)), int(np.clip(np.ceil(high), 0, 2 * reach))


def _evidence(
    level: npt.NDArray[np.uint8],
    ordered: Alignment,
    reach: int,
    within: tuple[int, int],
    foreign: Mask,
) -> Floats:
    """Log likelihood of each shift in each step, shape (steps, shifts within).

    What is not near the rough path is ruled out: its chunks know of other machines.
    """
    steps, cells = level.shape
    chunk = np.minimum(np.arange(steps) // CHUNK_STEPS, len(foreign) - 1)
    lowest, highest = (ends[chunk] - within[0] for ends in _near(ordered.path))
    total = np.full((steps, within[1] - within[0] + 1), RULED_OUT, np.float32)
    tables = sounding_tables()
    for begin_row in range(0, steps, ROWS_AT_ONCE):
        rows = slice(begin_row, begin_row + ROWS_AT_ONCE)
        near = lowest[rows] <= highest[rows]
        if not near.any():
            continue
        first = max(int(lowest[rows][near].min()), 0)
        part = total[rows, first : int(highest[rows][near].max()) + 1]
        part[:] = 0
        heard = level[rows].astype(np.intp)
        gains = {
            kind: np.take(tables[LEARNABLE[kind]], heard, mode="clip") * ~foreign[chunk[rows]]
            for kind in np.unique(ordered.soundings)
        }
        first += within[0]
        for place, line in enumerate(ordered.lines.tolist()):
            begin = line - reach + first
            low, high = max(begin, 0), min(begin + part.shape[1], cells)
            if high <= low:
                continue
            kinds = ordered.soundings[place, first + low - begin : first + high - begin]
            for a, b in runs_of_one_value(kinds):
                part[:, low - begin + a : low - begin + b] += gains[kinds[a]][:, low + a : low + b]
    shift = np.arange(total.shape[1])
    total[(shift < lowest[:, None]) | (shift > highest[:, None])] = RULED_OUT
    return total


def _near(path: Cells) -> tuple[Cells, Cells]:
    """Lowest and highest shift near a rough path in each chunk; the one above the other if off."""
    ends = np.pad(path, 1, constant_values=OFF)
    beside = np.stack([ends[:-2], path, ends[2:]])
    highest = beside.max(axis=0)
    lowest = np.where(beside == OFF, np.iinfo(np.int32).max, beside).min(axis=0)
    on = highest != OFF
    return np.where(on, lowest - NEAR_CELLS, 1), np.where(on, highest + NEAR_CELLS, 0)


def _voice(rotation_hz: FloatArray, excess: Excess, grid: SpectrumGrid) -> Voice:
    on = np.isfinite(rotation_hz)
    heard_hz = np.where(on, rotation_hz, np.nanmin(rotation_hz))
    return learn_voice(order_fits(order_excess(excess, rotation_hz=heard_hz, grid=grid)), on)
