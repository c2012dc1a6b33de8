"""One review: the order as JSON on standard input, progress and the answer as lines of JSON."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

from analysis.coaching.summary import CoachedPass, review_take
from analysis.errors import ToothbeatError
from listen.ears import hear_take
from listen.live.coach import cue_for
from listen.live.telling import as_object
from listen.live.told import Ended, PassTold
from listen.page.bench_form import read_form
from listen.report import Section, report_page
from listen.saving import save_whole
from listen.setup import Bench


def main() -> None:
    """Do the review that standard input asks for."""
    order = json.load(sys.stdin)
    try:
        _say(_review(Path(order["sound"]), read_form(order["setup"]), Path(order["report"])))
    except ToothbeatError as error:
        _say({"error": str(error)})


def _review(sound: Path, bench: Bench, report: Path) -> dict[str, Any]:
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
        on_progress=on_progress,
    )
    review = review_take(heard.hearing, bench.cut, bench.units)
    save_whole(report, report_page(Section(heard, bench, review)).encode())
    summary = review.summary if review.passes else None
    return {
        "passes": [_pass(number, passed, bench) for number, passed in enumerate(review.passes, 1)],
        "summary": as_object(Ended(heard.hearing.duration_s, summary), bench)["summary"],
        "duration_s": heard.hearing.duration_s,
        "notes": list(heard.notes),
    }


def _pass(number: int, coached: CoachedPass, bench: Bench) -> dict[str, Any]:
    return as_object(PassTold(number, coached, cue_for(coached), sound_missing=False), bench)


def _say(told: dict[str, Any]) -> None:
    sys.stdout.write(json.dumps(told) + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    main()
