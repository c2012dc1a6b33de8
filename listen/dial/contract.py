"""A calibration as one JSON object, schema 1."""

from __future__ import annotations

import json
from typing import Any

from analysis.dial.calibration import Calibration
from analysis.dial.curve import DialCurve, curve_to_json
from analysis.dial.drift import DialDrift
from analysis.dial.keeping import voices_to_json
from analysis.dial.motor import MotorReading

SCHEMA = 1


def calibration_json(
    calibration: Calibration,
    *,
    router: str | None,
    takes: tuple[str, ...],
    notes: tuple[str, ...],
    motor: MotorReading | None,
) -> str:
    """Write a calibration; what is not known is null."""
    return json.dumps(
        {
            "schema": SCHEMA,
            "router": router,
            "plateaus": [
                {
                    "setting": point.setting.label,
                    "take": takes[point.plateau.take],
                    "start_s": round(point.plateau.start_s, 3),
                    "end_s": round(point.plateau.end_s, 3),
                    "rpm": round(point.plateau.spindle_rpm, 2),
                    "rpm_u95": round(point.plateau.spindle_rpm_u95, 2),
                    "unsteadiness_percent": round(point.plateau.unsteadiness_percent, 4),
                    "drift_percent": round(point.plateau.drift_percent, 4),
                }
                for point in calibration.points
            ],
            "curve": _curve(calibration.curve),
            "voice": None if calibration.voices is None else voices_to_json(calibration.voices),
            "plate_range_rpm": calibration.plate_range_rpm and list(calibration.plate_range_rpm),
            "motor": None
            if motor is None
            else {
                "control": motor.control.name.lower(),
                "chance_held": round(motor.chance_held, 4),
                "sag_percent": round(motor.sag_percent, 3),
                "passes": motor.passes,
            },
            "notes": [*calibration.notes, *notes],
        },
        ensure_ascii=False,
        allow_nan=False,
    )


def drift_json(drifts: tuple[DialDrift, ...], *, router: str) -> str:
    """Write what a check against the kept calibration found."""
    return json.dumps(
        {
            "schema": SCHEMA,
            "router": router,
            "drift": [
                {
                    "setting": drift.setting.label,
                    "expected_rpm": round(drift.expected_rpm, 2),
                    "rpm": round(drift.measured_rpm, 2),
                    "percent": round(drift.percent, 4),
                    "percent_u95": round(drift.percent_u95, 4),
                    "beyond_doubt": drift.beyond_doubt,
                }
                for drift in drifts
            ],
        },
        ensure_ascii=False,
        allow_nan=False,
    )


def _curve(curve: DialCurve) -> dict[str, Any]:
    """The curve with, at each measured setting, what a later setting of it will give."""
    kept = curve_to_json(curve)
    for knot in kept["knots"]:
        told = curve.speed_at(knot["position"])
        knot["again_rpm_u95"] = None if told is None else told.spindle_rpm_u95
    return kept
