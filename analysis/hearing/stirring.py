"""Has something come and gone? Asked before it is known how this router cuts."""

from __future__ import annotations

from collections import deque

import numpy as np
import numpy.typing as npt

MOST = 320  # moments kept: a minute
LEAST_SCALE = 0.08  # nepers
NEAR, FAR = 2.0, 2.3  # deviations, per root band
BACK_AGAIN = 0.6  # of the way
PAUSE = 2  # moments between two alarms
QUIET, AWAY, BACK = 4, 3, 2  # moments before, during and after


class Stirring:
    """Watches the spectrum's shape for a change that lasts a while and then is undone.

    The shape only: a gain that rides takes seconds to let the level come back.
    """

    def __init__(self) -> None:
        self._moments: deque[npt.NDArray[np.float64]] = deque(maxlen=MOST)
        self._since = PAUSE

    def add(self, bands: npt.NDArray[np.float32]) -> npt.NDArray[np.bool_] | None:
        """Take in a moment's frames, shape (frames, bands).

        Returns the moments that were unlike this one, up to this one, if a change has just
        been undone; else None.
        """
        levels = bands.mean(axis=0, dtype=np.float64)
        self._moments.append(levels - levels.mean())
        self._since += 1
        if len(self._moments) < QUIET + AWAY + BACK + 1:
            return None
        shapes = np.array(self._moments)
        step = np.median(np.abs(np.diff(shapes, axis=0)), axis=0)
        scale = np.maximum(1.05 * step, LEAST_SCALE)
        now = shapes[-BACK:].mean(axis=0)
        unlike = np.sqrt(np.mean(((shapes - now) / scale) ** 2, axis=1))
        # The moment in which it ended holds some of both.
        before = unlike[: -BACK - 1]
        away = float(before[-AWAY:].min())
        once = float(np.partition(before, QUIET - 1)[QUIET - 1])
        if unlike[-BACK:].max() > NEAR or away < FAR or once > BACK_AGAIN * away:
            return None
        if self._since < PAUSE:
            return None
        self._since = 0
        return np.asarray(unlike > (once + away) / 2)
