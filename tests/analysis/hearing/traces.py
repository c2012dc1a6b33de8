"""Hand-made traces: what a take is reduced to before its passes are found."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.hearing.trace import Trace

STEP_S = 0.0232
IDLE_HZ, CUT_HZ = 300.0, 291.0
BANDS, TEETH = 9, 8


@dataclass(frozen=True, slots=True)
class Cut:
    """Contact from `start_s` to `end_s`."""

    start_s: float
    end_s: float


def frame(seconds: float) -> int:
    """First frame whose centre lies at or after a time."""
    return round(seconds / STEP_S)


def trace(
    cuts: list[Cut],
    *,
    seconds: float,
    rubs: list[Cut] | None = None,
    off: list[Cut] | None = None,
    louder: float = 1.2,
    spread: float = 0.25,
    deviation_hz: float = 0.03,
    seed: int = 1,
) -> Trace:
    """Band levels, speed and teeth of a take with these cuts, in normal noise.

    In the cut chips hiss (band by band more), the spindle sags and the teeth sound. While
    the bit `rubs` only the teeth do, a little. While `off` nothing turns.
    """
    rng = np.random.default_rng(seed)
    count = frame(seconds)

    def during(stretches: list[Cut]) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
        mask = np.zeros(count, bool)
        for stretch in stretches:
            mask[frame(stretch.start_s) : frame(stretch.end_s)] = True
        return mask

    cutting, rubbing, resting = during(cuts), during(rubs or []), during(off or [])
    bands = rng.normal(-6, spread, (count, BANDS))
    bands += louder * np.linspace(0.5, 1.5, BANDS) * cutting[:, None]
    bands -= 4.0 * resting[:, None]
    teeth = rng.normal(-0.6, 0.4, (count, TEETH)) + 2.0 * cutting[:, None] + 1.5 * rubbing[:, None]
    rotation = np.where(resting, np.nan, np.where(cutting, CUT_HZ, IDLE_HZ))
    return Trace(
        step_s=STEP_S,
        bands=bands.astype(np.float32),
        rotation_hz=rotation,
        deviation_hz=np.where(resting, np.nan, deviation_hz),
        lead=rng.normal(-6, 2, count) + 12 * cutting,
        cutting=np.roll(cutting, frame(0.2)),  # a first guess comes late
        teeth=teeth.astype(np.float32),
    )


def bare_trace(rotation_hz: npt.NDArray[np.float64], *, apart: float = 1e-4) -> Trace:
    """A trace of which nothing but its speed is asked, known to a share of `apart`."""
    count = len(rotation_hz)
    return Trace(
        step_s=STEP_S,
        bands=np.zeros((count, 8), np.float32),
        rotation_hz=rotation_hz,
        deviation_hz=apart * rotation_hz,
        lead=np.zeros(count),
        cutting=np.zeros(count, bool),
        teeth=np.zeros((count, TEETH), np.float32),
    )


def lagging(load: npt.NDArray[np.float64], *, lag_s: float) -> npt.NDArray[np.float64]:
    """Speed of a first-order lag: each frame a share of the way to where the load sends it."""
    share = 1 - np.exp(-STEP_S / lag_s)
    speed = np.empty(len(load))
    now = load[0]
    for i, aim in enumerate(load):
        now += share * (aim - now)
        speed[i] = now
    return speed
