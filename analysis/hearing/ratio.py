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

RATIOS = (1.0, 0.5, 2.0, 1 / 3, 3.0, 2 / 3, 1.5, 0.75, 4 / 3)
MARGIN = 0.5  # nats by which another ratio must win

NOISE_LEVEL = -0.577  # mean ln(power / floor) of noise alone: Euler's gamma
CLEAR = 0.3  # an order's mean must stand this far out: floors are not quite flat
ABSENT = 3.0  # nats against a tone where the mean is that of noise
GAIN_CAP = 2.5  # nats an order can bring: strays and bearing tones fall on orders too
MOVING_CAP = 6.0  # and one that moved with the speed: no stray does
EXPECTED_IDLE_LINES = 5.0
HARMONIC_FROM = 1.5  # nats at which an order counts as a fan's or commutator's first
LOWEST_FAN_ORDER = 4
EXPECTED_HIGH_TEETH = 6.0  # of the teeth's orders beyond the fourth
HUM_NEAR_HZ, HUM_TOP_HZ, HUM_GAIN = 8.0, 260.0, 0.0
LINE_BINS = 2.0  # where a Hann line ends, from its middle
MAINS_HZ = (50.0, 60.0)  # IEC 60038 [memory]
RIPPLES_HZ = (100.0, 120.0)
RIPPLE_LOUDER = 0.5  # nepers by which the tone is louder than its sideband

# Runout: chance of the case, then of an order between the teeth's being absent, weaker
# than its neighbours, or as strong.
RUNOUT_CASES = (
    (0.17, 0.93, 0.05, 0.02),  # teeth alike: rare in a hand router's collet
    (0.68, 0.25, 0.50, 0.25),  # one proud
    (0.15, 0.20, 0.40, 0.40),  # only one cutting
)


def order_gains(
    mean_excess: npt.NDArray[np.floating],
    *,
    steps: int,
    rotation_hz: float,
    moving: npt.NDArray[np.bool_] | None = None,
) -> npt.NDArray[np.float64]:
    """Nats in favour of a tone at each order, from its mean excess over `steps` steps.

    Orders that were seen `moving` with the speed may count for more. Low orders that lie on
    a mains harmonic may be hum: they can't count for a tone.
    """
    deviation = 1 / np.sqrt(max(steps, 1) / 2)  # neighbouring steps share half their sound
    clear = mean_excess - NOISE_LEVEL - CLEAR - 2 * deviation
    frequency_hz = rotation_hz * np.arange(1, len(mean_excess) + 1)
    hum = np.zeros(len(mean_excess), bool)
    for mains_hz in MAINS_HZ:
        off = np.abs(frequency_hz - mains_hz * np.rint(frequency_hz / mains_hz))
        hum |= (off < HUM_NEAR_HZ) & (frequency_hz < HUM_TOP_HZ)
    most = np.where(hum, HUM_GAIN, GAIN_CAP)
    if moving is not None:
        most[moving] = MOVING_CAP
    return np.asarray(
        np.clip(np.where(clear > 0, clear / 0.25, clear / 0.1), -ABSENT, most), np.float64
    )


def ripple_sidebands(
    mean_excess: npt.NDArray[np.floating], *, rotation_hz: float, bin_hz: float
) -> npt.NDArray[np.bool_]:
    """Orders that may be nothing but mains ripple beside a louder order.

    A series motor's torque pulses at twice the mains frequency, 100 or 120 Hz, and puts a
    pair of sidebands at that distance beside every strong tone; where half or a third of
    the rotation is about that far, they pose as orders.
    """
    padded = np.pad(np.nan_to_num(mean_excess, nan=-1.0), len(mean_excess), constant_values=-1.0)
    count = len(mean_excess)
    posing = np.zeros(count, bool)
    for ripple_hz in RIPPLES_HZ:
        apart = round(ripple_hz / rotation_hz)
        off_bins = abs(apart * rotation_hz - ripple_hz) / bin_hz
        if apart < 1 or apart >= count or off_bins >= LINE_BINS:
            continue
        below = padded[count - apart : 2 * count - apart]
        above = padded[count + apart : 2 * count + apart]
        posing |= np.maximum(below, above) > mean_excess + RIPPLE_LOUDER + _hann_loss(off_bins)
    return posing


def _hann_loss(off_bins: float) -> float:
    """Nepers of power by which a Hann line falls off, so many bins from its middle, below 2."""
    if off_bins == 1.0:
        return float(2 * np.log(2))
    return float(-2 * np.log(np.sinc(off_bins) / (1 - off_bins**2)))


def idle_score(
    mean_excess: npt.NDArray[np.floating],
    *,
    steps: int,
    rotation_hz: float,
    moving: npt.NDArray[np.bool_] | None = None,
) -> float:
    """Log likelihood of the orders' mean excess for a machine running free.

    `mean_excess` holds order 1 and on, up to the same frequency for every ratio weighed; those
    `moving` with the speed, if it is known of any, are surely the machine's own.
    """
    gains = order_gains(mean_excess, steps=steps, rotation_hz=rotation_hz, moving=moving)
    count = len(mean_excess)
    chance = np.full(count, min(0.3, EXPECTED_IDLE_LINES / count))
    # Fan and commutator bring their harmonics along: those are no evidence of their own.
    for order in np.flatnonzero(gains > HARMONIC_FROM) + 1:
        if order >= LOWEST_FAN_ORDER:
            chance[2 * order - 1 :: order] = 0.5
    chance[:2] = 0.8, 0.6
    return float(np.nansum(np.log(1 - chance + chance * np.exp(gains))))


def cutting_score(
    mean_excess: npt.NDArray[np.floating],
    *,
    steps: int,
    rotation_hz: float,
    flutes: int,
    idle_too: npt.NDArray[np.bool_],
    moving: npt.NDArray[np.bool_] | None = None,
) -> float:
    """Log likelihood of the orders' mean excess for a machine in the cut.

    Orders that sound when running free too are left out: they tell nothing of the teeth.
    """
    seen = np.where(idle_too, np.nan, mean_excess)
    gains = order_gains(seen, steps=steps, rotation_hz=rotation_hz, moving=moving)
    strength = np.exp(gains)
    orders = np.arange(1, len(seen) + 1)
    teeth = orders % flutes == 0
    count = int(np.count_nonzero(teeth))
    chance = np.full(count, min(0.5, EXPECTED_HIGH_TEETH / max(count - 4, 1)))
    chance[:4] = 0.85
    score = float(np.nansum(np.log(1 - chance + chance * strength[teeth])))
    if flutes == 1:
        return score
    around = np.interp(orders, orders[teeth], np.nan_to_num(seen[teeth], nan=-0.5))
    weaker = seen < around - 0.7
    cases = [
        np.log(chance) + np.nansum(np.log(absent + np.where(weaker, weak, even) * strength)[~teeth])
        for chance, absent, weak, even in RUNOUT_CASES
    ]
    return score + float(np.logaddexp.reduce(cases))
