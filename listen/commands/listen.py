"""`toothbeat listen`: a verdict after every pass, by the computer's microphone."""

from __future__ import annotations

import signal
import sys
import threading
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from analysis.errors import ToothbeatError
from listen.options import cut_options

if TYPE_CHECKING:
    from listen.live.shelf import KeptTake, Shelf
    from listen.setup import Bench


@click.command()
@cut_options
@click.option("--device", help="Microphone: its number, or part of its name.")
@click.option("--list-devices", is_flag=True, help="List the microphones and end.")
@click.option("--sounds", is_flag=True, help="Play a short sound for each verdict, and the pace.")
@click.option(
    "--report", type=click.Path(path_type=Path), help="At the end, write a page to read or print."
)
def listen(
    device: str | None, list_devices: bool, sounds: bool, report: Path | None, **cut: Any
) -> None:
    """Coach your passes live; Ctrl-C ends the take and sums it up.

    After each pass: one large word, the time to aim at, and why. With --sounds, best in
    headphones: three high notes for faster, one long low note for slower, two rising notes for
    good, and soft ticks at the quarters of the pass. Look at the work, not at the screen, while
    the bit turns. The take is kept on this computer.

    \b
    Example:
      toothbeat listen --edge 600mm --bit 12.7mm --flutes 2 --trim 1.6mm \\
          --material hardwood --range 8000-24000 --sounds
    """
    from listen.live.microphone import choose_device, input_devices

    if list_devices:
        devices = input_devices()
        choose_device(None, devices)  # none at all is told as such
        for found in devices:
            mark = "  (the system's choice)" if found.is_default else ""
            click.echo(f"{found.index:>3}  {found.name}{mark}")
        return

    from listen.saving import check_can_save
    from listen.setup import lay_out

    bench = lay_out(**cut)
    if report is not None:
        check_can_save(report)

    from listen.live.bench_coach import coach_by_microphone
    from listen.live.ear import ear_apart
    from listen.live.microphone import Microphone
    from listen.live.recording import Order, Recording
    from listen.live.shelf import Shelf
    from listen.live.speaker import Speaker
    from listen.live.terminal import Terminal
    from listen.store.home import home

    chosen = choose_device(device, input_devices())
    shelf = Shelf(home() / "takes")
    terminal = Terminal(sys.stdout, bench)
    for take in shelf.unfinished():
        try:
            sound = shelf.end(take)
        except (ToothbeatError, OSError):
            sound = take.folder
        if sound is not None:
            terminal.say(f"A take was broken off earlier; what there is of it is in {sound}.")
    stop = threading.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda _number, _frame: stop.set())
    microphone = Microphone(chosen)
    speaker = Speaker() if sounds else None
    recording = Recording(
        shelf=shelf,
        make_ear=ear_apart,
        order=Order(bench, microphone.sample_rate_hz),
        about={"source": "microphone", "owner": "here", "setup": _setup(cut)},
    )
    terminal.say(f"Listening to {chosen.name}. Start the router; Ctrl-C ends the take.")
    coach_by_microphone(
        microphone=microphone,
        device=chosen,
        recording=recording,
        speaker=speaker,
        stop=stop,
        tell=terminal.show,
        say=terminal.say,
    )
    _say_where(shelf, recording.take, terminal.say, bench, report)


def _say_where(
    shelf: Shelf, take: KeptTake | None, say: Any, bench: Bench, report: Path | None
) -> None:
    sound = shelf.sound(take) if take is not None else None
    if take is None or sound is None:
        if report is not None:
            say("Nothing was kept, so there is no report.")
        return
    say(f"The take is kept: {sound}")
    if report is not None:
        _write_report(sound, bench, report, take)
        say(f"The report is written: {report}")


def _write_report(sound: Path, bench: Bench, report: Path, take: KeptTake) -> None:
    from analysis.coaching.summary import review_take
    from listen.ears import hear_take
    from listen.live.gaps import gaps_told
    from listen.report import Section, report_page
    from listen.saving import save_whole

    heard = hear_take(
        sound,
        flutes=bench.cut.flutes,
        plate_range_rpm=bench.cut.plate_range_rpm,
        known_voices=bench.voices,
    )
    gaps = gaps_told(take.events)
    review = review_take(heard.hearing, bench.cut, bench.units, gaps=gaps)
    save_whole(report, report_page(Section(heard, bench, review)).encode())


def _setup(cut: dict[str, Any]) -> dict[str, str]:
    """The set-up as it can be typed again on the page."""
    told = {}
    for name, key in (("edge", "edge"), ("bit", "bit"), ("trim", "trim")):
        length = cut.get(name)
        if length is not None:
            told[key] = length if isinstance(length, str) else f"{float(length.mm):g}mm"
    for name, key in (("flutes", "flutes"), ("material", "material")):
        if cut.get(name) is not None:
            told[key] = str(cut[name])
    if cut.get("plate_range_rpm") is not None:
        low_rpm, high_rpm = cut["plate_range_rpm"]
        told["range"] = f"{low_rpm:.0f}-{high_rpm:.0f}"
    return told
