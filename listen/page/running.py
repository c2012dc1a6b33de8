"""The page in the foreground, until Ctrl-C."""

from __future__ import annotations

import asyncio
import signal
import webbrowser
from contextlib import suppress
from pathlib import Path

import click

from listen.live.ear import EarsAtHand
from listen.page.certificate import fingerprint
from listen.page.codes import code_text
from listen.page.server import Doors, Page

_LOOK_S = 1.0


def run_page(*, home: Path, doors: Doors, open_browser: bool) -> None:
    """Serve until interrupted, then end takes properly.

    Raises
    ------
    DoorError, ShelfError
        If a port is taken or the folder cannot be used.
    """
    with EarsAtHand() as ears:
        page = Page(home=home, doors=doors, make_ear=ears)
        asyncio.run(_run(page, home, doors, open_browser))


async def _run(page: Page, home: Path, doors: Doors, open_browser: bool) -> None:
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGINT, signal.SIGTERM):
        with suppress(NotImplementedError):  # Windows raises KeyboardInterrupt by itself
            loop.add_signal_handler(number, stop.set)
    await page.start()
    try:
        url = f"http://localhost:{doors.local_port}/"
        click.echo(f"The page is at {url} (on this computer only). Ctrl-C ends it.")
        for take in page.house.shelf.unfinished():
            click.echo(f"A take was broken off and is safe: {take.name}. Review it under Past.")
        if open_browser:
            await asyncio.to_thread(webbrowser.open, url)
        if page.house.phone_url is None:
            await stop.wait()
        else:
            await _show_codes(page, home, stop)
    finally:
        click.echo("Ending: takes are being closed.")
        await page.stop()


async def _show_codes(page: Page, home: Path, stop: asyncio.Event) -> None:
    """Print the code, and a new one whenever it was used or grew old."""
    click.echo(f"Phones: {page.house.phone_url}, certificate (SHA-256):")
    click.echo(f"  {await asyncio.to_thread(fingerprint, home)}")
    click.echo(
        "Scan with a phone on the same Wi-Fi. It will warn that it does not know this computer; "
        "that is expected."
    )
    shown = ""
    while not stop.is_set():
        secret = page.house.pairing.secret
        if secret != shown:
            if shown:
                click.echo("A phone was let in, or the code grew old. The next code:")
            shown = secret
            click.echo(code_text(f"{page.house.phone_url}#{secret}"))
        with suppress(TimeoutError):
            await asyncio.wait_for(stop.wait(), _LOOK_S)
