"""The likeliest course of the speed so far, carried on as steps come in."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from analysis.hearing.path import carry_on, trace_back


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
        self._ramp = np.float32(glide_cost) * np.arange(count, dtype=np.float32)
        self._switch_cost = np.float32(switch_cost)
        self._most = most
        self._scores = np.empty((0, 1, count), np.float32)
        self._off = np.empty((0, 1), np.float32)

    def add(self, evidence: npt.NDArray[np.float32]) -> None:
        """Take in steps, shape (n, candidates): log likelihood against "not running"."""
        scores = np.concatenate([self._scores, evidence[:, None]])
        off = np.concatenate([self._off, np.zeros((len(evidence), 1), np.float32)])
        first = max(1, len(self._scores))
        carry_on(scores, off, first=first, ramp=self._ramp, switch_cost=self._switch_cost)
        self._scores, self._off = scores[-self._most :], off[-self._most :]

    def newest(self, steps: int) -> npt.NDArray[np.int64]:
        """The path through the newest steps, as in `best_path`, shape (steps or fewer,)."""
        scores, off = self._scores[-steps:], self._off[-steps:]
        return trace_back(scores, off, ramp=self._ramp, switch_cost=self._switch_cost)[:, 0]
