"""What machines read: the JSON object of schema 1, and one CSV row for each pass.

The README lists the fields. They may be added to; none changes its meaning or goes away
without a new schema number.
"""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

import numpy as np
import numpy.typing as npt

from analysis.coaching.summary import CoachedPass, Review
from analysis.hearing.passes import Span
from analysis.hearing.spindle import SpindleTrack
from listen.ears import HeardTake
from listen.setup import Bench

SCHEMA = 1

_CSV_FIELDS = (
    "number", "entry_s", "exit_s", "time_s", "time_u95_s", "moving_time_s", "rpm", "rpm_u95",
    "sag_percent", "pass_feed_mm_s", "feed_mm_s", "feed_u95_mm_s", "chip_load_mm",
    "chip_load_u95_mm", "chip_thickness_mm", "chip_thickness_u95_mm", "verdict", "complete",
    "evenness", "advice",
)  # fmt: skip


def review_json(*, take: HeardTake, bench: Bench, review: Review) -> str:
    """Write a review as one line of JSON, schema 1. What is not known is null."""
    band = review.band
    told = {
        "schema": SCHEMA,
        "recording": {
            "name": take.name,
            "duration_s": round(take.hearing.duration_s, 3),
            "sample_rate_hz": take.hearing.sample_rate_hz,
            "notes": list(take.notes),
            "faults": [
                {"kind": fault.kind.value, "measure": fault.measure, "unit": fault.unit}
                for fault in take.hearing.faults
            ],
        },
        "setup": _setup(bench),
        "spindle": {},  # keeps its place; an hour's many numbers are made plain all at once
        "passes": [_pass(number, coached) for number, coached in enumerate(review.passes, start=1)],
        "band": None
        if band is None
        else {
            "low_mm": band.low_mm,
            "high_mm": band.high_mm,
            "quantity": "chip_thickness",
            "basis": band.basis,
        },
        "summary": asdict(review.summary),
    }
    plain = {**_plain(told), "spindle": _spindle(take.hearing.track)}
    return json.dumps(plain, ensure_ascii=False, allow_nan=False)


def review_csv(review: Review) -> str:
    """Write the passes as CSV (RFC 4180), a heading and a row for each; unknown cells empty."""
    out = io.StringIO()
    writer = csv.DictWriter(out, _CSV_FIELDS, extrasaction="ignore")
    writer.writeheader()
    for number, coached in enumerate(review.passes, start=1):
        writer.writerow(_plain(_pass(number, coached)))
    return out.getvalue()


def _setup(bench: Bench) -> dict[str, Any]:
    cut = bench.cut
    return {
        "edge_length_mm": cut.edge_length_mm,
        "bit_diameter_mm": cut.bit_diameter_mm,
        "flutes": cut.flutes,
        "trim_allowance_mm": cut.trim_allowance_mm,
        "material": cut.material,
        "plate_range_rpm": cut.plate_range_rpm,
        "bit_max_rpm": cut.bit_max_rpm,
        "units": bench.units.value,
        "bit": bench.bit,
        "router": bench.router,
    }


def _spindle(track: SpindleTrack) -> dict[str, Any]:
    return {
        "time_s": _numbers(track.time_s, 4),
        "rpm": _numbers(track.spindle_rpm, 2),
        "rpm_u95": _numbers(track.spindle_rpm_u95, 2),
        "confidence": _numbers(track.confidence, 3),
        "idle_rpm": _plain(track.idle_rpm),
        "idle_rpm_u95": _plain(track.idle_rpm_u95),
    }


def _pass(number: int, coached: CoachedPass) -> dict[str, Any]:
    reading, advice = coached.reading, coached.advice
    return {
        "number": number,
        "entry_s": reading.entry_s,
        "exit_s": reading.exit_s,
        "time_s": reading.time_s,
        "time_u95_s": reading.time_u95_s,
        "moving_time_s": reading.moving_time_s,
        "rpm": reading.spindle_rpm,
        "rpm_u95": reading.spindle_rpm_u95,
        "sag_percent": reading.sag_percent,
        "pass_feed_mm_s": reading.pass_feed_mm_s,
        "feed_mm_s": reading.feed_mm_s,
        "feed_u95_mm_s": reading.feed_u95_mm_s,
        "chip_load_mm": reading.chip_load_mm,
        "chip_load_u95_mm": reading.chip_load_u95_mm,
        "chip_thickness_mm": reading.chip_thickness_mm,
        "chip_thickness_u95_mm": reading.chip_thickness_u95_mm,
        "rim_speed_m_s": reading.rim_speed_m_s,
        "cusp_height_mm": reading.cusp_height_mm,
        "verdict": reading.verdict.value if reading.verdict is not None else None,
        "verdict_holds_for_trim_mm": reading.verdict_holds_for_mm,
        "not_judged_because": reading.not_judged_because,
        "complete": reading.complete,
        "evenness": reading.evenness,
        "dwells": [_span(span) for span in reading.dwells],
        "liftoffs": [_span(span) for span in reading.liftoffs],
        "advice": advice.text,
        "aim": {
            "step": advice.step.value,
            "low_s": advice.aim_low_s,
            "high_s": advice.aim_high_s,
            "turn_to_rpm": advice.turn_to_rpm,
        },
    }


def _span(span: Span) -> dict[str, float]:
    return {"start_s": span.start_s, "end_s": span.end_s}


def _numbers(values: npt.NDArray[np.floating[Any]], decimals: int) -> list[float | None]:
    """Round to what the figure carries; NaN, "off", becomes null."""
    rounded = np.round(np.asarray(values, dtype=float), decimals).tolist()
    return [value if math.isfinite(value) else None for value in rounded]


def _plain(value: Any) -> Any:
    """Turn numpy's numbers and NaN into what JSON knows; eight digits are more than heard."""
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, Sequence) and not isinstance(value, str):
        return [_plain(item) for item in value]
    if isinstance(value, bool | np.bool_):
        return bool(value)
    if isinstance(value, float | np.floating):
        return float(f"{value:.8g}") if math.isfinite(value) else None
    if isinstance(value, np.integer):
        return int(value)
    return value
