"""A page served from a thread, for a browser to visit."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from listen.live.ear import MakeEar
from tests.listen.page.serving import Served, served


class InThread:
    """A served page, and the way to run something in its event loop."""

    def __init__(self) -> None:
        self.page: Served
        self.loop: asyncio.AbstractEventLoop
        self._stop: asyncio.Event

    def run(self, home: Path, ready: threading.Event, make_ear: MakeEar | None) -> None:
        async def serve() -> None:
            self.loop, self._stop = asyncio.get_running_loop(), asyncio.Event()
            async with served(home, make_ear=make_ear) as page:
                self.page = page
                ready.set()
                await self._stop.wait()

        asyncio.run(serve())

    def stop(self) -> None:
        self.loop.call_soon_threadsafe(self._stop.set)

    def in_loop(self, action: Callable[[], object]) -> None:
        self.loop.call_soon_threadsafe(action)


@contextmanager
def page_in_thread(home: Path, make_ear: MakeEar | None = None) -> Iterator[InThread]:
    """Serve a page as long as the block lasts; by default with the stub for an engine."""
    server, ready = InThread(), threading.Event()
    thread = threading.Thread(target=server.run, args=(home, ready, make_ear))
    thread.start()
    if not ready.wait(10):
        raise RuntimeError("the page did not start")
    try:
        yield server
    finally:
        server.stop()
        thread.join()
