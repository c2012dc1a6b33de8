"""Has something come and gone? Asked before it is known how this router cuts."""

from __future__ import annotations

from collections import deque

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

MOST = 320  # moments kept: a minute
SHAPE_SCALE, LEVEL_SCALE = 0.08, 0.25  # nepers: less is nothing
NEAR, FAR = 2.0, 2.3  # deviations, per root band
BACK_AGAIN = 0.6  # of the way
QUIET, AWAY, BACK = 4, 3, 2  # moments before, during and after
PAUSE = 1  # moments between two alarms


class Stirring:
    """Watches the broadband sound for a change that lasts a while and then is undone.

    The spectrum's shape and its level are watched each for itself: a gain that rides takes
    seconds to let the level come back.
    """

    def __init__(self) -> None:
        self._moments: deque[FloatArray] = deque(maxlen=MOST)
        self._since = PAUSE

    def add(self, bands: npt.NDArray[np.float32]) -> Mask | None:
        """Take in a moment's frames, shape (frames, bands), ln power.

        Returns which of the last moments, this one included, were unlike this one, if a
        change has just been undone; else None.
        """
        self._moments.append(bands.mean(axis=0, dtype=np.float64))
        self._since += 1
        if len(self._moments) < QUIET + AWAY + BACK + 1 or self._since < PAUSE:
            return None
        bands_then = np.array(self._moments)
        level = bands_then.mean(axis=1, keepdims=True)
        for sound, scale in ((bands_then - level, SHAPE_SCALE), (level, LEVEL_SCALE)):
            unlike = _undone(sound, least_scale=scale)
            if unlike is not None:
                self._since = 0
                return unlike
        return None


def _undone(sound: FloatArray, *, least_scale: float) -> Mask | None:
    step = np.median(np.abs(np.diff(sound, axis=0)), axis=0)
    scale = np.maximum(1.05 * step, least_scale)
    now = sound[-BACK:].mean(axis=0)
    unlike = np.sqrt(np.mean(((sound - now) / scale) ** 2, axis=1))
    # The moment in which it ended holds some of both.
    before = unlike[: -BACK - 1]
    away = float(before[-AWAY:].min())
    once = float(np.partition(before, QUIET - 1)[QUIET - 1])
    if unlike[-BACK:].max() > NEAR or away < FAR or once > BACK_AGAIN * away:
        return None
    return np.asarray(unlike > (once + away) / 2)
