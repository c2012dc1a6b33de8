"""Does a dated calibration still hold? One later speed at a known setting tells."""

from __future__ import annotations

import math
from dataclasses import dataclass

from analysis.dial.curve import DialCurve
from analysis.dial.settings import Setting

UNREPEATED_PERCENT = 1.0  # how far a hand may be off a number, where no repeat was measured


@dataclass(frozen=True, slots=True)
class DialDrift:
    """A speed measured now against the calibration.

    Attributes
    ----------
    setting : Setting
    expected_rpm, measured_rpm : float
    percent, percent_u95 : float
        Measured over expected, and the 95 % half-width of that.
    """

    setting: Setting
    expected_rpm: float
    measured_rpm: float
    percent: float
    percent_u95: float

    @property
    def beyond_doubt(self) -> bool:
        """Whether the two disagree by more than both leave open."""
        return abs(self.percent) > self.percent_u95

    @property
    def sentence(self) -> str:
        """What to tell the person."""
        if not self.beyond_doubt:
            return (
                f"At setting {self.setting.label} the router runs at {self.measured_rpm:,.0f} rpm: "
                f"the calibration's {self.expected_rpm:,.0f} still holds."
            )
        way = "fast" if self.percent > 0 else "slow"
        return (
            f"The dial now runs {abs(self.percent):.1f} % {way}: setting {self.setting.label} "
            f"gives {self.measured_rpm:,.0f} rpm, the calibration says {self.expected_rpm:,.0f}. "
            "Calibrate again."
        )


def dial_drift(
    curve: DialCurve, *, setting: Setting, measured_rpm: float, measured_u95_rpm: float
) -> DialDrift | None:
    """Hold a no-load speed at a known setting against the calibration.

    None where the setting lies beyond the calibrated ones. A dial whose repeatability was not
    measured is given UNREPEATED_PERCENT, one standard deviation, for the hand that sets it.
    """
    expected = curve.speed_at(setting.position)
    if expected is None or setting.marks is not curve.marks:
        return None
    unknown = 0.0
    if curve.repeatability_percent is None:
        unknown = 1.96 * UNREPEATED_PERCENT / 100 * expected.spindle_rpm
    u95_rpm = math.hypot(expected.spindle_rpm_u95, measured_u95_rpm, unknown)
    return DialDrift(
        setting=setting,
        expected_rpm=expected.spindle_rpm,
        measured_rpm=measured_rpm,
        percent=100 * (measured_rpm / expected.spindle_rpm - 1),
        percent_u95=100 * u95_rpm / expected.spindle_rpm,
    )
