"""All takes under way on this server."""

from __future__ import annotations

import asyncio
import time
from typing import Any

from analysis.errors import ToothbeatError
from listen.live.ear import MakeEar
from listen.live.recording import Order, Recording
from listen.live.shelf import Shelf
from listen.page.session import LiveSession

MOST_SESSIONS = 12
FORGOTTEN_S = 600.0
"""A take that no page has sent anything for is ended."""
RATE_RANGE_HZ = (8_000, 192_000)


class SessionError(ToothbeatError):
    """A take cannot be begun or taken up."""


class Sessions:
    """Opens, finds and ends takes.

    Parameters
    ----------
    make_ear : callable
        Makes the listening engine for a bench and a sample rate.
    """

    def __init__(self, shelf: Shelf, make_ear: MakeEar) -> None:
        self.shelf = shelf
        self._make_ear = make_ear
        self._open: dict[str, LiveSession] = {}
        self._opening = asyncio.Lock()

    def __len__(self) -> int:
        return len(self._open)

    def find(self, name: str, owner: str) -> LiveSession | None:
        """The take under way of that name, if it is this owner's."""
        session = self._open.get(name)
        return session if session is not None and session.owner == owner else None

    async def open(
        self, *, owner: str, order: Order, about: dict[str, Any], name: str | None
    ) -> LiveSession:
        """Take up the take of that name, or begin a new one.

        Raises
        ------
        SessionError
            If there are too many takes, or the sample rate is out of range.
        """
        rate_hz = order.sample_rate_hz
        if not RATE_RANGE_HZ[0] <= rate_hz <= RATE_RANGE_HZ[1]:
            raise SessionError(f"A microphone with {rate_hz} samples a second cannot be used.")
        async with self._opening:
            if name and (session := self.find(name, owner)) and session.sample_rate_hz == rate_hz:
                return session
            if len(self._open) >= MOST_SESSIONS:
                raise SessionError("Too many takes are under way. End one of them first.")
            kept = self.shelf.find(name) if name else None
            if kept is not None and (
                kept.ended
                or name in self._open
                or kept.about.get("owner") != owner
                or kept.about.get("sample_rate_hz") != rate_hz
            ):
                kept = None
            recording = await asyncio.to_thread(
                Recording,
                shelf=self.shelf,
                make_ear=self._make_ear,
                order=order,
                about={**about, "owner": owner},
                take=kept,
            )
            session = LiveSession(
                recording,
                sample_rate_hz=rate_hz,
                owner=owner,
                loop=asyncio.get_running_loop(),
            )
            session.name = session.name or f"unkept-{time.monotonic_ns()}"
            self._open[session.name] = session
            return session

    async def end(self, session: LiveSession) -> None:
        """End a take properly."""
        if self._open.pop(session.name, None) is not None:
            await session.close(finish=True)

    async def end_forgotten(self) -> None:
        """End the takes that nobody sends sound for any more."""
        now_s = time.monotonic()
        for session in list(self._open.values()):
            if now_s - session.last_seen_s > FORGOTTEN_S or session.done.is_set():
                await self.end(session)

    async def end_all(self) -> None:
        """End every take, when the server stops."""
        await asyncio.gather(*map(self.end, list(self._open.values())))
