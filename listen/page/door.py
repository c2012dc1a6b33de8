"""The listening sockets: few connections from one place, and not too many in all."""

from __future__ import annotations

import asyncio
import errno
import socket
import ssl
from contextlib import suppress

from aiohttp import web

from analysis.errors import ToothbeatError

MOST_CONNECTIONS = 256
MOST_FROM_ONE_PEER = 48
_HANDSHAKE_S = 10.0


class DoorError(ToothbeatError):
    """A port cannot be opened."""


class _Guard(asyncio.Protocol):
    """Turns a connection away, or hands it on to the web server's own protocol.

    Those that have not said hello yet count too: a flood of them would use up all that the
    system lets a program open, and the takes under way need some of that.
    """

    def __init__(
        self,
        server: web.Server,
        tls: ssl.SSLContext | None,
        greeting: dict[asyncio.Task[None], str],
    ) -> None:
        self._server = server
        self._tls = tls
        self._greeting = greeting  # whose handshake is under way
        self._early = b""

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        if not isinstance(transport, asyncio.Transport):
            raise TypeError(transport)
        peer = _peer(transport)
        others = [_peer(handler.transport) for handler in self._server.connections]
        others += self._greeting.values()
        if len(others) >= MOST_CONNECTIONS or others.count(peer) >= MOST_FROM_ONE_PEER:
            transport.abort()
        elif self._tls is None:
            self._hand_on(transport)
        else:
            task = asyncio.get_running_loop().create_task(self._greet(transport, self._tls))
            self._greeting[task] = peer
            task.add_done_callback(self._greeting.pop)

    def data_received(self, data: bytes) -> None:
        """Keep what comes with the end of the handshake."""
        self._early += data

    async def _greet(self, transport: asyncio.Transport, tls: ssl.SSLContext) -> None:
        loop = asyncio.get_running_loop()
        with suppress(OSError):  # a handshake that fails or takes too long
            secure = await loop.start_tls(
                transport, self, tls, server_side=True, ssl_handshake_timeout=_HANDSHAKE_S
            )
            if secure is not None:
                self._hand_on(secure)

    def _hand_on(self, transport: asyncio.Transport) -> None:
        handler = self._server()
        transport.set_protocol(handler)
        handler.connection_made(transport)
        if self._early:
            handler.data_received(self._early)


def _peer(transport: asyncio.BaseTransport | None) -> str:
    name = transport.get_extra_info("peername") if transport is not None else None
    return str(name[0]) if name else ""


async def open_door(
    server: web.Server,
    *,
    address: str,
    port: int,
    tls: ssl.SSLContext | None = None,
) -> asyncio.Server:
    """Listen at one address.

    Raises
    ------
    DoorError
        If the port is taken or the address is not this machine's.
    """
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    greeting: dict[asyncio.Task[None], str] = {}
    try:
        return await asyncio.get_running_loop().create_server(
            lambda: _Guard(server, tls, greeting), address, port, family=family
        )
    except OSError as error:
        option = "--port" if tls is None else "--phone-port"
        if error.errno == errno.EADDRINUSE:
            told = f"Port {port} is in use: the page may be running already. If it isn't, give"
            told += f" another with {option}."
        elif error.errno == errno.EADDRNOTAVAIL:
            told = f"{address} is not an address of this computer. Leave --address out, or give"
            told += " the one that its network settings show."
        else:
            told = f"Port {port} at {address} cannot be opened: {error.strerror or error}."
            told += f" Give another with {option}."
        raise DoorError(told) from None
