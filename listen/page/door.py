"""The listening sockets: few connections from one place, and not too many in all."""

from __future__ import annotations

import asyncio
import errno
import socket
import ssl

from aiohttp import web

from analysis.errors import ToothbeatError

MOST_CONNECTIONS = 256
MOST_FROM_ONE_PEER = 48
_HANDSHAKE_S = 10.0


class DoorError(ToothbeatError):
    """A port cannot be opened."""


class _Guard(asyncio.Protocol):
    """Turns a connection away, or hands it on to the web server's own protocol."""

    def __init__(self, server: web.Server) -> None:
        self._server = server

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        if not isinstance(transport, asyncio.Transport):
            raise TypeError(transport)
        peer = _peer(transport)
        others = [_peer(handler.transport) for handler in self._server.connections]
        if len(others) >= MOST_CONNECTIONS or others.count(peer) >= MOST_FROM_ONE_PEER:
            transport.abort()
            return
        handler = self._server()
        transport.set_protocol(handler)
        handler.connection_made(transport)


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
    try:
        return await asyncio.get_running_loop().create_server(
            lambda: _Guard(server),
            address,
            port,
            family=family,
            ssl=tls,
            ssl_handshake_timeout=_HANDSHAKE_S if tls is not None else None,
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
