"""A take on disk while it is recorded: sound as FLAC, and what was said as lines of JSON.

A folder for each take::

    take.json            what is known at the start; gains "ended" when all is well
    sound-<first>.flac   sound from sample <first> on; one for each run of the program
    events.jsonl         what was heard and said, one object a line

Each packet of sound goes to the operating system as soon as it is made (a tenth of a second),
so a program that is killed loses less than a second; once a second the system is asked to put it
on the disk, so a machine that loses its power loses little more.
"""

from __future__ import annotations

import errno
import json
import os
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

import numpy as np

from analysis.errors import ToothbeatError
from listen.live.frames import Samples
from listen.saving import save_whole

if TYPE_CHECKING:
    import av

ABOUT = "take.json"
EVENTS = "events.jsonl"
SAFE_EVERY_S = 1.0


class KeepingError(ToothbeatError):
    """The take can no longer be written; the coaching need not stop for it."""


class TakeKeeper:
    """Writes one run of one take.

    Parameters
    ----------
    folder : Path
        The take's own folder, which exists.
    first : int
        Index of the first sample in the take.

    Raises
    ------
    KeepingError
        From every method, once the disk is full or closed. What was written stays.
    """

    def __init__(self, folder: Path, *, sample_rate_hz: int, first: int) -> None:
        self._folder = folder
        self._rate_hz = sample_rate_hz
        self._written = self._safe = 0
        try:
            self._sound = (folder / f"sound-{first:012}.flac").open("wb", buffering=0)
            self._events = (folder / EVENTS).open("a", encoding="utf-8", buffering=1)
        except OSError as error:
            raise _failure(error) from None
        self._container, self._stream = _open_flac(self._sound, sample_rate_hz)

    def add_sound(self, samples: Samples) -> None:
        """Append samples, full scale +-1; more than full scale is cut to it."""
        import av

        pcm = np.clip(np.rint(samples * 32767), -32768, 32767).astype(np.int16)
        frame = av.AudioFrame.from_ndarray(pcm[None, :], format="s16", layout="mono")
        frame.sample_rate = self._rate_hz
        frame.pts = self._written
        try:
            self._container.mux(self._stream.encode(frame))
        except (OSError, ValueError) as error:
            raise _failure(error) from None
        self._written += len(pcm)
        if self._written - self._safe >= SAFE_EVERY_S * self._rate_hz:
            self._safe = self._written
            self._put_on_disk()

    def _put_on_disk(self) -> None:
        try:
            os.fsync(self._sound.fileno())
            os.fsync(self._events.fileno())
        except OSError as error:
            if error.errno != errno.EINVAL:  # a file system that has no such thing
                raise _failure(error) from None

    def add_event(self, event: dict[str, Any]) -> None:
        """Append one line of what was heard or said."""
        try:
            self._events.write(json.dumps(event, ensure_ascii=False) + "\n")
        except (OSError, ValueError) as error:
            raise _failure(error) from None

    def close(self) -> None:
        """Finish the files of this run."""
        try:
            self._container.mux(self._stream.encode(None))
            self._container.close()
        except (OSError, ValueError) as error:
            raise _failure(error) from None
        finally:
            self.drop()

    def drop(self) -> None:
        """Let the files go as they are, after a failure."""
        for file in (self._sound, self._events):
            try:
                file.close()
            except OSError:  # nothing is left to save
                continue


def write_about(folder: Path, about: dict[str, Any]) -> None:
    """Write what is known of a take, whole or not at all."""
    save_whole(folder / ABOUT, json.dumps(about, ensure_ascii=False, indent=1).encode())


def _open_flac(
    file: IO[bytes], sample_rate_hz: int
) -> tuple[av.container.OutputContainer, av.AudioStream]:
    import av

    container = av.open(file, "w", format="flac", options={"flush_packets": "1"})
    stream = container.add_stream("flac", rate=sample_rate_hz)
    stream.codec_context.layout = "mono"
    stream.codec_context.format = "s16"
    return container, stream


def _failure(error: Exception) -> KeepingError:
    if getattr(error, "errno", None) in (errno.ENOSPC, errno.EDQUOT):
        return KeepingError(
            "The disk is full, so the recording has stopped; what is there is kept. The "
            "coaching goes on. Make room, then start a new take."
        )
    return KeepingError(
        "The take can no longer be written to disk, so the recording has stopped; what is "
        f"there is kept. The coaching goes on. ({error})"
    )
