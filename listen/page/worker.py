"""One heavy job: the order as JSON on standard input, progress and answer as lines of JSON."""

from __future__ import annotations

import json
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

from analysis.coaching.summary import CoachedPass, Gap, review_take
from analysis.dial.keeping import calibration_to_json
from analysis.dial.settings import parse_settings
from analysis.errors import ToothbeatError
from listen.dial.calibrating import hear_takes, match_takes
from listen.ears import hear_take
from listen.live.coach import cue_for
from listen.live.telling import as_object
from listen.live.told import Ended, PassTold
from listen.page.bench_form import read_form
from listen.report import Section, report_page
from listen.saving import save_whole
from listen.setup import Bench
from listen.store.names import name_store, usable_name


def main() -> None:
    """Do what standard input asks for: a review, or a calibration."""
    order = json.load(sys.stdin)
    sound, bench = Path(order["sound"]), read_form(order["setup"])
    called = order.get("called") or sound.name
    try:
        if "settings" in order:
            _say(_calibrate(sound, bench, order["settings"], order["router"]))
        else:
            gaps = [(start_s, end_s) for start_s, end_s in order["gaps"]]
            _say(_review(sound, called, bench, Path(order["report"]), gaps))
    except ToothbeatError as error:
        # A person knows the file by the name it came with, not by the one it is kept under.
        _say({"error": str(error).replace(sound.name, called, 1)})


def _review(
    sound: Path, called: str, bench: Bench, report: Path, gaps: list[Gap]
) -> dict[str, Any]:
    last = -1

    def on_progress(done_s: float, whole_s: float | None) -> None:
        nonlocal last
        percent = int(100 * done_s / whole_s) if whole_s else 0
        if percent != last:
            last = percent
            _say({"share": min(percent, 99) / 100})

    heard = hear_take(
        sound,
        flutes=bench.cut.flutes,
        plate_range_rpm=bench.cut.plate_range_rpm,
        known_voices=bench.voices,
        on_progress=on_progress,
    )
    heard = replace(heard, name=called)
    review = review_take(heard.hearing, bench.cut, bench.units, gaps=gaps)
    save_whole(report, report_page(Section(heard, bench, review)).encode())
    summary = review.summary if review.passes else None
    return {
        "passes": [_pass(number, passed, bench) for number, passed in enumerate(review.passes, 1)],
        "summary": as_object(Ended(heard.hearing.duration_s, summary), bench)["summary"],
        "duration_s": heard.hearing.duration_s,
        "notes": list(heard.notes),
    }


def _calibrate(sound: Path, bench: Bench, settings: str, router: str) -> dict[str, Any]:
    """Calibrate from a take with known settings and keep it under the router's name."""
    usable_name(router)
    heard = hear_takes((sound,), plate_range_rpm=bench.cut.plate_range_rpm)
    made = match_takes(heard, parse_settings(settings), on_refusal=lambda _found, _title: None)
    with name_store() as store:
        store.keep_calibration(router, calibration_to_json(made))
    return {
        "router": router,
        "points": [
            {
                "label": knot.label,
                "rpm": round(knot.spindle_rpm),
                "rpm_u95": max(1, round(knot.spindle_rpm_u95)),
            }
            for knot in made.curve.knots
        ],
        "notes": [*heard.notes, *made.notes],
    }


def _pass(number: int, coached: CoachedPass, bench: Bench) -> dict[str, Any]:
    told_s = coached.reading.exit_s
    return as_object(PassTold(number, coached, cue_for(coached), told_s=told_s), bench)


def _say(told: dict[str, Any]) -> None:
    sys.stdout.write(json.dumps(told) + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    main()
