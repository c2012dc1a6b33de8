"""`toothbeat calibrate`: what the numbers on the dial really mean."""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path
from textwrap import fill
from typing import TYPE_CHECKING, Any

import click

from analysis.dial.settings import Setting, SettingError, parse_settings
from listen.options import SpeedRangeType

if TYPE_CHECKING:
    from analysis.dial.calibration import Calibration
    from analysis.dial.plateaus import Plateau
    from listen.dial.calibrating import Heard


TITLE_WIDTH = 64  # characters over a figure


class SettingsType(click.ParamType[tuple[Setting, ...]]):
    """Dial settings in the order in which they were set."""

    name = "list"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[Setting, ...]:
        if isinstance(value, tuple):
            return value
        try:
            return parse_settings(value)
        except SettingError as error:
            self.fail(str(error), param, ctx)


@click.command()
@click.argument("takes", type=click.Path(path_type=Path), nargs=-1, required=True)
@click.option("--router", help="Name of the router; the calibration is kept under it.")
@click.option(
    "--settings", type=SettingsType(), help="The dial's settings, as they were set: 1,2,3 or A..G."
)
@click.option("--nominal", type=SpeedRangeType(), help="Speeds on the router's plate: 10000-22000.")
@click.option("--check", is_flag=True, help="Only hold the take against the kept calibration.")
@click.option(
    "--cutting", type=click.Path(path_type=Path), help="A take of cutting: what load does."
)
@click.option(
    "--card", type=click.Path(path_type=Path), help="Write a card to tape on: .pdf, .png."
)
@click.option("--figure", type=click.Path(path_type=Path), help="Draw it: .png, .svg or .pdf.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead.")
@click.option("-q", "--quiet", is_flag=True, help="Print nothing but what --json prints.")
def calibrate(
    takes: tuple[Path, ...],
    router: str | None,
    settings: tuple[Setting, ...] | None,
    nominal: tuple[float, float] | None,
    check: bool,
    cutting: Path | None,
    card: Path | None,
    figure: Path | None,
    as_json: bool,
    quiet: bool,
) -> None:
    """Learn what the numbers on a router's dial really mean.

    TAKES are recordings of the router running free, alone, with nothing touching the bit: set
    a number, let it run for 4 to 6 s, set the next. Any order will do, and switching off in
    between; set one or two numbers twice. Keep clear of the bit, and wear hearing protection.

    \b
    Example:
      toothbeat calibrate dial.m4a --router bench --settings 1,2,3,4,5,6,3 \\
          --nominal 10000-22000 --card card.pdf
      toothbeat calibrate later.m4a --router bench --settings 3 --check
    """
    _check_options(takes, router=router, check=check, card=card, figure=figure)
    from listen.dial.calibrating import hear_takes, match_takes

    heard = hear_takes(takes, plate_range_rpm=nominal or _kept_plate(router))
    settings = settings or _ask(heard)
    if check:
        assert router is not None
        _check_drift(heard, settings, router, as_json=as_json, quiet=quiet)
        return

    def draw_refusal(found: tuple[Plateau, ...], title: str) -> None:
        if figure is not None:
            from analysis.pictures.dial import plateaus_figure

            title = fill(title, TITLE_WIDTH)
            _save_figure(
                figure, plateaus_figure(heard.free.tracks, found, labels=None, title=title)
            )

    made = match_takes(heard, settings, on_refusal=draw_refusal)
    motor = _hear_motor(cutting, heard) if cutting is not None else None
    said = [*heard.notes, *_against_the_last(made, router)]
    if router is not None:
        _keep(made, router, nominal)
    name = router or "router"
    if figure is not None:
        from analysis.pictures.dial import dial_figure

        title = f"{name}: what the dial does"
        _save_figure(figure, dial_figure(made, heard.free.tracks, title=title))
    if card is not None:
        _save_card(card, made, name)
    _print(made, heard, router, motor, said, cutting=cutting, as_json=as_json, quiet=quiet)


def _check_options(
    takes: tuple[Path, ...],
    *,
    router: str | None,
    check: bool,
    card: Path | None,
    figure: Path | None,
) -> None:
    """Refuse before the work what would be refused after it."""
    from listen.saving import check_can_save
    from listen.store.names import usable_name

    if router is not None:
        usable_name(router)
    if check and router is None:
        raise click.UsageError("--check needs the router's name: give it with --router.")
    if check and card is not None:
        raise click.UsageError("--check makes no card: leave out --card.")
    if card is not None and card.suffix.lower() not in (".pdf", ".png"):
        raise click.BadParameter(f'"{card}" must end in .pdf or .png.', param_hint="--card")
    if figure is not None and figure.suffix.lower() not in (".pdf", ".png", ".svg"):
        raise click.BadParameter(
            f'"{figure}" must end in .png, .svg or .pdf.', param_hint="--figure"
        )
    for path in (card, figure):
        if path is not None:
            check_can_save(path)
            if any(path.resolve() == take.resolve() for take in takes):
                raise click.UsageError(f'"{path}" is a take: give the picture another name.')


def _kept_plate(router: str | None) -> tuple[float, float] | None:
    """The plate's speeds of a router that is kept already."""
    if router is None:
        return None
    from listen.store.names import NamingError, name_store, router_named

    with name_store() as store:
        try:
            return router_named(store, router).plate_range_rpm
        except NamingError:
            return None


def _ask(heard: Heard) -> tuple[Setting, ...]:
    """Show the plateaus found and ask which setting each was."""
    from listen.dial.text import plateaus_drawn

    drawn = plateaus_drawn(heard.plateaus, takes=heard.names)
    if not heard.plateaus or not sys.stdin.isatty():
        raise click.UsageError(
            f"Which settings are these? Give them in order with --settings 1,2,3.\n{drawn}"
        )
    click.echo(f"Steady speeds heard:\n{drawn}", err=True)
    try:
        answer: tuple[Setting, ...] = click.prompt(
            f"Which settings were they, in this order ({len(heard.plateaus)})",
            type=SettingsType(),
            err=True,
        )
    except click.Abort:
        click.echo(err=True)  # what comes next begins a line of its own
        raise
    return answer


def _check_drift(
    heard: Heard, settings: tuple[Setting, ...], router: str, *, as_json: bool, quiet: bool
) -> None:
    from analysis.dial.curve import curve_from_json
    from analysis.dial.drift import dial_drift
    from analysis.dial.matching import part_repeats
    from listen.dial.calibrating import RefusedError
    from listen.dial.contract import drift_json
    from listen.dial.text import drift_text, plateaus_drawn, refusal
    from listen.store.names import name_store, router_named

    with name_store() as store:
        router_named(store, router)
        kept = store.calibration(router)
    if kept is None:
        raise RefusedError(f'"{router}" has no calibration yet. Leave out --check to make one.')
    if heard.free.another_turns:
        sentence = (
            "Two machines are heard that turn from speed to speed, each at its own time. Switch "
            "the other one off, and record this router alone."
        )
        raise RefusedError(refusal(sentence))
    plateaus = part_repeats(heard.plateaus, settings, heard.free.tracks)
    if len(settings) != len(plateaus):
        drawn = plateaus_drawn(heard.plateaus, takes=heard.names)
        raise RefusedError(
            f"Steady speeds heard: {len(heard.plateaus)}; settings given: {len(settings)}. Give "
            f"one setting for each, in order.\n{drawn}"
        )
    curve = curve_from_json(kept.calibration["curve"])
    drifts = []
    for setting, plateau in zip(settings, plateaus, strict=True):
        drift = dial_drift(
            curve,
            setting=setting,
            measured_rpm=plateau.spindle_rpm,
            measured_u95_rpm=plateau.spindle_rpm_u95,
        )
        if drift is None:
            first, last = curve.knots[0].label, curve.knots[-1].label
            raise RefusedError(
                f"Setting {setting.label} is beyond the calibrated ones, {first} to {last}."
            )
        drifts.append(drift)
    if not quiet:
        click.echo(drift_text(tuple(drifts)), nl=False, err=as_json)
    if as_json:
        click.echo(drift_json(tuple(drifts), router=router))


def _against_the_last(made: Calibration, router: str | None) -> list[str]:
    """How far the dial has moved since the calibration that is replaced."""
    if router is None:
        return []
    from analysis.dial.curve import KeptError, curve_from_json
    from analysis.dial.drift import dial_drift
    from listen.store.names import name_store

    with name_store() as store:
        kept = store.calibration(router)
    if kept is None:
        return []
    try:
        old = curve_from_json(kept.calibration["curve"])
    except (KeptError, KeyError):
        return []
    moved = []
    for knot in made.curve.knots:
        drift = dial_drift(
            old,
            setting=Setting(knot.label, knot.position, made.curve.marks),
            measured_rpm=knot.spindle_rpm,
            measured_u95_rpm=knot.spindle_rpm_u95,
        )
        if drift is not None and drift.beyond_doubt:
            moved.append(drift)
    if not moved:
        return []
    most = max(moved, key=lambda drift: abs(drift.percent))
    way = "faster" if most.percent > 0 else "slower"
    note = (
        f"Since {kept.made_at[:10]} the dial has moved: setting {most.setting.label} now runs "
        f"{abs(most.percent):.1f} % {way}. This calibration takes the place of that one."
    )
    return [note]


def _keep(made: Calibration, router: str, nominal: tuple[float, float] | None) -> None:
    from dataclasses import replace

    from analysis.dial.keeping import calibration_to_json
    from listen.store.names import name_store
    from listen.store.things import Facts, RouterFacts

    def with_plate(facts: Facts) -> Facts:
        if nominal is None or not isinstance(facts, RouterFacts) or facts.plate_range_rpm:
            return facts
        return replace(facts, low_rpm=nominal[0], high_rpm=nominal[1])

    with name_store() as store:
        store.keep_calibration(router, calibration_to_json(made))
        store.change("router", router, with_plate)


def _hear_motor(path: Path, heard: Heard) -> Any:
    from analysis.dial.motor import hear_motor
    from listen.ears import hear_take

    cut = hear_take(
        path,
        flutes=None,
        plate_range_rpm=heard.plate_range_rpm,
        known_voices=heard.free.voices,
    )
    return hear_motor(cut.hearing.passes)


def _save_figure(path: Path, figure: Any) -> None:
    from listen.drawn import figure_bytes, figure_kind
    from listen.saving import save_whole

    save_whole(path, figure_bytes(figure, figure_kind(path)))


def _save_card(path: Path, made: Calibration, name: str) -> None:
    from analysis.pictures.dial_card import CardText, card_figure, card_sheet
    from listen.dial.card_file import card_png
    from listen.saving import save_whole

    text = CardText(router=name, made_on=date.today().isoformat())  # noqa: DTZ011 - the person's own day
    if path.suffix.lower() == ".png":
        save_whole(path, card_png(card_figure(made.curve, text)))
    else:
        _save_figure(path, card_sheet(made.curve, text))


def _print(
    made: Calibration,
    heard: Heard,
    router: str | None,
    motor: Any,
    said: list[str],
    *,
    cutting: Path | None,
    as_json: bool,
    quiet: bool,
) -> None:
    from listen.dial.contract import calibration_json
    from listen.dial.text import calibration_text, motor_sentence

    notes = tuple(said)
    if not quiet:
        spoken = (*notes, motor_sentence(motor)) if cutting is not None else notes
        title = f'Kept as "{router}".' if router else "Not kept: give --router NAME to keep it."
        text = calibration_text(made, title=f"{', '.join(heard.names)}. {title}", notes=spoken)
        click.echo(text, nl=False, err=as_json)
    if as_json:
        click.echo(
            calibration_json(made, router=router, takes=heard.names, notes=notes, motor=motor)
        )
