"""Which machines sound at all? Every speed that might be held, tried at once.

The likeliest path through all speeds goes along the loudest machine at each moment, and one that
is never the loudest is never on it. Looked for among speeds near its own alone it is.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from analysis.hearing.orders import LOG_STEP, comb_evidence, generic_voice
from analysis.hearing.path import OFF, best_paths
from analysis.hearing.pursuit import (
    EVIDENCE,
    MIN_HEARD_STEPS,
    RUNNING_BONUS,
    STEADY_GLIDE,
    SWITCH,
)
from analysis.hearing.search import Search
from analysis.hearing.voice import Mask, learn_voice, order_fits, step_evidence

WINDOW, EVERY = 0.06, 0.02  # ln speed: how far a machine may stray, and where windows begin
APART = 0.03  # ln speed between two machines


def machines_heard(
    search: Search, most: int, steps: Mask | None = None
) -> list[npt.NDArray[np.int64]]:
    """Paths of machines that hardly change their speed, the plainest first, `most` at most.

    Each is followed among speeds near its own, through the `steps` alone if they are given;
    plainest is whose orders, learned along its path, stand out most. The two halves or thirds of
    one machine's speed are listed like machines.
    """
    candidates = search.candidates
    width, every = round(WINDOW / LOG_STEP), round(EVERY / LOG_STEP)
    firsts = np.arange(0, max(1, candidates.count - width), every)
    evidence = EVIDENCE * comb_evidence(
        search.axis, voices=[generic_voice(search.flutes)], candidates=candidates
    )
    if steps is not None:
        evidence[~steps] = -EVIDENCE * RUNNING_BONUS  # nothing either way, with what is added
    windows = np.stack([evidence[:, first : first + width] for first in firsts])
    windows += np.float32(EVIDENCE * RUNNING_BONUS)
    inside = best_paths(windows, glide_cost=STEADY_GLIDE, switch_cost=SWITCH)
    paths = np.where(inside != OFF, inside + firsts[:, None], OFF)
    if steps is not None:
        paths[:, ~steps] = OFF
    heard = [path for path in paths if np.count_nonzero(path != OFF) >= MIN_HEARD_STEPS]
    kept: list[npt.NDArray[np.int64]] = []
    for path in sorted(heard, key=lambda path: -_plainness(search, path)):
        middle = np.median(path[path != OFF])
        others = (np.median(other[other != OFF]) for other in kept)
        if all(abs(middle - other) > APART / LOG_STEP for other in others):
            kept.append(path)
        if len(kept) == most:
            break
    return kept


def _plainness(search: Search, path: npt.NDArray[np.int64]) -> float:
    """Nats a step of the take that a machine's own voice brings along its path."""
    running = path != OFF
    fits = order_fits(search.orders(path))
    evidence = step_evidence(fits, learn_voice(fits, running))
    return float(np.maximum(evidence, 0)[running].sum() / len(path))
