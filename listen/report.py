"""A review as one page that needs nothing else: to read on a phone, keep, or print."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from jinja2 import Environment, PackageLoader, StrictUndefined

from analysis.coaching.reading import PassReading
from analysis.coaching.setup_window import setup_window
from analysis.coaching.summary import CoachedPass, Review, TakeSummary
from analysis.coaching.verdict import Verdict
from analysis.coaching.wording import Units, say_chip, say_feed, say_fine, say_seconds
from analysis.pictures.review import against_band_figure, spectrogram_figure, timeline_figure
from analysis.pictures.window import window_figure
from listen.drawn import inline_svg
from listen.ears import HeardTake
from listen.setup import Bench
from listen.table import band_line, clock, sentence, setup_line, spindle_line
from listen.units import MM_PER_INCH

CAUTIONS = (
    "Wear hearing and eye protection, and draw off the dust.",
    "Unplug the router before you touch the bit or the collet.",
    "Keep phone, cable and hands clear of the bit; look at the work, not at a screen.",
    "Feed against the bit's rotation; a climb cut can pull the router out of your hands.",
    "Never exceed the speed marked on the bit.",
    "Makers' instructions, local rules and training come first: this is advice from sound.",
)

# The same shapes as in the pictures: a verdict is a word and a shape before it is a colour.
_MARKS = {
    "rubbing": '<path d="M1 2h14L8 15z" fill="#9a6a0b"/>',
    "in-the-band": '<circle cx="8" cy="8" r="7" fill="#13756b"/>',
    "overloading": '<path d="M1 14h14L8 1z" fill="#7c1f4f"/>',
    "unsure": '<path d="M8 2l6 6-6 6-6-6z" fill="#fff" stroke="#4b5259" stroke-width="2.2"/>',
    "not-judged": '<path d="M8 1v14" stroke="#6d757c" stroke-width="3"/>',
}


@dataclass(frozen=True, slots=True)
class PassRow:
    """What one pass shows on the page, already in words."""

    number: int
    start: str
    time: str
    speed: str
    feed: str
    chip_load: str
    chip: str
    verdict: str
    shape: str
    advice: str
    holds: str


@dataclass(frozen=True, slots=True, eq=False)
class Section:
    """One reviewed take on the page; `story` is a line under its heading."""

    take: HeardTake
    bench: Bench
    review: Review
    story: str = ""


def report_page(take: Section) -> str:
    """Lay out the page of one take."""
    title = f"{headline(take.review.summary)} – {take.take.name}"
    return _page([take], title=title, kicker="", intro=())


def session_page(takes: Sequence[Section], *, title: str, kicker: str, intro: Sequence[str]) -> str:
    """Lay out a page of several takes under one heading.

    Parameters
    ----------
    intro : sequence of str
        Paragraphs between the heading and the first take, at least one.
    """
    return _page(takes, title=title, kicker=kicker, intro=intro)


def _page(takes: Sequence[Section], *, title: str, kicker: str, intro: Sequence[str]) -> str:
    environment = Environment(
        loader=PackageLoader("listen", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template("report.html").render(
        title=title,
        kicker=kicker,
        intro=intro,
        takes=[_section(take) for take in takes],
        cautions=CAUTIONS,
        marks={
            shape: f'<svg viewBox="0 0 16 16" aria-hidden="true">{mark}</svg>'
            for shape, mark in _MARKS.items()
        },
    )


def _section(section: Section) -> dict[str, object]:
    """Gather what the template shows of one take."""
    hearing, bench, review = section.take.hearing, section.bench, section.review
    summary, flutes = review.summary, bench.cut.flutes
    pictures = {"band": "", "window": "", "timeline": "", "sound": ""}
    if any(coached.reading.chip_thickness_mm is not None for coached in review.passes):
        pictures["band"] = inline_svg(against_band_figure(review, units=bench.units))
    window = setup_window(bench.cut)
    if window is not None and any(p.reading.feed_mm_s is not None for p in review.passes):
        pictures["window"] = inline_svg(window_figure(window, review, units=bench.units))
    if review.passes:
        pictures["timeline"] = inline_svg(timeline_figure(hearing, review))
    pictures["sound"] = inline_svg(spectrogram_figure(hearing, flutes=flutes))
    return {
        "name": section.take.name,
        "length": clock(hearing.duration_s),
        "story": section.story,
        "headline": headline(summary),
        "change_first": summary.change_first,
        "hands": f"{sentence(summary.steadiness)} {sentence(summary.trend)}",
        "setup": setup_line(bench),
        "spindle": spindle_line(hearing.track),
        "band": band_line(review.band, bench.units) if review.band is not None else "",
        "rows": [_row(number, coached, bench) for number, coached in enumerate(review.passes, 1)],
        "notes": section.take.notes,
        "pictures": pictures,
        "has_teeth_line": flutes is not None and flutes > 1,
    }


def headline(summary: TakeSummary) -> str:
    """Say in a line how the passes went.

    "5 passes: 3 in the band, 2 rubbing"
    """
    heard = summary.passes_heard
    if heard == 0:
        return "No pass was heard"
    counts = [
        f"{count} {word}"
        for count, word in (
            (summary.in_the_band, Verdict.IN_THE_BAND.value),
            (summary.rubbing, Verdict.RUBBING.value),
            (summary.overloading, Verdict.OVERLOADING.value),
            (summary.unsure, Verdict.UNSURE.value),
            (heard - summary.passes_judged, "not judged"),
        )
        if count
    ]
    return f"{heard} pass{'es' if heard > 1 else ''}: {', '.join(counts)}"


def _row(number: int, coached: CoachedPass, bench: Bench) -> PassRow:
    reading, units = coached.reading, bench.units
    verdict = reading.verdict.value if reading.verdict is not None else "not judged"
    return PassRow(
        number=number,
        start=clock(reading.entry_s),
        time=say_seconds(reading.time_s),
        speed=f"{reading.spindle_rpm:,.0f} rpm",
        feed="" if reading.feed_mm_s is None else say_feed(reading.feed_mm_s, units),
        chip_load=_with_u95(reading.chip_load_mm, reading.chip_load_u95_mm, units),
        chip=_with_u95(reading.chip_thickness_mm, reading.chip_thickness_u95_mm, units),
        verdict=verdict,
        shape=verdict.replace(" ", "-"),
        advice=coached.advice.text,
        holds=_holds(reading, bench.cut.bit_diameter_mm, units),
    )


def _with_u95(value_mm: float | None, u95_mm: float | None, units: Units) -> str:
    """Write a chip figure; the uncertainty is never shown as nothing."""
    if value_mm is None or u95_mm is None:
        return ""
    value, unit = say_chip(value_mm, units).split()
    least_mm = 0.001 if units is Units.MM else 0.0001 * float(MM_PER_INCH)
    return f"{value} ± {say_chip(max(u95_mm, least_mm), units).split()[0]} {unit}"


def _holds(reading: PassReading, bit_diameter_mm: float | None, units: Units) -> str:
    """Say over which trims the verdict stands, since the trim is told and not heard."""
    if reading.verdict_holds_for_mm is None or bit_diameter_mm is None:
        return ""
    low_mm, high_mm = reading.verdict_holds_for_mm
    low, high = say_fine(low_mm, units), say_fine(high_mm, units)
    if low_mm <= 0:
        return f"Same verdict for any trim up to {high}."
    if high_mm >= bit_diameter_mm:
        return f"Same verdict for any trim from {low} up."
    return f"Same verdict for any trim from {low.split()[0]} to {high}."
