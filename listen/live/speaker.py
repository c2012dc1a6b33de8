"""Short sounds out of the computer, now or at a set time; silence costs next to nothing."""

from __future__ import annotations

import threading
from types import TracebackType
from typing import Any, Self

import numpy as np

from listen.live.frames import Samples
from listen.live.portaudio import MicrophoneError, hushed, let_go, portaudio
from listen.live.sounds import RATE_HZ


class Speaker:
    """The default output, playing what was asked for when its time comes.

    Raises
    ------
    MicrophoneError
        If there is no output to play on.
    """

    def __init__(self) -> None:
        sound = portaudio()
        self._lock = threading.Lock()
        self._due: list[tuple[int, Samples]] = []
        self._now = 0
        try:
            with hushed():
                self._stream = sound.OutputStream(
                    samplerate=RATE_HZ, channels=1, dtype="float32", callback=self._fill
                )
                self._stream.start()
        except (sound.PortAudioError, ValueError):
            raise MicrophoneError(
                "No loudspeaker or headphones can be opened, so nothing is played. Plug them in, "
                "or leave --sounds out."
            ) from None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        let_go(self._stream)

    def play(self, samples: Samples, *, in_s: float = 0.0) -> None:
        """Play `samples` after `in_s` seconds; what should have begun before now is left out."""
        if in_s < 0:
            return
        with self._lock:
            self._due.append((self._now + round(in_s * RATE_HZ), samples))

    def hush(self) -> None:
        """Play nothing of what was still to come."""
        with self._lock:
            self._due = [(start, sound) for start, sound in self._due if start <= self._now]

    def _fill(self, out: Samples, count: int, _times: object, _status: Any) -> None:
        out[:] = 0
        with self._lock:
            still = []
            for start, samples in self._due:
                first = max(start, self._now)
                last = min(start + len(samples), self._now + count)
                if first < last:
                    out[first - self._now : last - self._now, 0] += samples[
                        first - start : last - start
                    ]
                if start + len(samples) > self._now + count:
                    still.append((start, samples))
            self._due = still
            self._now += count
        np.clip(out, -1, 1, out=out)
