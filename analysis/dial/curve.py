"""The dial's curve: from setting to speed and back, between the measured settings only.

The curve is kept as its knots and the slopes there, so that reading it needs no more than
arithmetic; only the fit (`analysis.dial.fitting`) needs a numerical library.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from dataclasses import asdict, dataclass
from itertools import pairwise
from typing import Any

from analysis.dial.settings import Marks, Setting, setting_at
from analysis.errors import ToothbeatError

SHAPE_UNKNOWN = 0.05  # of the step between two settings, at its middle
TOUCHING = 1e-9
DAMAGED = "The stored calibration is damaged. Calibrate again."


class KeptError(ToothbeatError, ValueError):
    """A stored calibration that cannot be read."""


@dataclass(frozen=True, slots=True)
class Knot:
    """A measured setting.

    Attributes
    ----------
    label, position : str, float
        As in `Setting`.
    spindle_rpm, spindle_rpm_u95 : float
        Speed of the curve here, and the 95 % half-width of that speed.
    slope_rpm : float
        Rise of the curve here, rpm for one step of the dial; >= 0.
    times : int
        How often it was measured.
    """

    label: str
    position: float
    spindle_rpm: float
    spindle_rpm_u95: float
    slope_rpm: float
    times: int


@dataclass(frozen=True, slots=True)
class SpeedAtSetting:
    """What the spindle will turn at a setting, free of load."""

    spindle_rpm: float
    spindle_rpm_u95: float


@dataclass(frozen=True, slots=True)
class SettingForSpeed:
    """Where to turn the dial for a speed; `position_u95` is the half-width in dial steps."""

    setting: Setting
    position_u95: float


@dataclass(frozen=True, slots=True)
class DialCurve:
    """A dial's speed as a monotone piecewise cubic through its knots.

    Attributes
    ----------
    marks : Marks
    knots : tuple of Knot
        Two or more, by rising position; speeds never fall.
    repeatability_percent : float or None
        Standard deviation of the speed when the same setting is set anew; None if no
        setting was measured twice.
    repeatability_factor : float
        What turns that standard deviation into a 95 % half-width: Student's t at the
        degrees of freedom there were; 0 if there were none.
    """

    marks: Marks
    knots: tuple[Knot, ...]
    repeatability_percent: float | None
    repeatability_factor: float

    @property
    def range_rpm(self) -> tuple[float, float]:
        """Lowest and highest measured speed."""
        return self.knots[0].spindle_rpm, self.knots[-1].spindle_rpm

    def speed_at(self, position: float) -> SpeedAtSetting | None:
        """Speed with the dial at `position`; None beyond the measured settings."""
        first, last = self.knots[0].position, self.knots[-1].position
        if not first - TOUCHING <= position <= last + TOUCHING:
            return None
        low, high = self._around(position)
        share = (position - low.position) / (high.position - low.position)
        share = min(1.0, max(0.0, share))
        speed = _hermite(low, high, share)
        return SpeedAtSetting(speed, self._u95(low, high, share, speed))

    def setting_for(self, spindle_rpm: float) -> SettingForSpeed | None:
        """Where the dial gives `spindle_rpm`; None beyond the measured speeds.

        On a flat part of the curve the middle of it.
        """
        slowest, fastest = self.range_rpm
        near = 1e-6 * fastest
        if not slowest - near <= spindle_rpm <= fastest + near:
            return None
        lower = self._first_at_least(spindle_rpm - near)
        upper = self._last_at_most(spindle_rpm + near)
        position = (lower + upper) / 2
        low, high = self._around(position)
        share = (position - low.position) / (high.position - low.position)
        u95_rpm = self._u95(low, high, min(1.0, max(0.0, share)), spindle_rpm)
        rise = self._mean_rise(position, low, high)
        u95 = u95_rpm / rise if rise > 0 else high.position - low.position
        u95 = min(max(u95, (upper - lower) / 2), self.knots[-1].position - self.knots[0].position)
        return SettingForSpeed(setting_at(position, marks=self.marks), u95)

    def _around(self, position: float) -> tuple[Knot, Knot]:
        places = [knot.position for knot in self.knots]
        right = min(max(bisect_right(places, position), 1), len(places) - 1)
        return self.knots[right - 1], self.knots[right]

    def _u95(self, low: Knot, high: Knot, share: float, speed_rpm: float) -> float:
        """Knots' own, the dial's repeatability, and the shape that nobody measured."""
        measured = math.hypot((1 - share) * low.spindle_rpm_u95, share * high.spindle_rpm_u95)
        chord = low.spindle_rpm + share * (high.spindle_rpm - low.spindle_rpm)
        step = high.spindle_rpm - low.spindle_rpm
        shape = max(abs(speed_rpm - chord), SHAPE_UNKNOWN * step * 4 * share * (1 - share))
        again = (self.repeatability_percent or 0.0) / 100 * self.repeatability_factor * speed_rpm
        return math.hypot(measured, shape if 0 < share < 1 else 0.0, again)

    def _mean_rise(self, position: float, low: Knot, high: Knot) -> float:
        """Rise of the curve over a tenth of a step to either side, rpm for a step."""
        reach = 0.1 * (high.position - low.position)
        a = max(position - reach, self.knots[0].position)
        b = min(position + reach, self.knots[-1].position)
        before, after = self.speed_at(a), self.speed_at(b)
        if before is None or after is None or b <= a:
            return 0.0
        return (after.spindle_rpm - before.spindle_rpm) / (b - a)

    def _first_at_least(self, spindle_rpm: float) -> float:
        for low, high in pairwise(self.knots):
            if high.spindle_rpm >= spindle_rpm:
                return _bisect(low, high, spindle_rpm, upper=False)
        return self.knots[-1].position

    def _last_at_most(self, spindle_rpm: float) -> float:
        for low, high in reversed(list(pairwise(self.knots))):
            if low.spindle_rpm <= spindle_rpm:
                return _bisect(low, high, spindle_rpm, upper=True)
        return self.knots[0].position


def _hermite(low: Knot, high: Knot, share: float) -> float:
    """Cubic with the knots' speeds and slopes (Fritsch and Carlson's form)."""
    width = high.position - low.position
    s, r = share, 1 - share
    return (
        low.spindle_rpm * r * r * (1 + 2 * s)
        + high.spindle_rpm * s * s * (1 + 2 * r)
        + width * s * r * (low.slope_rpm * r - high.slope_rpm * s)
    )


def _bisect(low: Knot, high: Knot, spindle_rpm: float, *, upper: bool) -> float:
    """First place in the piece that reaches a speed, or the last that does not pass it."""
    a, b = 0.0, 1.0
    if upper and high.spindle_rpm <= spindle_rpm:
        return high.position
    if not upper and low.spindle_rpm >= spindle_rpm:
        return low.position
    for _ in range(60):
        middle = (a + b) / 2
        speed = _hermite(low, high, middle)
        if speed < spindle_rpm or (upper and speed <= spindle_rpm):
            a = middle
        else:
            b = middle
    return low.position + (a + b) / 2 * (high.position - low.position)


def curve_to_json(curve: DialCurve) -> dict[str, Any]:
    """The curve's knots, and how well the dial repeats, as JSON's own types."""
    return {
        "marks": curve.marks.value,
        "knots": [asdict(knot) for knot in curve.knots],
        "repeatability_percent": curve.repeatability_percent,
        "repeatability_factor": curve.repeatability_factor,
    }


def curve_from_json(kept: dict[str, Any]) -> DialCurve:
    """A curve from what `curve_to_json` made.

    Raises
    ------
    KeptError
        If it is not whole.
    """
    try:
        knots = tuple(Knot(**knot) for knot in kept["knots"])
        rising = all(low.position < high.position for low, high in pairwise(knots))
        if len(knots) < 2 or not rising:
            raise KeptError(DAMAGED)
        again = kept["repeatability_percent"]
        factor = float(kept["repeatability_factor"])
        return DialCurve(
            Marks(kept["marks"]), knots, None if again is None else float(again), factor
        )
    except (KeyError, TypeError, ValueError) as error:
        raise KeptError(DAMAGED) from error
