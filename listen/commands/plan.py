"""`toothbeat plan`: the cut before it is made."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from listen.commands.tool_options import BIT_OPTIONS, GRAIN, ROUTER_OPTIONS, with_options
from listen.options import EDGE, TRIM, BitType, LengthType, SpeedType

if TYPE_CHECKING:
    from listen.planning import Planned


@click.command()
@click.option("--bit", type=BitType(), help="Diameter, or the name of a bit you keep.")
@click.option("--trim", type=TRIM, help="What a pass takes off sideways, or: buried.")
@click.option("--material", help="The wood or board: hardwood, oak, MDF, or one you keep.")
@click.option("--edge", type=EDGE, help="Length of the edge that a pass cuts: 610mm.")
@click.option(
    "--thickness",
    type=LengthType(noun="a thickness", limits_mm=(0.5, 150.0)),
    help="Thickness that is cut in one pass.",
)
@click.option(
    "--radius",
    type=LengthType(noun="a radius", limits_mm=(0.01, 5_000.0)),
    help="Tightest inside corner of the template.",
)
@click.option("--grain", type=GRAIN, help="How the fibres run along the edge.")
@click.option("--router", help="The name of a router you keep.")
@with_options(ROUTER_OPTIONS)
@with_options(BIT_OPTIONS)
@click.option("--speed", type=SpeedType(), help="Plan for this speed instead of the advised one.")
@click.option("--figure", type=click.Path(path_type=Path), help="Draw it: .png, .svg or .pdf.")
@click.option("--card", type=click.Path(path_type=Path), help="Write a card to print, A6: .pdf.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead.")
@click.option("-q", "--quiet", is_flag=True, help="Print nothing but what --json prints.")
def plan(figure: Path | None, card: Path | None, as_json: bool, quiet: bool, **told: Any) -> None:
    """Plan a cut: which speed, how fast, and what could go wrong.

    \b
    Example:
      toothbeat plan --bit 1/2in --flutes 2 --trim 1/16in --material beech \\
          --edge 24in --thickness 3/4in --range 8000-24000
      toothbeat plan --bit "spiral half" --router bench --edge 610mm \\
          --trim 1.6mm --material beech --card card.pdf
    """
    from listen.planning import lay_out_plan

    if card is not None and card.suffix.lower() != ".pdf":
        raise click.BadParameter(f'"{card}" must end in .pdf.', param_hint="--card")
    _check_files(figure, card)
    planned = lay_out_plan(**told)
    if figure is not None:
        _draw_figure(planned, figure)
    if card is not None:
        _draw_card(planned, card)
    if not quiet:
        from listen.plan_text import plan_text

        click.echo(plan_text(planned), nl=False, err=as_json)
    if as_json:
        from listen.plan_contract import plan_json

        click.echo(plan_json(planned))


def _check_files(figure: Path | None, card: Path | None) -> None:
    """Refuse a file name before the work, not after it."""
    if figure is None and card is None:
        return
    from analysis.errors import InputError
    from listen.drawn import figure_kind
    from listen.saving import check_can_save

    if figure is not None:
        try:
            figure_kind(figure)
        except InputError:
            raise click.BadParameter(
                f'"{figure}" must end in .png, .svg or .pdf.', param_hint="--figure"
            ) from None
    for path in (figure, card):
        if path is not None:
            check_can_save(path)


def _draw_figure(planned: Planned, path: Path) -> None:
    from analysis.pictures.window import plan_sheet
    from listen.drawn import figure_bytes, figure_kind
    from listen.saving import save_whole

    sheet = plan_sheet(planned.plan, units=planned.units, title=planned.title)
    save_whole(path, figure_bytes(sheet, figure_kind(path)))


def _draw_card(planned: Planned, path: Path) -> None:
    from analysis.pictures.card import plan_card
    from listen.drawn import figure_bytes, figure_kind
    from listen.saving import save_whole

    sheet = plan_card(planned.plan, units=planned.units, title=planned.title)
    save_whole(path, figure_bytes(sheet, figure_kind(path)))
