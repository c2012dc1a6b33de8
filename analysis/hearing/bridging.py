"""Running free between two cuts where nothing of it is heard.

Beside a loud vacuum a router may be heard in the cut only. A motor that holds its speed turns
at much the same speed before and after: at the moment of first contact it still runs free, and
nobody stops a router and starts it again in a few seconds.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from analysis.hearing.orders import LOG_STEP
from analysis.hearing.path import OFF
from analysis.hearing.search import Course, Search, spans
from analysis.hearing.voice import Mask, order_fits, step_evidence

FloatArray = npt.NDArray[np.float64]

HOLDS = 0.03  # ln speed that a held motor may move in the cut
HARDLY_HEARD = 3.0  # nats a step, mean: what following noise brings
LEAST_CUT_STEPS = 40
MOST_S, AT_ENDS_S = 8.0, 1.5  # between cuts; before the first and after the last
AT_ENTRY_S, WON_BACK_S = 0.1, 0.3  # free speed is still heard, and comes back
STANDING_OFF = 0.006  # of speed, standard deviation: sag won back, warming up


def only_heard_in_cut(search: Search, course: Course) -> Course:
    """The course off where it should run free but hardly anything of it is heard.

    Only for a motor that holds its speed, so that the rest can be told from its cuts.
    """
    cut = course.cutting & course.running
    free = course.running & ~cut
    if np.count_nonzero(cut) < LEAST_CUT_STEPS or not free.any():
        return course
    low, high = np.percentile(course.path[cut], [5, 95])
    if (high - low) * LOG_STEP > HOLDS:
        return course
    fits = order_fits(search.orders(course.path, steps=free))
    if np.mean(step_evidence(fits, course.voices.idle)) > HARDLY_HEARD:
        return course
    return replace(course, path=np.where(free, OFF, course.path))


def bridged(
    rotation_hz: FloatArray, deviation_hz: FloatArray, *, cutting: Mask, step_s: float
) -> tuple[FloatArray, FloatArray]:
    """Rotation and its deviation with short gaps beside cuts filled in from their ends.

    Parameters
    ----------
    rotation_hz, deviation_hz : arrays, shape (frames,)
        NaN where nothing is heard.
    cutting : array, shape (frames,)
    step_s : float

    Returns
    -------
    rotation_hz, deviation_hz : arrays, shape (frames,)
    """
    rotation_hz, deviation_hz = rotation_hz.copy(), deviation_hz.copy()
    heard = np.isfinite(rotation_hz)
    log_hz, entries = np.log(rotation_hz), round(AT_ENTRY_S / step_s)
    gaps = [
        (first, end, bool(first > 0 and cutting[first - 1]), bool(np.any(cutting[end : end + 1])))
        for first, end in spans(~heard)
    ]
    free = {end: float(np.nanmax(log_hz[end : end + entries])) for _, end, _, cut in gaps if cut}
    if not free:
        return rotation_hz, deviation_hz
    usual = float(np.median(list(free.values())))
    at_work = float(np.median(log_hz[cutting & heard]))
    for first, end, after_cut, before_cut in gaps:
        if abs(free.get(end, at_work) - at_work) > HOLDS:
            continue  # no cut begins there: it spins up
        since_s = step_s * np.arange(1, end - first + 1)
        until_s = since_s[::-1]
        if after_cut and before_cut:
            near = np.full(end - first, (end - first) * step_s <= MOST_S)
        else:
            near = (after_cut & (since_s < AT_ENDS_S)) | (before_cut & (until_s < AT_ENDS_S))
        speed = np.full(end - first, free.get(end, usual))
        if after_cut:
            speed += (log_hz[first - 1] - speed) * np.exp(-since_s / WON_BACK_S)
        here = np.arange(first, end)[near]
        rotation_hz[here] = np.exp(speed[near])
        deviation_hz[here] = STANDING_OFF * rotation_hz[here]
    return rotation_hz, deviation_hz
