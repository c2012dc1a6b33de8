"""Sound on its way from a page to the coach: a small header, then 16-bit samples.

The header says which frame this is, how many samples follow, where the first of them lies
in the take, and the sender's clock. The position shows what was lost on the way; the clock
shows what the sender never recorded, because its page was asleep.
"""

from __future__ import annotations

import math
import struct
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.errors import ToothbeatError

Samples = npt.NDArray[np.float32]

_HEADER = struct.Struct("<IIdd")
MOST_SAMPLES = 65_536
MOST_BYTES = _HEADER.size + 2 * MOST_SAMPLES
_LAST_INDEX = 2.0**45
"""Years of sound: beyond it, a position is nonsense."""


class FrameError(ToothbeatError, ValueError):
    """Bytes that are no frame of sound."""


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """A stretch of sound.

    Attributes
    ----------
    sequence : int
        Counts the frames that were sent.
    first : int
        Index of the first sample in the take.
    sent_s : float
        The sender's clock when the last sample was recorded, seconds.
    samples : array of float32, shape (n,)
        Full scale +-1.
    """

    sequence: int
    first: int
    sent_s: float
    samples: Samples


def pack_frame(frame: Frame) -> bytes:
    """Turn a frame into bytes."""
    pcm = np.clip(np.rint(frame.samples * 32767), -32768, 32767).astype("<i2")
    return _HEADER.pack(frame.sequence, len(pcm), frame.first, frame.sent_s) + pcm.tobytes()


def unpack_frame(data: bytes) -> Frame:
    """Turn bytes into a frame.

    Raises
    ------
    FrameError
        If they are not exactly one whole frame with a sane header.
    """
    if not _HEADER.size < len(data) <= MOST_BYTES:
        raise FrameError(f"A frame of {len(data)} bytes is too short or too long.")
    sequence, count, first, sent_s = _HEADER.unpack_from(data)
    if count * 2 != len(data) - _HEADER.size:
        raise FrameError("A frame does not hold as many samples as it says.")
    if not (0 <= first < _LAST_INDEX and first == int(first) and math.isfinite(sent_s)):
        raise FrameError("A frame's place or time is no sane number.")
    pcm = np.frombuffer(data, dtype="<i2", offset=_HEADER.size)
    return Frame(sequence, int(first), sent_s, pcm.astype(np.float32) / np.float32(32768))
