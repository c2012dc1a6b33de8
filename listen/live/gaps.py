"""Sound that was lost: silence stands for it in a take, and no pass across it is judged."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from analysis.coaching.advice import advise
from analysis.coaching.reading import PassReading, read_pass, working_band
from analysis.coaching.summary import CoachedPass, Review, summarise
from listen.setup import Bench

if TYPE_CHECKING:
    from analysis.hearing.listener import Hearing
    from analysis.hearing.passes import HeardPass

Gap = tuple[float, float]
"""Start and end of the silence, seconds of the take."""


def gaps_told(events: Iterable[dict[str, Any]]) -> list[Gap]:
    """The gaps that are noted beside a take."""
    told = (event.get("gap_s") for event in events)
    return [(float(gap[0]), float(gap[1])) for gap in told if isinstance(gap, list)]


def crosses(passed: HeardPass | PassReading, gaps: Sequence[Gap]) -> bool:
    """Whether some of a pass was lost."""
    return any(start_s < passed.exit_s and end_s > passed.entry_s for start_s, end_s in gaps)


def coach_pass(heard: HeardPass, bench: Bench, gaps: Sequence[Gap]) -> CoachedPass:
    """Read, judge and coach a pass, unless some of it was lost."""
    lost = crosses(heard, gaps)
    reading = read_pass(replace(heard, complete=False) if lost else heard, bench.cut)
    if lost:
        reading = replace(reading, not_judged_because="part of its sound was lost")
    return CoachedPass(reading, advise(reading, bench.cut, bench.units))


def review_kept(hearing: Hearing, bench: Bench, gaps: Sequence[Gap]) -> Review:
    """Coach every pass of a take that may have gaps."""
    passes = tuple(coach_pass(heard, bench, gaps) for heard in hearing.passes)
    return Review(passes, working_band(bench.cut), summarise(passes, bench.units))
