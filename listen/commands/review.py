"""`toothbeat review`: what happened in a take, pass by pass, and what to change."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click

from analysis.errors import InputError
from listen.drawn import figure_kind
from listen.options import cut_options

_STDOUT = Path("-")


def _figure_path(
    _context: click.Context, _option: click.Parameter, path: Path | None
) -> Path | None:
    if path is not None:
        try:
            figure_kind(path)
        except InputError:
            raise click.BadParameter(f'"{path}" must end in .png, .svg or .pdf.') from None
    return path


@click.command()
@click.argument("take", type=click.Path(path_type=Path))
@cut_options
@click.option(
    "--report", type=click.Path(path_type=Path), help="Write a page to read, keep or print."
)
@click.option(
    "--figure",
    type=click.Path(path_type=Path),
    callback=_figure_path,
    help="Write the pictures: .png, .svg or .pdf.",
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of the table.")
@click.option(
    "--csv",
    "csv_path",
    type=click.Path(path_type=Path),
    is_flag=False,
    flag_value=_STDOUT,
    help="Write a row for each pass; alone, print them.",
)
@click.option("-q", "--quiet", is_flag=True, help="Print no table and no progress.")
def review(
    take: Path,
    report: Path | None,
    figure: Path | None,
    as_json: bool,
    csv_path: Path | None,
    quiet: bool,
    **cut: Any,
) -> None:
    """Review a recording of your passes.

    TAKE is what the phone wrote: .m4a, .mp3, .wav, .flac, .ogg, .opus, .3gp, or a video.
    Tell what you know of the cut; what you leave out is left out of the answer.

    \b
    Example:
      toothbeat review take.m4a --edge 600mm --bit 12.7mm --flutes 2 \\
          --trim 1.6mm --material hardwood --range 8000-24000
      toothbeat review take.m4a --edge 24in --bit 1/2in --flutes 2 \\
          --trim 1/16in --material oak --report take.html
      toothbeat review take.m4a --edge 600mm --bit "spiral half" --router bench \\
          --trim 1.6mm --material hardwood
    """
    from listen.saving import check_can_save
    from listen.setup import lay_out

    if as_json and csv_path == _STDOUT:
        raise click.UsageError("--json and --csv both print: give --csv a file name.")
    bench = lay_out(**cut)
    for path in (report, figure, csv_path):
        if path is not None and path != _STDOUT:
            check_can_save(path)

    from analysis.coaching.summary import review_take
    from listen.contract import review_csv, review_json
    from listen.ears import hear_take
    from listen.live.gaps import gaps_beside
    from listen.saving import save_whole
    from listen.table import review_text

    with progress(hidden=quiet) as on_progress:
        heard = hear_take(
            take,
            flutes=bench.cut.flutes,
            plate_range_rpm=bench.cut.plate_range_rpm,
            known_voices=bench.voices,
            on_progress=on_progress,
        )
    reviewed = review_take(heard.hearing, bench.cut, bench.units, gaps=gaps_beside(take))

    if report is not None:
        from listen.report import Section, report_page

        page = report_page(Section(heard, bench, reviewed))
        save_whole(report, page.encode())
    if figure is not None:
        from analysis.coaching.setup_window import setup_window
        from analysis.pictures.review import review_sheet
        from listen.drawn import figure_bytes

        sheet = review_sheet(
            heard.hearing,
            reviewed,
            flutes=bench.cut.flutes,
            units=bench.units,
            title=heard.name,
            window=setup_window(bench.cut),
        )
        save_whole(figure, figure_bytes(sheet, figure_kind(figure)))
    if csv_path is not None and csv_path != _STDOUT:
        save_whole(csv_path, review_csv(reviewed).encode())

    prints_data = as_json or csv_path == _STDOUT
    if not quiet:
        text = review_text(take=heard, bench=bench, review=reviewed)
        # With data on standard output, words for the person go beside it.
        click.echo(text, nl=False, err=prints_data)
    if as_json:
        click.echo(review_json(take=heard, bench=bench, review=reviewed))
    elif csv_path == _STDOUT:
        click.echo(review_csv(reviewed), nl=False)


@contextmanager
def progress(*, hidden: bool) -> Iterator[Callable[[float, float | None], None] | None]:
    """Show how far the listening is, on standard error and only to a person."""
    if hidden or not sys.stderr.isatty():
        yield None
        return
    with click.progressbar(length=1000, label="Listening", file=sys.stderr) as bar:

        def on_progress(done_s: float, whole_s: float | None) -> None:
            if whole_s:
                bar.update(min(1000, int(1000 * done_s / whole_s)) - bar.pos)

        yield on_progress
