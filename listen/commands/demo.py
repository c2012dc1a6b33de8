"""`toothbeat demo`: a practice session that needs no router, told in plain words."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from listen.report import Section
    from recordings_synthetic import ShippedTake

DEFAULT_REPORT = Path("toothbeat-demo.html")
TITLE = "Practice on a shelf edge"
INVENTED = "Everything here is invented: the router, the wood and the hands are computed."
INTRO = (
    (
        "Someone trims the edges of shelves with a hand-held router, an unmarked speed dial and "
        "no idea how fast to push. Too slow and the edge rubs and burns; too fast and the bit "
        "overloads, tears and may break. They prop up a phone, record a few passes, and ask."
    ),
    (
        "Toothbeat hears how fast the spindle turns and when the bit is in the wood. The edge is "
        "of known length, so it knows the feed, and from that how thick a chip each tooth takes. "
        "It holds that against the band for this bit and wood, and says what to change."
    ),
)


@click.command()
@click.option(
    "--report",
    type=click.Path(path_type=Path),
    default=DEFAULT_REPORT,
    show_default=True,
    help="Where the page of the session goes.",
)
def demo(report: Path) -> None:
    """Review the practice takes that come with it, all of them invented.

    \b
    Example:
      toothbeat demo
      toothbeat demo --report session.html
    """
    from listen.report import session_page
    from listen.saving import check_can_save, save_whole
    from recordings_synthetic import shipped_takes

    check_can_save(report)
    _say(INVENTED)
    for paragraph in INTRO:
        click.echo()
        _say(paragraph)
    sections = []
    for number, shipped in enumerate(shipped_takes(), start=1):
        section = _reviewed(shipped)
        if section is None:
            continue
        sections.append(section)
        click.echo(f"\n{'-' * 80}")
        _say(f"Take {number}. {section.story}")
        click.echo()
        _tell(section)
    page = session_page(sections, title=TITLE, kicker=INVENTED, intro=INTRO)
    save_whole(report, page.encode())
    click.echo(f"\n{'-' * 80}")
    _say(f"The whole session, with pictures: {report}")
    click.echo(
        "Your own:  toothbeat review take.m4a --edge 600mm --bit 12.7mm --flutes 2 \\\n"
        "               --trim 1.6mm --material hardwood --report take.html"
    )


def _reviewed(shipped: ShippedTake) -> Section | None:
    """Review a shipped take with the set-up from its truth; None if it holds no passes."""
    import json

    from analysis.coaching.summary import review_take
    from listen.ears import hear_take
    from listen.report import Section
    from listen.setup import bench_of

    truth = json.loads(shipped.truth_path.read_text())
    if not truth["passes"]:
        return None
    bench = bench_of(truth["setup"])
    take = hear_take(
        shipped.path, flutes=bench.cut.flutes, plate_range_rpm=bench.cut.plate_range_rpm
    )
    return Section(take, bench, review_take(take.hearing, bench.cut, bench.units), shipped.story)


def _tell(section: Section) -> None:
    from listen.table import review_text

    click.echo(review_text(take=section.take, bench=section.bench, review=section.review), nl=False)


def _say(text: str) -> None:
    click.echo(textwrap.fill(text, 80))
