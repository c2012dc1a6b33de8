"""`toothbeat page`: the whole job as a page, here or on a phone in the same room."""

from __future__ import annotations

import click

LOCAL_PORT, PHONE_PORT = 8465, 8466


@click.command()
@click.option("--phone", is_flag=True, help="Let phones on the same network in, by a code.")
@click.option(
    "--port",
    type=click.IntRange(1024, 65534),
    default=LOCAL_PORT,
    show_default=True,
    help="Where this computer's browser finds the page.",
)
@click.option(
    "--phone-port",
    type=click.IntRange(1024, 65534),
    default=PHONE_PORT,
    show_default=True,
    help="Where phones find it.",
)
@click.option("--address", help="This computer's address for phones, if it has several.")
@click.option("--no-browser", is_flag=True, help="Don't open the page in a browser.")
def page(phone: bool, port: int, phone_port: int, address: str | None, no_browser: bool) -> None:
    """Open the page: plan, passes with live verdicts, dial, files, looking back.

    Only this computer can open it, unless you give --phone: then phones that scan the code
    can, over an encrypted link. All sound and all figures stay on this computer.

    \b
    Example:
      toothbeat page
      toothbeat page --phone
    """
    from listen.page.addresses import checked_address, local_address
    from listen.page.running import run_page
    from listen.page.server import Doors
    from listen.store.home import home

    if address is not None and not phone:
        raise click.UsageError("--address is for phones: give --phone as well.")
    phone_address = None
    if phone:
        phone_address = checked_address(address) if address else local_address()
    if phone and phone_port == port:
        raise click.UsageError("--port and --phone-port must differ.")
    run_page(
        home=home(),
        doors=Doors(local_port=port, phone_address=phone_address, phone_port=phone_port),
        open_browser=not no_browser,
    )
