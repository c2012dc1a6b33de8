"""Short sounds that tell themselves apart by rhythm and pitch, and the soft tick of the pace."""

from __future__ import annotations

from functools import cache

import numpy as np

from listen.live.frames import Samples
from listen.live.told import Cue

RATE_HZ = 48_000
TICK_HZ, TICK_S, TICK_LEVEL = 2_600.0, 0.030, 0.05
"""A tick: brief, soft, and one tone, so that it covers a thirtieth of a second of one order."""
LAST_TICK_HZ = 1_950.0

# Each note: pitch in Hz (0 is a rest), length in s.
Notes = tuple[tuple[float, float], ...]
_SHORT, _REST = 0.09, (0.0, 0.07)
FASTER: Notes = ((1320, _SHORT), _REST, (1320, _SHORT), _REST, (1320, _SHORT))
SLOWER: Notes = ((330, 0.7),)
GOOD: Notes = ((660, 0.14), (0, 0.05), (880, 0.28))
UNSURE: Notes = ((520, 0.14), (0, 0.12), (520, 0.14))
STOPPED: Notes = ((990, 0.1), (495, 0.1), (990, 0.1), (495, 0.1), (990, 0.1), (495, 0.1))

MELODIES: dict[Cue, Notes] = {
    Cue.GOOD: GOOD,
    Cue.FASTER: FASTER,
    Cue.LEAVE_MORE: FASTER,
    Cue.SLOWER: SLOWER,
    Cue.TAKE_LESS: SLOWER,
    Cue.TURN_DOWN: ((660, 0.2), (0, 0.05), (330, 0.5)),
    Cue.TURN_UP: ((330, 0.2), (0, 0.05), (660, 0.5)),
    Cue.STOP: STOPPED,
    Cue.TOO_CLOSE: UNSURE,
    Cue.NOT_JUDGED: UNSURE,
}


@cache
def melody(notes: Notes, level: float = 0.3) -> Samples:
    """Notes as sound at 48,000 samples a second, with soft ends; shape (n,)."""
    return np.concatenate([_note(pitch_hz, length_s, level) for pitch_hz, length_s in notes])


@cache
def tick(*, last: bool) -> Samples:
    """One tick of the pace; the last one, at the aim, is lower."""
    samples = round(TICK_S * RATE_HZ)
    time_s = np.arange(samples) / RATE_HZ
    pitch_hz = LAST_TICK_HZ if last else TICK_HZ
    tone = TICK_LEVEL * np.sin(2 * np.pi * pitch_hz * time_s) * np.hanning(samples)
    return tone.astype(np.float32)


def _note(pitch_hz: float, length_s: float, level: float) -> Samples:
    samples = round(length_s * RATE_HZ)
    time_s = np.arange(samples) / RATE_HZ
    ends = np.clip(np.minimum(time_s, length_s - time_s) / 0.01, 0, 1)
    # A second and third partial make a low note audible in small speakers.
    tone = sum(np.sin(2 * np.pi * k * pitch_hz * time_s) / k for k in (1, 2, 3)) / 1.83
    return np.asarray(level * ends * tone, np.float32)
