"""The take as a whole: steadiness, trend, and the one thing to change first."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace
from statistics import median, stdev
from typing import TYPE_CHECKING

from analysis.coaching.advice import Advice, Step, advise
from analysis.coaching.reading import CutSetup, PassReading, read_pass, working_band
from analysis.coaching.verdict import Verdict
from analysis.coaching.wording import Units, say_length
from analysis.cutting.bands import Band

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analysis.hearing.listener import Hearing
    from analysis.hearing.passes import HeardPass

Gap = tuple[float, float]
"""Start and end, seconds of the take, of silence that stands for sound that was lost."""

_SIGNIFICANCE = 0.05
_EXACT_UP_TO = 60  # passes
_STEADY_PERCENT, _UNSTEADY_PERCENT = 8.0, 15.0


@dataclass(frozen=True, slots=True)
class CoachedPass:
    """A pass, and what to do differently on the next one."""

    reading: PassReading
    advice: Advice


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeSummary:
    """The take in a few figures and sentences.

    `feed_spread_percent` is the standard deviation of the feed from pass to pass over its
    mean; `feed_trend_percent` the change per pass, None where it could be chance (exact
    Mann-Kendall test at 5 %, which needs five passes).
    """

    passes_heard: int
    passes_judged: int
    passes_cut_off: int
    rubbing: int
    in_the_band: int
    overloading: int
    unsure: int
    feed_median_mm_s: float | None
    feed_spread_percent: float | None
    feed_trend_percent: float | None
    steadiness: str
    trend: str
    change_first: str


@dataclass(frozen=True, slots=True)
class Review:
    """All that the coach has to say about a take."""

    passes: tuple[CoachedPass, ...]
    band: Band | None
    summary: TakeSummary


def review_take(
    hearing: Hearing, setup: CutSetup, units: Units = Units.MM, *, gaps: Sequence[Gap] = ()
) -> Review:
    """Read, judge and coach every pass of a take, but for those in which sound was lost."""
    passes = tuple(coach_pass(heard, setup, units, gaps=gaps) for heard in hearing.passes)
    return Review(passes=passes, band=working_band(setup), summary=summarise(passes, units))


def coach_pass(
    heard: HeardPass, setup: CutSetup, units: Units, *, gaps: Sequence[Gap]
) -> CoachedPass:
    """Read and coach a pass, and judge it unless some of its sound was lost."""
    lost = any(start_s < heard.exit_s and end_s > heard.entry_s for start_s, end_s in gaps)
    reading = read_pass(replace(heard, complete=False) if lost else heard, setup)
    if lost:
        reading = replace(reading, not_judged_because="part of its sound was lost")
    return CoachedPass(reading, advise(reading, setup, units))


def summarise(passes: Sequence[CoachedPass], units: Units) -> TakeSummary:
    """Summarise coached passes, in the order in which they were cut."""
    feeds = [p.reading.feed_mm_s for p in passes if p.reading.feed_mm_s is not None]
    verdicts = [p.reading.verdict for p in passes if p.reading.verdict is not None]
    spread = 100 * stdev(feeds) / (sum(feeds) / len(feeds)) if len(feeds) > 1 else None
    trend = trend_percent(feeds)
    return TakeSummary(
        passes_heard=len(passes),
        passes_judged=len(verdicts),
        passes_cut_off=sum(not p.reading.complete for p in passes),
        rubbing=verdicts.count(Verdict.RUBBING),
        in_the_band=verdicts.count(Verdict.IN_THE_BAND),
        overloading=verdicts.count(Verdict.OVERLOADING),
        unsure=verdicts.count(Verdict.UNSURE),
        feed_median_mm_s=median(feeds) if feeds else None,
        feed_spread_percent=spread,
        feed_trend_percent=trend,
        steadiness=_say_steadiness(spread),
        trend=_say_trend(trend, len(feeds)),
        change_first=_first_change(passes, spread, units),
    )


def trend_percent(values: Sequence[float]) -> float | None:
    """Change per step in percent of the median (Theil-Sen), None where it could be chance.

    >>> round(trend_percent([50, 48, 46, 44, 42]), 2)
    -4.35
    >>> trend_percent([50, 48, 51, 49, 50.5]) is None
    True
    """
    pairs = list(itertools.combinations(range(len(values)), 2))
    falls = sum(values[i] > values[j] for i, j in pairs)
    if not pairs or _chance_of_order(falls, len(values)) >= _SIGNIFICANCE:
        return None
    slope = median((values[j] - values[i]) / (j - i) for i, j in pairs)
    return 100 * slope / median(values)


def _chance_of_order(falls: int, count: int) -> float:
    """Two-sided chance of an order at least this far from shuffled (Mann-Kendall).

    The number of falling pairs of a random order is a sum of independent uniform counts,
    counted exactly for a session and taken as normal, with half a count of continuity,
    for a very long one.
    """
    if count > _EXACT_UP_TO:
        middle = count * (count - 1) / 4
        deviation = math.sqrt(count * (count - 1) * (2 * count + 5) / 72)
        off = max(0.0, abs(falls - middle) - 0.5) / deviation
        return math.erfc(off / math.sqrt(2))
    ways = [1]
    for size in range(2, count + 1):
        longer = [0] * (len(ways) + size - 1)
        for start, number in enumerate(ways):
            for extra in range(size):
                longer[start + extra] += number
        ways = longer
    nearer_end = min(falls, len(ways) - 1 - falls)
    return min(1.0, 2 * sum(ways[: nearer_end + 1]) / math.factorial(count))


def _say_steadiness(spread: float | None) -> str:
    if spread is None:
        return "one pass tells nothing about steadiness yet"
    if spread <= _STEADY_PERCENT:
        return f"steady hands: the feed varied by {spread:.0f} % from pass to pass"
    if spread <= _UNSTEADY_PERCENT:
        return f"fairly steady: the feed varied by {spread:.0f} % from pass to pass"
    return f"uneven: the feed varied by {spread:.0f} % from pass to pass"


def _say_trend(trend: float | None, count: int) -> str:
    if trend is not None:
        return f"you got {'faster' if trend > 0 else 'slower'} by {abs(trend):.1f} % a pass"
    if count < 5:
        return "too few passes to tell a trend"
    return "no clear trend"


def _first_change(passes: Sequence[CoachedPass], spread: float | None, units: Units) -> str:
    """The one thing: danger first, then breakage, burning, rubbing, steadiness."""
    marked = [p for p in passes if p.advice.step is Step.OBEY_MARKING]
    if marked:
        return marked[0].advice.text
    judged = [p for p in passes if p.reading.verdict is not None]
    if not judged:
        if any(p.reading.complete for p in passes):
            return passes[-1].advice.text
        return "Nothing to judge: no whole pass was heard."
    overloading = _of(judged, Verdict.OVERLOADING)
    if 3 * len(overloading) >= len(judged):
        return _typical(overloading).advice.text
    stopped = [p for p in judged if p.reading.dwells]
    if 4 * len(stopped) >= len(judged):
        return (
            f"Keep the router moving: it stood still in {len(stopped)} of {len(judged)} passes"
            f"{_where(stopped, units)}, and that is where edges burn."
        )
    rubbing = _of(judged, Verdict.RUBBING)
    if 3 * len(rubbing) >= len(judged):
        return _typical(rubbing).advice.text
    if spread is not None and spread > _UNSTEADY_PERCENT:
        return "Even out the pace: count the seconds at the quarter marks of the edge."
    unsure = _of(judged, Verdict.UNSURE)
    if 2 * len(unsure) > len(judged):
        return _typical(unsure).advice.text
    return "Nothing: keep this pace and this speed."


def _of(passes: Sequence[CoachedPass], verdict: Verdict) -> list[CoachedPass]:
    return [p for p in passes if p.reading.verdict is verdict]


def _typical(passes: Sequence[CoachedPass]) -> CoachedPass:
    """The pass with the middle feed."""
    ranked = sorted(passes, key=lambda p: p.reading.feed_mm_s or 0.0)
    return ranked[len(ranked) // 2]


def _where(stopped: Sequence[CoachedPass], units: Units) -> str:
    """Where the dwells lie, if they lie together."""
    places_mm = [place for p in stopped for place in p.reading.dwell_positions_mm]
    if not places_mm or max(places_mm) - min(places_mm) > 60:
        return ""
    return f", at about {say_length(median(places_mm), units)}"
