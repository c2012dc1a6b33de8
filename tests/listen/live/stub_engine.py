"""A listening engine for tests of what surrounds it: loudness alone tells what happens.

Louder than 0.2 is cutting, louder than 0.02 is running free, below is off; two seconds at
0.5 and above are a dwell. The first sample's sign of life sets nothing else: speed is 18,000 rpm.
"""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np

from analysis.hearing.events import LevelHeard, PassEnded, PassEntered, SpeedHeard
from analysis.hearing.passes import HeardPass

STEP_S = 0.05
RPM = 18_000.0


class StubEngine:
    """Same methods as the live engine."""

    def __init__(self, sample_rate_hz: float, rpm: float = RPM) -> None:
        self._step = round(STEP_S * sample_rate_hz)
        self._rest = np.zeros(0, np.float32)
        self._time_s = 0.0
        self._entry_s: float | None = None
        self._steps = 0
        self.rpm = rpm
        self.passes: list[HeardPass] = []

    def feed(self, samples: np.ndarray) -> list[Any]:
        block = np.concatenate([self._rest, samples])
        whole = len(block) // self._step * self._step
        self._rest = block[whole:]
        events: list[Any] = []
        for part in block[:whole].reshape(-1, self._step):
            self._time_s += STEP_S
            self._steps += 1
            loud = float(np.sqrt(np.mean(part**2)))
            level_db = 20 * float(np.log10(loud + 1e-9))
            peak = float(np.abs(part).max())
            running = self.rpm if loud > 0.02 else None
            if self._steps % 2 == 0:
                events.append(SpeedHeard(self._time_s, running))
            if self._steps % 5 == 0:
                events.append(LevelHeard(self._time_s, level_db, peak, peak > 0.999))
            events.extend(self._cutting(loud))
        return events

    def _cutting(self, loud: float) -> list[Any]:
        if loud > 0.2 and self._entry_s is None:
            self._entry_s = self._time_s - STEP_S
            return [PassEntered(self._entry_s)]
        if loud <= 0.2 and self._entry_s is not None:
            heard = self._pass(self._time_s - STEP_S, complete=True)
            return [PassEnded(heard)]
        return []

    def _pass(self, exit_s: float, *, complete: bool) -> HeardPass:
        assert self._entry_s is not None
        heard = HeardPass(
            entry_s=self._entry_s,
            exit_s=exit_s,
            time_u95_s=0.08,
            moving_time_u95_s=0.08,
            spindle_rpm=self.rpm,
            spindle_rpm_u95=10.0,
            sag_percent=2.0,
            dwells=(),
            liftoffs=(),
            evenness=0.9,
            complete=complete,
        )
        self._entry_s = None
        self.passes.append(heard)
        return heard

    def finish(self) -> Any:
        if self._entry_s is not None:
            self._pass(self._time_s, complete=False)
        return SimpleNamespace(passes=tuple(self.passes), duration_s=self._time_s)


def scene(*parts: tuple[float, float], sample_rate_hz: int = 48_000) -> np.ndarray:
    """Noise of given loudness (rms) and length: (0.05, 2.0) runs free for two seconds."""
    rng = np.random.default_rng(5)
    return np.concatenate(
        [
            (rms * rng.uniform(-1, 1, round(seconds * sample_rate_hz)) * 3**0.5).astype(np.float32)
            for rms, seconds in parts
        ]
    )


def cuts(*lengths_s: float) -> np.ndarray:
    """A take with passes of these lengths, running free for 1.5 s around each."""
    parts: list[tuple[float, float]] = [(0.05, 1.5)]
    for length_s in lengths_s:
        parts += [(0.3, length_s), (0.05, 1.5)]
    return scene(*parts)
