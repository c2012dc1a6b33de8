"""From measured settings to the dial's curve."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.optimize import isotonic_regression
from scipy.special import stdtrit

from analysis.dial.curve import DialCurve, Knot
from analysis.dial.settings import Setting
from analysis.errors import InputError


def fit_curve(
    *,
    settings: Sequence[Setting],
    speeds_rpm: Sequence[float],
    speeds_u95_rpm: Sequence[float],
) -> DialCurve:
    """Fit the monotone curve through measured settings.

    Repeats of one setting are averaged, and their scatter is the dial's repeatability.
    Where a higher setting's mean still falls below a lower one's, the two are made level
    (least squares under the condition of not falling); whether that is fair is for
    `match_settings` to say beforehand. Slopes are those of scipy's PchipInterpolator.

    Raises
    ------
    InputError
        If fewer than two different settings are given, or the lengths differ.
    """
    positions = sorted({setting.position for setting in settings})
    if len(positions) < 2:
        raise InputError("settings", len(positions), "two different ones or more")
    if not len(settings) == len(speeds_rpm) == len(speeds_u95_rpm):
        raise InputError("speeds", len(speeds_rpm), f"as many as settings, {len(settings)}")
    of = {
        position: [i for i, s in enumerate(settings) if s.position == position]
        for position in positions
    }
    means = np.array([np.mean([speeds_rpm[i] for i in of[p]]) for p in positions])
    times = np.array([len(of[p]) for p in positions])
    freedom = int(np.sum(times - 1))
    repeatability: float | None = None
    factor = 0.0
    if freedom:
        off = [
            (speeds_rpm[i] / mean - 1) ** 2
            for mean, p in zip(means, positions, strict=True)
            for i in of[p]
        ]
        repeatability = 100 * math.sqrt(sum(off) / freedom)
        factor = float(stdtrit(freedom, 0.975))
    level = isotonic_regression(means, weights=times).x if len(means) > 1 else means
    slopes = PchipInterpolator(positions, level).derivative()(positions)
    knots = []
    for place, position in enumerate(positions):
        mine = of[position]
        own = math.sqrt(sum(speeds_u95_rpm[i] ** 2 for i in mine)) / len(mine)
        moved = abs(level[place] - means[place])
        knots.append(
            Knot(
                label=settings[mine[0]].label,
                position=position,
                spindle_rpm=float(level[place]),
                spindle_rpm_u95=math.hypot(own, float(moved)),
                slope_rpm=max(0.0, float(slopes[place])),
                times=len(mine),
            )
        )
    return DialCurve(settings[0].marks, tuple(knots), repeatability, factor)
