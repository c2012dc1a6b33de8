"""The spindle's speed over time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class SpindleTrack:
    """Spindle speed on an even time grid.

    Attributes
    ----------
    time_s : array, shape (n,)
        Centres of the steps, at most 50 ms apart.
    spindle_rpm, spindle_rpm_u95 : arrays, shape (n,)
        Speed and the half-width of its 95 % interval; NaN where the router is off.
    confidence : array, shape (n,)
        0 to 1: how surely the router is what this step says it is.
    idle_rpm, idle_rpm_u95 : float or None
        Mean no-load speed; None if the router was never heard running free.
    """

    time_s: FloatArray
    spindle_rpm: FloatArray
    spindle_rpm_u95: FloatArray
    confidence: FloatArray
    idle_rpm: float | None
    idle_rpm_u95: float | None
