"""Which order each of the lines is: the rotation that lines which move together belong to."""

from __future__ import annotations

import numpy as np

from analysis.dial.log_axis import LOWEST_HZ, LogAxis
from analysis.dial.moving_lines import HEARD_IN, Alignment, FloatArray, setting_weights, shifted_sum
from analysis.hearing.orders import LOG_STEP, ORDERS
from analysis.hearing.path import OFF

PARTS = 4  # rotations tried in a cell
FAR = 0.3  # neper beyond the plate to which rotations are tried
TOLERANCE, FULL_COST_AT = 0.08, 0.1  # nepers beyond the plate that cost nothing, and all
COST_OF_LEAVING = 60.0  # nats, if all of the take lay off the plate
PLATE_DEVIATION, MOST_BEYOND = 0.05, 6.0  # nepers by which a plate's ends may err, and nats
ENDS = 4, 96  # percent of the take: less is the edge of a ramp
SHARE = 0.25  # of the likelihood that counts: chunks and lines are not independent
MOST_GAIN, MOST_LOSS = 8.0, -20.0  # nats for one order: one line must not outvote the rest
FIRST_CHANCES = 0.8, 0.6  # that orders 1 and 2 are heard
MOST_CHANCE, EXPECTED_LINES = 0.3, 5.0  # that another one is, from how many there are
CLEAR = 3.0  # nats by which the count must beat the next
APART = 0.02  # nepers


def count_orders(
    axis: LogAxis, found: Alignment, *, plate_hz: tuple[float, float]
) -> tuple[float, float | None]:
    """Rotation at the seed's own shift, Hz, and the ratio of a rival count if there is one.

    Every order of a rotation either sounds or is silent, and how likely it is to sound falls
    with how many there are: half the rotation explains as much, but by orders twice as many.
    """
    weights = setting_weights(axis, found.path)
    logs = _rotations(axis, found, plate_hz)
    off_plate = _off_plate(logs, axis, found, weights, plate_hz)
    scores, loudness = _scores(logs, axis, found, weights)
    scores -= COST_OF_LEAVING * off_plate + _beyond(logs, axis, found, plate_hz)
    best = int(np.argmax(scores))
    others = np.where(np.abs(logs - logs[best]) > APART, scores, -np.inf)
    rival = int(np.argmax(others))
    close = scores[best] - others[rival] < CLEAR
    # The lines are as broad as the windows are short: their tops tell where in them.
    best = int(np.argmax(np.where(np.abs(logs - logs[best]) < APART, loudness, -np.inf)))
    return float(np.exp(logs[best])), float(np.exp(logs[rival] - logs[best])) if close else None


def _rotations(axis: LogAxis, found: Alignment, plate_hz: tuple[float, float]) -> FloatArray:
    """Rotations to try for the seed's own shift, as logarithms: some chunk is on the plate."""
    shift = found.path[found.path != OFF] - axis.reach
    low, high = np.log(plate_hz)
    return np.arange(
        low - FAR - LOG_STEP * shift.max(), high + FAR - LOG_STEP * shift.min(), LOG_STEP / PARTS
    )


def _off_plate(
    logs: FloatArray,
    axis: LogAxis,
    found: Alignment,
    weights: FloatArray,
    plate_hz: tuple[float, float],
) -> FloatArray:
    """Share of the take that a rotation would put off the plate, 0 to 1."""
    on = found.path != OFF
    speeds = logs[:, None] + LOG_STEP * (found.path[on] - axis.reach)
    low, high = np.log(plate_hz)
    beyond = np.maximum(np.maximum(low - speeds, speeds - high) - TOLERANCE, 0)
    share: FloatArray = np.minimum(beyond / FULL_COST_AT, 1) @ weights[on] / weights[on].sum()
    return share


def _beyond(
    logs: FloatArray, axis: LogAxis, found: Alignment, plate_hz: tuple[float, float]
) -> FloatArray:
    """What the slowest and the fastest speed say against a rotation, nats.

    Where a fan's lines alone are heard, counts of nine, ten and eleven blades explain them
    alike, but not all of them keep to the plate.
    """
    shifts = found.path[found.path != OFF]
    ends = LOG_STEP * (np.percentile(shifts, ENDS) - axis.reach)
    low, high = np.log(plate_hz)
    beyond = np.maximum([low - logs - ends[0], logs + ends[1] - high], 0).sum(axis=0)
    return np.asarray(np.minimum(0.5 * (beyond / PLATE_DEVIATION) ** 2, MOST_BEYOND))


def _scores(
    logs: FloatArray, axis: LogAxis, found: Alignment, weights: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """How well the lines are orders of each rotation, nats, and how much sounds at them."""
    gains, count = shifted_sum(axis.gains[1:], found.path, weights, reach=axis.reach)
    gain = SHARE * gains.max(axis=0)
    place = (logs[:, None] + np.log(ORDERS / LOWEST_HZ)) / LOG_STEP + axis.reach
    left = np.clip(place.astype(np.int64), 0, len(gain) - 2)
    part = place - left
    known = (place >= 0) & (place < len(gain) - 1) & (count[left] > HEARD_IN * weights.sum())
    at = gain[left] * (1 - part) + gain[left + 1] * part
    loudness = np.where(known, np.maximum(at, 0), 0).sum(axis=1)
    middle = LOG_STEP * np.median(found.path[found.path != OFF] - axis.reach)
    top_hz = LOWEST_HZ * np.exp(LOG_STEP * axis.mean.shape[1])
    chance = np.minimum(MOST_CHANCE, EXPECTED_LINES * np.exp(logs + middle) / top_hz)
    chances = np.repeat(chance[:, None], len(ORDERS), axis=1)
    chances[:, :2] = FIRST_CHANCES
    score = np.log(1 - chances + chances * np.exp(np.clip(at, MOST_LOSS, MOST_GAIN)))
    return np.where(known, score, 0).sum(axis=1), loudness
