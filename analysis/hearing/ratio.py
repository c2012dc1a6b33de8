"""Half, double or right: which multiple of a course is the true rotation.

A course that runs along the right lines can still count them wrongly. Over a whole take
the orders are averaged until even a faint one stands clear of the noise, and then the
lines must make sense as a machine's: running free, a handful of orders whichever the
speed, the first ones likeliest; in the cut, the teeth's multiples, and the orders between
them only as runout makes them.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from analysis.hearing.orders import ORDERS, TOP_ORDER

RATIOS = (1.0, 0.5, 2.0, 1 / 3, 3.0, 2 / 3, 1.5, 0.75, 4 / 3)
MARGIN = 2.0  # nats by which another ratio must win

NOISE_LEVEL = -0.577  # mean ln(power / floor) of noise alone: Euler's gamma
CLEAR = 0.3  # an order's mean must stand this far out: floors are not quite flat
GAIN_CAP = 6.0  # nats an order can bring: one line must not outvote the rest
EXPECTED_IDLE_LINES = 5.0

# Runout: chance of the case, then of an order between the teeth's being absent, weaker
# than its neighbours, or as strong.
RUNOUT_CASES = (
    (0.50, 0.93, 0.05, 0.02),  # teeth alike
    (0.42, 0.30, 0.60, 0.10),  # one proud
    (0.08, 0.20, 0.40, 0.40),  # only one cutting
)


def order_gains(mean_excess: npt.NDArray[np.floating], steps: int) -> npt.NDArray[np.float64]:
    """Nats in favour of a tone at each order, from its mean excess over `steps` steps."""
    deviation = 1 / np.sqrt(max(steps, 1) / 2)  # neighbouring steps share half their sound
    clear = mean_excess - NOISE_LEVEL - CLEAR - 2 * deviation
    return np.asarray(np.clip(clear / 0.1, 0, GAIN_CAP), np.float64)


def idle_score(
    mean_excess: npt.NDArray[np.floating], *, steps: int, rotation_hz: float, top_hz: float
) -> float:
    """Log likelihood of the orders' mean excess for a machine running free."""
    chance = np.full(TOP_ORDER, min(0.3, EXPECTED_IDLE_LINES * rotation_hz / top_hz))
    chance[:2] = 0.8, 0.6
    gains = order_gains(mean_excess, steps)
    return float(np.nansum(np.log(1 - chance + chance * np.exp(gains))))


def cutting_score(
    mean_excess: npt.NDArray[np.floating],
    *,
    steps: int,
    flutes: int,
    idle_too: npt.NDArray[np.bool_],
) -> float:
    """Log likelihood of the orders' mean excess for a machine in the cut.

    Orders that sound when running free too are left out: they tell nothing of the teeth.
    """
    seen = np.where(idle_too, np.nan, mean_excess)
    strength = np.exp(order_gains(seen, steps))
    teeth = ORDERS % flutes == 0
    score = float(np.nansum(np.log(0.2 + 0.8 * strength[teeth])))
    if flutes == 1:
        return score
    around = np.interp(ORDERS, ORDERS[teeth], np.nan_to_num(seen[teeth], nan=-0.5))
    weaker = seen < around - 0.7
    cases = [
        np.log(chance)
        + np.nansum(np.log(absent + np.where(weaker, weak, even) * strength)[~teeth])
        for chance, absent, weak, even in RUNOUT_CASES
    ]
    return score + float(np.logaddexp.reduce(cases))
