"""From frames that may be late, doubled or missing to one unbroken take."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from listen.live.frames import Frame, Samples

SHORTEST_SLEEP_S = 0.4
"""The sender's clock runs ahead of its samples by more: it slept. A busy page stutters less."""
LONGEST_FILL_S = 2.0
"""Silence that stands for lost sound: enough to part what came before from what comes after."""


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """Sound for the coach: samples, or silence that stands for `missing_s` of lost sound.

    `then_sent` says, after silence, which of the sender's samples comes next: silence may be
    shorter than what was lost, or stand for what the sender never counted.
    """

    samples: Samples
    missing_s: float = 0.0
    then_sent: int | None = None


class Intake:
    """Puts frames in order.

    A frame that was seen before is dropped, as far as it was seen. Where sound is missing,
    because frames were lost or because the sender slept, silence of at most two seconds
    stands for it, marked as missing.

    Parameters
    ----------
    first : int
        Index, in the sender's count, of the sample that is expected first.
    """

    def __init__(self, *, sample_rate_hz: float, first: int) -> None:
        self._rate_hz = sample_rate_hz
        self.expected = first
        self._clock_ahead_s: float | None = None

    def take_in(self, frame: Frame) -> Iterator[Piece]:
        """What a frame adds to the take: nothing, or silence for a gap, then sound."""
        seen = self.expected - frame.first
        if seen >= len(frame.samples):
            return
        lost_s = max(0.0, -seen / self._rate_hz)
        asleep_s = self._asleep_s(frame)
        if lost_s > 0 or asleep_s > 0:
            missing_s = lost_s + asleep_s
            silence = silence_for(missing_s, sample_rate_hz=self._rate_hz)
            yield replace(silence, then_sent=max(frame.first, self.expected))
        self.expected = frame.first + len(frame.samples)
        yield Piece(frame.samples[max(0, seen) :])

    def _asleep_s(self, frame: Frame) -> float:
        ahead_s = frame.sent_s - (frame.first + len(frame.samples)) / self._rate_hz
        before_s, self._clock_ahead_s = self._clock_ahead_s, ahead_s
        if before_s is None or ahead_s - before_s < SHORTEST_SLEEP_S:
            return 0.0
        return ahead_s - before_s


def silence_for(missing_s: float, *, sample_rate_hz: float) -> Piece:
    """Silence that stands for lost sound, two seconds at most, and says how much was lost."""
    count = round(min(missing_s, LONGEST_FILL_S) * sample_rate_hz)
    return Piece(np.zeros(count, np.float32), missing_s)
