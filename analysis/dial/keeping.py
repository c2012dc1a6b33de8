"""A calibration as plain values, for whoever stores it, and back."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

import numpy as np

from analysis.dial.calibration import Calibration
from analysis.dial.curve import DAMAGED, KeptError, curve_from_json, curve_to_json
from analysis.dial.matching import DialPoint
from analysis.dial.plateaus import Plateau
from analysis.dial.settings import Marks, Setting
from analysis.hearing.orders import AT_TIMES, SOUNDINGS, TOP_ORDER
from analysis.hearing.voice import Voices

SCHEMA = 1


def calibration_to_json(calibration: Calibration) -> dict[str, Any]:
    """Everything needed to have the calibration back, as JSON's own types."""
    return {
        "schema": SCHEMA,
        "plateaus": [
            {"setting": point.setting.label, **asdict(point.plateau)}
            for point in calibration.points
        ],
        "curve": curve_to_json(calibration.curve),
        "voice": None if calibration.voices is None else voices_to_json(calibration.voices),
        "plate_range_rpm": calibration.plate_range_rpm and list(calibration.plate_range_rpm),
        "notes": list(calibration.notes),
    }


def calibration_from_json(kept: dict[str, Any]) -> Calibration:
    """A calibration from what `calibration_to_json` made.

    Raises
    ------
    KeptError
        If it is of another schema, or not whole.
    """
    if not isinstance(kept, dict) or kept.get("schema") != SCHEMA:
        raise KeptError("The stored calibration is of another version. Calibrate again.")
    try:
        curve = curve_from_json(kept["curve"])
        return Calibration(
            points=tuple(_point(plateau, curve.marks) for plateau in kept["plateaus"]),
            curve=curve,
            voices=None if kept["voice"] is None else voices_from_json(kept["voice"]),
            plate_range_rpm=_pair(kept["plate_range_rpm"]),
            notes=tuple(str(note) for note in kept["notes"]),
        )
    except (KeyError, TypeError, ValueError, IndexError) as error:
        raise KeptError(DAMAGED) from error


def voices_to_json(voices: Voices) -> dict[str, Any]:
    """How each order sounds, as numbers of the table of soundings, and which are heard at all."""
    return {
        "soundings": [list(sounding) for sounding in SOUNDINGS],
        "idle": voices.idle.tolist(),
        "cutting": voices.cutting.tolist(),
        "idle_orders": heard_orders(voices),
    }


def voices_from_json(kept: dict[str, Any]) -> Voices:
    """Voices from what `voices_to_json` made; one voice for both if they are the same."""
    if [tuple(sounding) for sounding in kept["soundings"]] != list(SOUNDINGS):
        raise ValueError("soundings")
    idle, cutting = (np.asarray(kept[name], np.int64) for name in ("idle", "cutting"))
    for voice in (idle, cutting):
        if voice.shape != (TOP_ORDER,) or voice.min() < 0 or voice.max() >= len(SOUNDINGS):
            raise ValueError("voice")
    return Voices(idle, idle if np.array_equal(idle, cutting) else cutting)


def heard_orders(voices: Voices) -> list[int]:
    """Orders that carry power when the router runs free."""
    return [int(order) for order in np.flatnonzero(voices.idle >= AT_TIMES) + 1]


def _point(kept: dict[str, Any], marks: Marks) -> DialPoint:
    values = dict(kept)
    label = values.pop("setting")
    position = float(label) if marks is Marks.NUMBERS else float(ord(label) - ord("A") + 1)
    return DialPoint(Setting(label, position, marks), Plateau(**values))


def _pair(kept: list[float] | None) -> tuple[float, float] | None:
    return None if kept is None else (float(kept[0]), float(kept[1]))
