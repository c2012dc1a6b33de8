"""The likeliest course of the speed so far, carried on as steps come in."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from analysis.hearing.path import OFF


class OnwardPath:
    """What `best_path` says of the newest steps, without going through the old ones again.

    Scores of every speed are carried from step to step, and a path is traced back from the
    newest as far as it is asked for.

    Parameters
    ----------
    count : int
        Candidate speeds.
    most : int
        Steps that a path can be traced back through.
    glide_cost, switch_cost : float
        As in `best_path`.
    """

    def __init__(self, count: int, *, most: int, glide_cost: float, switch_cost: float) -> None:
        ramp = np.float32(glide_cost) * np.arange(count, dtype=np.float32)
        self._ramps = np.stack([ramp, ramp])
        self._slope = np.concatenate([ramp[:0:-1], ramp])
        self._switch_cost = np.float32(switch_cost)
        self._most = most
        self._scores = np.empty((0, count), np.float32)
        self._off = np.empty(0, np.float32)

    def add(self, evidence: npt.NDArray[np.float32]) -> None:
        """Take in steps, shape (n, candidates): log likelihood against "not running"."""
        before, count = len(self._scores), self._scores.shape[1]
        scores = np.concatenate([self._scores, evidence])
        off = np.concatenate([self._off, np.zeros(len(evidence), np.float32)])
        ways = np.empty((2, count), np.float32)  # from below, and from above turned round
        for t in range(max(before, 1), len(scores)):
            previous, now = scores[t - 1], scores[t]
            best = previous.max()
            np.add(previous, self._ramps[0], out=ways[0])
            np.add(previous[::-1], self._ramps[1], out=ways[1])
            np.maximum.accumulate(ways, axis=1, out=ways)
            ways -= self._ramps
            way = np.maximum(ways[0], ways[1, ::-1])
            np.maximum(way, off[t - 1] - self._switch_cost, out=way)
            now += way
            # Only differences matter.
            now -= best
            off[t] = max(off[t - 1], best - self._switch_cost) - best
        self._scores, self._off = scores[-self._most :], off[-self._most :]

    def newest(self, steps: int) -> npt.NDArray[np.int64]:
        """The path through the newest steps, as in `best_path`, shape (steps or fewer,)."""
        scores, off = self._scores[-steps:], self._off[-steps:]
        count = scores.shape[1]
        path = np.empty(len(scores), np.int64)
        state = int(scores[-1].argmax())
        path[-1] = state = state if scores[-1, state] > off[-1] else OFF
        for t in range(len(scores) - 2, -1, -1):
            came, cost = scores[t], self._switch_cost
            if state != OFF:
                came, cost = came - self._slope[count - 1 - state : 2 * count - 1 - state], -cost
            before = int(came.argmax())
            lead = came[before] - off[t]
            runs = lead > cost if state == OFF else lead >= cost
            path[t] = state = before if runs else OFF
        return path
