"""A plan for machines: one JSON object, schema 1."""

from __future__ import annotations

import json
import math
from dataclasses import asdict
from enum import Enum
from typing import Any

from analysis.coaching.direction import FIBRES, template_side
from analysis.coaching.plan import PaceRow, Plan
from analysis.cutting.limits import Limit
from listen.planning import Planned

SCHEMA = 1


def plan_json(planned: Planned) -> str:
    """Write a plan as one line of JSON. What is not known is null; lengths in mm."""
    return json.dumps(plan_object(planned), ensure_ascii=False, allow_nan=False)


def plan_object(planned: Planned) -> dict[str, Any]:
    """A plan as JSON's own types."""
    plan = planned.plan
    plain: dict[str, Any] = _plain(
        {
            "schema": SCHEMA,
            "setup": {
                "bit": asdict(plan.job.bit),
                "router": asdict(plan.job.router),
                "work": asdict(plan.job.work),
                "units": planned.units,
                "assumed": list(planned.assumed),
            },
            "will_do": plan.will_do,
            "fits": plan.fits,
            "band": {
                "low_mm": plan.band.low_mm,
                "high_mm": plan.band.high_mm,
                "quantity": "chip_thickness",
                "basis": plan.band.basis,
            },
            "speed": {"start": _row(plan.start), "work_up_to": _row(plan.work_up_to)},
            "pace": [_row(row) for row in plan.pace],
            "beat_s": plan.beat_s,
            "quarters_s": list(plan.quarters_s),
            "figures": asdict(plan.figures) if plan.figures else None,
            "limits": _limits(plan),
            "in_the_way": [limit.name for limit in plan.in_the_way],
            "window": [{"rpm": rpm, "feed_mm_s": feed} for rpm, feed in plan.window.corners],
            "flutes": [
                {
                    "style": style,
                    "fibres": fibres.pushed,
                    "work": fibres.work,
                    "clean_side": fibres.clean_face,
                    "template": fibres.template
                    and template_side(fibres.template, plan.job.router.mounting),
                }
                for (style, mounting), fibres in FIBRES.items()
                if mounting is plan.job.router.mounting
            ],
            "notes": [asdict(note) for note in plan.notes],
        }
    )
    return plain


def _row(row: PaceRow | None) -> dict[str, Any] | None:
    if row is None:
        return None
    return {
        "setting": row.setting,
        "rpm": row.spindle_rpm,
        "feed_low_mm_s": row.aim.low_mm_s if row.aim else None,
        "feed_high_mm_s": row.aim.high_mm_s if row.aim else None,
        "time_low_s": row.low_s,
        "time_high_s": row.high_s,
    }


def _limits(plan: Plan) -> list[dict[str, Any]]:
    """Every limit, the nearest first where there is a cut to measure from."""
    if plan.rooms:
        return [
            _limit(room.limit) | {"room": room.share, "binds": index == 0}
            for index, room in enumerate(plan.rooms)
        ]
    return [_limit(limit) | {"room": None, "binds": False} for limit in plan.window.limits]


def _limit(limit: Limit) -> dict[str, Any]:
    return {
        "name": limit.name,
        "bound": limit.bound,
        "value": limit.value,
        "nature": limit.nature,
        "nature_unit": limit.nature_unit,
        "grounds": limit.grounds,
        "remedy": limit.remedy,
    }


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, float):
        return float(f"{value:.8g}") if math.isfinite(value) else None
    return value
