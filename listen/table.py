"""A review as a person reads it on a terminal, 80 columns wide, without colour."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from analysis.coaching.reading import PassReading
from analysis.coaching.summary import Review, TakeSummary
from analysis.coaching.wording import Units, say_chip, say_feed
from analysis.cutting.bands import Band
from analysis.hearing.spindle import SpindleTrack
from listen.ears import HeardTake
from listen.setup import Bench
from listen.units import MM_PER_INCH, show_length

WIDTH = 80
_UNKNOWN = "-"


def review_text(*, take: HeardTake, bench: Bench, review: Review) -> str:
    """Write the whole review: the take, a row for each pass, advice, summary, the recording."""
    blocks = [_opening(take, bench, review.band)]
    if review.passes:
        blocks.append(_table(review, bench.units))
        blocks.append(_advice(review))
        blocks.append(_summary(review.summary))
    if take.notes:
        blocks.append(_listed("About the recording", take.notes))
    return "\n\n".join(blocks) + "\n"


def spindle_line(track: SpindleTrack) -> str:
    """Say how fast the router runs free."""
    if track.idle_rpm is None:
        return "It was never heard running free."
    return f"Running free: {_with_u95(track.idle_rpm, track.idle_rpm_u95, ',.0f')} rpm."


def setup_line(bench: Bench) -> str:
    """Say the set-up in one line, in the order in which one would tell it."""
    cut, units = bench.cut, bench.units
    parts = []
    if cut.edge_length_mm is not None:
        parts.append(f"{show_length(cut.edge_length_mm, units)} edge")
    if cut.bit_diameter_mm is not None:
        parts.append(f"{show_length(cut.bit_diameter_mm, units)} bit")
    if cut.flutes is not None:
        parts.append(f"{cut.flutes} flute{'s' if cut.flutes > 1 else ''}")
    if cut.trim_allowance_mm is not None:
        parts.append(f"{show_length(cut.trim_allowance_mm, units)} trim")
    if cut.material is not None:
        parts.append(cut.material)
    return ", ".join(parts)


def band_line(band: Band, units: Units) -> str:
    """Say the band and its grounds."""
    low, high = say_chip(band.low_mm, units), say_chip(band.high_mm, units)
    unit = f" {units.value}"
    return f"Band of chip thickness: {low.removesuffix(unit)} to {high}, {band.basis}."


def _opening(take: HeardTake, bench: Bench, band: Band | None) -> str:
    hearing = take.hearing
    lines = [
        f"{take.name}: {clock(hearing.duration_s)}. {spindle_line(hearing.track)}",
        setup_line(bench),
        band_line(band, bench.units) if band is not None else "",
    ]
    return "\n".join(_wrapped(line) for line in lines if line)


def _table(review: Review, units: Units) -> str:
    feed_unit = "in/min" if units is Units.INCH else "mm/s"
    head = (
        f"{'pass':>4}  {'from':>6}  {'time':>6}  {'spindle':>8}  {'feed':>6}  "
        f"{'chip load':>14}  {'chip':>6}  verdict"
    )
    under = (
        f"{'':>4}  {'':>6}  {'s':>6}  {'rpm':>8}  {feed_unit:>6}  "
        f"{units.value:>14}  {units.value:>6}"
    )
    rows = [
        _row(number, coached.reading, units)
        for number, coached in enumerate(review.passes, start=1)
    ]
    return "\n".join([head, under, *rows])


def _row(number: int, reading: PassReading, units: Units) -> str:
    feed = _UNKNOWN if reading.feed_mm_s is None else say_feed(reading.feed_mm_s, units).split()[0]
    verdict = reading.verdict.value if reading.verdict is not None else "not judged"
    return (
        f"{number:>4}  {clock(reading.entry_s):>6}  {reading.time_s:>6.1f}  "
        f"{reading.spindle_rpm:>8,.0f}  {feed:>6}  {_chip_load(reading, units):>14}  "
        f"{_chip(reading.chip_thickness_mm, units):>6}  {verdict}"
    )


def _chip_load(reading: PassReading, units: Units) -> str:
    value, u95 = reading.chip_load_mm, reading.chip_load_u95_mm
    if value is None or u95 is None:
        return _UNKNOWN
    if units is Units.INCH:
        inch = float(MM_PER_INCH)
        return f"{value / inch:.4f} ±{max(u95 / inch, 0.0001):.4f}"
    return f"{value:.3f} ±{max(u95, 0.001):.3f}"


def _chip(thickness_mm: float | None, units: Units) -> str:
    return _UNKNOWN if thickness_mm is None else say_chip(thickness_mm, units).split()[0]


def _advice(review: Review) -> str:
    """Number the advice by pass; passes that are told the same share a line."""
    told: dict[str, list[int]] = {}
    for number, coached in enumerate(review.passes, start=1):
        told.setdefault(coached.advice.text, []).append(number)
    lines = []
    for text, numbers in told.items():
        label = f"  {_numbers(numbers)}  "
        lines.append(_wrapped(text, first=label, later=" " * len(label)))
    return "Next time\n" + "\n".join(lines)


def _numbers(numbers: list[int]) -> str:
    """Write 1, 2, 3, 5 as "1-3, 5"."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(str(run[0]) if len(run) == 1 else f"{run[0]}-{run[-1]}" for run in runs)


def _summary(summary: TakeSummary) -> str:
    lines = [f"Change first: {summary.change_first}"]
    lines.append(f"{sentence(summary.steadiness)} {sentence(summary.trend)}")
    if summary.passes_cut_off:
        many = summary.passes_cut_off > 1
        lines.append(
            f"{summary.passes_cut_off} pass{'es were' if many else ' was'} cut off by the start "
            f"or end of the take and {'are' if many else 'is'} not judged."
        )
    return "\n".join(_wrapped(line) for line in lines)


def _listed(title: str, sentences: tuple[str, ...]) -> str:
    return "\n".join([title, *(_wrapped(s, first="  - ", later="    ") for s in sentences)])


def sentence(words: str) -> str:
    """Make a sentence of words that have neither capital nor full stop.

    >>> sentence("too few passes to tell a trend")
    'Too few passes to tell a trend.'
    """
    return f"{words[:1].upper()}{words[1:]}."


def _wrapped(text: str, *, first: str = "", later: str = "") -> str:
    return "\n".join(_lines(text, first, later))


def _lines(text: str, first: str, later: str) -> Iterator[str]:
    yield from textwrap.wrap(
        text, WIDTH, initial_indent=first, subsequent_indent=later, break_on_hyphens=False
    )


def clock(time_s: float) -> str:
    """Tell a time of the take: 7.3 s in the first minute as "0:07", an hour as "1:00:00"."""
    minutes, seconds = divmod(int(time_s), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02}:{seconds:02}" if hours else f"{minutes}:{seconds:02}"


def _with_u95(value: float, u95: float | None, style: str) -> str:
    return f"{value:{style}}" if u95 is None else f"{value:{style}} ± {max(u95, 1):{style}}"
