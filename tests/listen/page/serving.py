"""A page with open doors for a test, and clients for it."""

from __future__ import annotations

import socket
import ssl
from collections.abc import AsyncIterator
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import aiohttp
import numpy as np

from listen.live.ear import MakeEar
from listen.live.frames import Frame, pack_frame
from listen.page.server import Doors, Page
from listen.setup import Bench
from tests.listen.live.stub_engine import StubEngine

SETUP = {"edge": "600mm", "bit": "12.7mm", "flutes": "2", "trim": "1.6mm", "material": "hardwood"}
RATE_HZ = 48_000
BLOCK = 4096
PHONE_ADDRESS = "127.0.0.1"


@dataclass
class Served:
    """A running page. `here` and `phone` are its two addresses."""

    page: Page
    here: str
    phone: str
    tls: ssl.SSLContext

    @property
    def port(self) -> int:
        return int(self.here.rsplit(":", 1)[1])

    def cut_off(self) -> None:
        """Break every connection, as a phone out of reach of the Wi-Fi does."""
        runner = self.page._runner
        assert runner is not None
        assert runner.server is not None
        for handler in runner.server.connections:
            if handler.transport is not None:
                handler.transport.abort()

    def client(self, **options: Any) -> aiohttp.ClientSession:
        """Make a client that asks as our own page would."""
        return aiohttp.ClientSession(self.here, headers={"Origin": self.here}, **options)

    def phone_client(self) -> aiohttp.ClientSession:
        connector = aiohttp.TCPConnector(ssl=self.tls)
        jar = aiohttp.CookieJar(unsafe=True)
        return aiohttp.ClientSession(
            self.phone, connector=connector, cookie_jar=jar, headers={"Origin": self.phone}
        )

    async def paired_client(self) -> aiohttp.ClientSession:
        client = self.phone_client()
        secret = self.page.house.pairing.secret
        assert await status_of(client.post("/api/pair", json={"secret": secret})) == 200
        return client


async def status_of(request: AbstractAsyncContextManager[aiohttp.ClientResponse]) -> int:
    """The status of an answer, read to its end."""
    async with request as answer:
        await answer.read()
        return answer.status


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def _stub(_bench: Bench, sample_rate_hz: float) -> StubEngine:
    return StubEngine(sample_rate_hz)


@asynccontextmanager
async def served(
    home: Path, *, phone: bool = True, make_ear: MakeEar | None = None
) -> AsyncIterator[Served]:
    """Serve a page; its engine is the stub unless another is given."""
    doors = Doors(free_port(), PHONE_ADDRESS if phone else None, free_port())
    page = Page(home=home, doors=doors, make_ear=make_ear or _stub)
    tls = ssl.create_default_context()
    tls.check_hostname = False
    await page.start()
    if phone:
        tls.load_verify_locations(home / "certificate.pem")
    try:
        yield Served(
            page,
            f"http://localhost:{doors.local_port}",
            f"https://{PHONE_ADDRESS}:{doors.phone_port}",
            tls,
        )
    finally:
        await page.stop()


def frames_of(sound: np.ndarray, *, rate_hz: int = RATE_HZ) -> list[bytes]:
    return [
        pack_frame(Frame(number, first, (first + BLOCK) / rate_hz, sound[first : first + BLOCK]))
        for number, first in enumerate(range(0, len(sound), BLOCK))
    ]


async def begin(
    socket_: aiohttp.ClientWebSocketResponse, *, take: str | None = None, **more: Any
) -> dict[str, Any]:
    """Say hello; return the welcome."""
    await socket_.send_json({"rate": RATE_HZ, "setup": SETUP, "take": take, **more})
    welcome: dict[str, Any] = await socket_.receive_json(timeout=5)
    return welcome


async def until(
    socket_: aiohttp.ClientWebSocketResponse, kind: str, *, seconds: float = 10
) -> dict[str, Any]:
    """The next news of this kind."""
    while True:
        news: dict[str, Any] = await socket_.receive_json(timeout=seconds)
        if news["kind"] == kind:
            return news


@asynccontextmanager
async def linked(
    home: Path,
) -> AsyncIterator[tuple[Served, aiohttp.ClientSession, aiohttp.ClientWebSocketResponse]]:
    """Serve a page, and link to it from this computer; nothing is said yet."""
    async with (
        served(home) as page,
        page.client() as client,
        client.ws_connect("/sound") as socket_,
    ):
        yield page, client, socket_
