"""The page as a running server: routes, gates and doors put together."""

from __future__ import annotations

import asyncio
import ssl
from contextlib import suppress
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

from aiohttp import web

from listen.live.ear import MakeEar
from listen.live.shelf import Shelf
from listen.page import job_routes, pair_routes, sound_routes
from listen.page.addresses import host_in_url
from listen.page.certificate import server_context
from listen.page.door import open_door
from listen.page.gates import Gates, Handler
from listen.page.keys import HOUSE, House
from listen.page.pairing import Pairing
from listen.page.reviewing import Reviews
from listen.page.sessions import Sessions

_TYPES = {
    ".html": "text/html",
    ".css": "text/css",
    ".js": "text/javascript",
    ".svg": "image/svg+xml",
}
_SWEEP_S = 30.0


@dataclass(frozen=True, slots=True)
class Doors:
    """Where to listen. `phone_address` None keeps the network out; port 0 is refused."""

    local_port: int
    phone_address: str | None
    phone_port: int


class Page:
    """A page that can be started and stopped.

    Parameters
    ----------
    home : Path
        The user's folder for takes, certificate and pairings.
    """

    def __init__(self, *, home: Path, doors: Doors, make_ear: MakeEar) -> None:
        self._home = home
        self._doors = doors
        phone_host = None
        if doors.phone_address is not None:
            phone_host = f"{host_in_url(doors.phone_address)}:{doors.phone_port}"
        shelf = Shelf(home / "takes")
        self.house = House(
            home=home,
            shelf=shelf,
            sessions=Sessions(shelf, make_ear),
            reviews=Reviews(),
            pairing=Pairing(home / "paired.json"),
            phone_url=f"https://{phone_host}/pair" if phone_host else None,
        )
        gates = Gates(
            local_port=doors.local_port, phone_host=phone_host, pairing=self.house.pairing
        )
        self._app = _application(self.house, gates)
        self._servers: list[asyncio.Server] = []
        self._runner: web.AppRunner | None = None
        self._sweeping: asyncio.Task[None] | None = None

    async def start(self) -> None:
        """Open the doors."""
        self._runner = web.AppRunner(self._app, access_log=None, shutdown_timeout=3.0)
        await self._runner.setup()
        server = self._runner.server
        if server is None:
            raise RuntimeError("the runner has no server")
        self._servers.append(
            await open_door(server, address="127.0.0.1", port=self._doors.local_port)
        )
        if self._doors.phone_address is not None:
            tls = await asyncio.to_thread(self._tls)
            self._servers.append(
                await open_door(
                    server,
                    address=self._doors.phone_address,
                    port=self._doors.phone_port,
                    tls=tls,
                )
            )
        self._sweeping = asyncio.create_task(self._sweep())

    async def stop(self) -> None:
        """End the takes properly and close the doors."""
        for server in self._servers:
            server.close()
        if self._sweeping is not None:
            self._sweeping.cancel()
            with suppress(asyncio.CancelledError):
                await self._sweeping
        await self.house.sessions.end_all()
        await self.house.reviews.stop()
        if self._runner is not None:
            await self._runner.cleanup()

    def _tls(self) -> ssl.SSLContext:
        if self._doors.phone_address is None:
            raise RuntimeError("no phones are served")
        return server_context(self._home, self._doors.phone_address)

    async def _sweep(self) -> None:
        while True:
            await asyncio.sleep(_SWEEP_S)
            await self.house.sessions.end_forgotten()


def _application(house: House, gates: Gates) -> web.Application:
    app = web.Application(middlewares=[gates.middleware], client_max_size=1_000_000)
    app[HOUSE] = house
    sound_routes.add_routes(app)
    job_routes.add_routes(app)
    pair_routes.add_routes(app)
    for path, file in _pages().items():
        app.router.add_get(path, file)
    return app


def _pages() -> dict[str, Handler]:
    """Every file that is served, read once: no address ever becomes a path."""
    served: dict[str, Handler] = {}
    for file in files("listen.page").joinpath("static").iterdir():
        suffix = Path(file.name).suffix
        if suffix not in _TYPES:
            continue
        handler = _served(file.read_bytes(), _TYPES[suffix])
        served[f"/static/{file.name}"] = handler
        if file.name == "index.html":
            served["/"] = handler
        if file.name == "pair.html":
            served["/pair"] = handler
    return served


def _served(body: bytes, content_type: str) -> Handler:
    async def handler(_request: web.Request) -> web.StreamResponse:
        return web.Response(body=body, content_type=content_type, charset="utf-8")

    return handler
