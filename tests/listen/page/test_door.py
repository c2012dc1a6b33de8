"""What is said where a port cannot be opened."""

import asyncio
import socket
import ssl

import pytest
from aiohttp import web

from listen.page.door import DoorError, open_door


async def _answer(_request: web.BaseRequest) -> web.Response:
    return web.Response()


def test_a_port_in_use_is_told_with_the_option_that_chooses_another() -> None:
    async def run(tls: ssl.SSLContext | None, option: str) -> None:
        with socket.socket() as taken:
            taken.bind(("127.0.0.1", 0))
            taken.listen()
            port = int(taken.getsockname()[1])
            words = rf"Port {port} is in use.* another with {option}\.$"
            with pytest.raises(DoorError, match=words):
                await open_door(web.Server(_answer), address="127.0.0.1", port=port, tls=tls)

    asyncio.run(run(None, "--port"))
    asyncio.run(run(ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER), "--phone-port"))


def test_an_address_of_another_machine_is_told() -> None:
    # RFC 5737 keeps 203.0.113.0/24 for examples: no machine has it.
    async def run() -> None:
        with pytest.raises(DoorError, match=r"^203\.0\.113\.5 is not an address of this computer"):
            await open_door(web.Server(_answer), address="203.0.113.5", port=8466)

    asyncio.run(run())
