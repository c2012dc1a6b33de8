"""One phone's take: a thread of its own that listens, so that no phone waits for another."""

from __future__ import annotations

import asyncio
import queue
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator
from typing import Any

from listen.live.ear import EarError
from listen.live.frames import Frame
from listen.live.intake import Intake
from listen.live.recording import Recording
from listen.live.telling import as_object, standing_passes
from listen.live.told import News

Listener = Callable[[dict[str, Any]], None]

_QUEUE_FRAMES = 400
_BACKLOG_S = 15.0
"""A page that was cut off may send this much at once; beyond it, sound comes at its own pace."""
_REMEMBERED = 400
_PASSES_SHOWN = 8


class TooFastError(Exception):
    """Sound arrives faster than it can have been made."""


class LiveSession:
    """Feeds frames to a recording in order, in its own thread, and passes on the news.

    Parameters
    ----------
    owner : str
        Who may take it up again: a paired device's name, or "here".
    """

    def __init__(
        self,
        recording: Recording,
        *,
        sample_rate_hz: int,
        owner: str,
        loop: asyncio.AbstractEventLoop,
    ) -> None:
        self.recording = recording
        self.sample_rate_hz = sample_rate_hz
        self.owner = owner
        self.last_seen_s = time.monotonic()
        self._loop = loop
        self._intake = Intake(sample_rate_hz=sample_rate_hz, first=recording.first_sent)
        self._frames: queue.Queue[Frame | str | None] = queue.Queue(_QUEUE_FRAMES)
        self._began_s = self.last_seen_s
        self._taken_samples = 0
        self._listeners: set[Listener] = set()
        self._told: deque[tuple[int, dict[str, Any]]] = deque(maxlen=_REMEMBERED)
        self._count = 0
        self._finish = False
        self.done = asyncio.Event()
        self.name = recording.take.name if recording.take is not None else ""
        self._thread = threading.Thread(target=self._work, name="listening", daemon=True)
        self._thread.start()

    @property
    def expected(self) -> int:
        """Index of the sample that should come next."""
        return self._intake.expected

    def put(self, frame: Frame | str) -> None:
        """Take in a frame, or a word that the person said during a calibration.

        Raises
        ------
        TooFastError
            If the sender is ahead of time, or the machine cannot keep up.
        """
        self.last_seen_s = time.monotonic()
        if isinstance(frame, Frame):
            self._taken_samples += len(frame.samples)
        possible_s = 1.05 * (self.last_seen_s - self._began_s) + _BACKLOG_S
        if self._taken_samples / self.sample_rate_hz > possible_s:
            raise TooFastError
        try:
            self._frames.put_nowait(frame)
        except queue.Full:
            raise TooFastError from None

    def listen_in(self, listener: Listener) -> Callable[[], None]:
        """Have `listener` called in the event loop with all news; returns how to stop it."""
        self._listeners.add(listener)
        return lambda: self._listeners.discard(listener)

    def told_since(self, count: int) -> tuple[int, list[dict[str, Any]]]:
        """News after the first `count` pieces, for a page that asks instead of listening."""
        return self._count, [news for number, news in self._told if number > count]

    def passes_told(self) -> list[dict[str, Any]]:
        """What a page that has just come back needs to show."""
        told = [news for _, news in self._told]
        hands = [news for news in told if news["kind"] == "hands"]
        return [*standing_passes(told)[-_PASSES_SHOWN:], *hands[-1:]]

    async def close(self, *, finish: bool) -> None:
        """Stop; with `finish`, end the take, else leave it to be taken up again."""
        self._finish = finish
        await asyncio.to_thread(self._frames.put, None)
        await asyncio.to_thread(self._thread.join)

    def _work(self) -> None:
        try:
            while (frame := self._frames.get()) is not None:
                for news in self._heard(frame):
                    self._publish(as_object(news, self.recording.bench))
            if self._finish:
                for news in self.recording.finish():
                    self._publish(as_object(news, self.recording.bench))
            else:
                self.recording.leave()
        except Exception as error:
            self.recording.leave()
            self._publish(
                {
                    "kind": "failed",
                    "text": "Listening failed. What was recorded is kept; begin a new take.",
                }
            )
            if not isinstance(error, EarError):
                raise  # a bug keeps its traceback
        finally:
            self._loop.call_soon_threadsafe(self.done.set)

    def _heard(self, frame: Frame | str) -> Iterator[News]:
        if isinstance(frame, str):
            yield from self.recording.word(frame)
            return
        for piece in self._intake.take_in(frame):
            yield from self.recording.hear(piece)

    def _publish(self, news: dict[str, Any]) -> None:
        self._loop.call_soon_threadsafe(self._spread, news)

    def _spread(self, news: dict[str, Any]) -> None:
        self._count += 1
        self._told.append((self._count, news))
        for listener in tuple(self._listeners):
            listener(news)
