"""How loud a plateau is: a router that is off sounds nothing like it, whatever else is heard.

The floor falls with the router, and a radio or a hum that nobody hears beside it stands as
clear over what is left as the router's lines stand over its own noise.
"""

from __future__ import annotations

import math

import numpy as np

from analysis.dial.listening import HeardTake
from analysis.dial.plateaus import Plateau
from analysis.hearing.orders import AT_TIMES, order_excess
from analysis.hearing.spectra import FLOOR_EVERY

FAINTER = 1.5  # nepers of power, 6.5 dB: rooms and resonances do less to the usual line
PARTS = 3
WITH_SPEED = 6.0  # power of the speed with which a fan's noise rises at most; common practice


def as_loud(
    plateaus: tuple[Plateau, ...], others: tuple[Plateau, ...], takes: tuple[HeardTake, ...]
) -> tuple[Plateau, ...]:
    """Those plateaus that are about as loud as a router would be that sounds as at the others.

    Loud is what lies where the router's orders do, lines and floor, in the usual one of them:
    that is not what a louder machine leaves of it, so nothing is too loud. A router is the
    louder the faster it turns, but phones may even that out. One other plateau may be loud for
    reasons of its own.
    """
    levels = {plateau: _level(plateau, takes[plateau.take]) for plateau in {*plateaus, *others}}

    def expected(plateau: Plateau) -> float:
        rpm = plateau.spindle_rpm
        by_others = [
            levels[one] - WITH_SPEED * max(0.0, math.log(one.spindle_rpm / rpm))
            for one in others
            if one.take == plateau.take and one != plateau
        ]
        return sorted(by_others)[-2] if len(by_others) > 1 else -math.inf

    return tuple(p for p in plateaus if levels[p] > expected(p) - FAINTER)


def _level(plateau: Plateau, take: HeardTake) -> float:
    """Power at the router's orders, the median of them, nepers, in the faintest part."""
    if take.course is None:
        return 0.0
    grid = take.spectra.grid
    steps = slice(*(round(t / (2 * grid.step_s)) for t in (plateau.start_s, plateau.end_s)))
    excess = take.spectra.excess[steps]
    floor = take.spectra.log_floor[2 * steps.start : 2 * steps.stop : 2][: len(excess)]
    orders = np.flatnonzero(take.course.voices.idle >= AT_TIMES)
    hz = plateau.spindle_rpm / 60
    heard = order_excess(excess, rotation_hz=np.full(len(excess), hz), grid=grid)[:, orders]
    place = np.rint((orders + 1) * hz / grid.bin_hz).astype(np.int64) // FLOOR_EVERY
    heard += floor[:, np.minimum(place, floor.shape[1] - 1)]
    heard = heard[:, np.isfinite(heard).all(axis=0)]
    if not heard.size:
        return 0.0
    # What is heard while a router runs down is as loud at first, and silent then.
    return min(float(np.median(part.mean(axis=0))) for part in np.array_split(heard, PARTS))
