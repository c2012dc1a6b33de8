"""A path carried on step by step against the same asked all at once."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.hearing.onward import OnwardPath
from analysis.hearing.path import OFF, best_path

COUNT, STEPS = 40, 120
COSTS = {"glide_cost": 0.3, "switch_cost": 5.0}


def evidence(seed: int) -> np.ndarray:
    """A speed that wanders, goes off for a while and comes back, in noise."""
    rng = np.random.default_rng(seed)
    made = rng.normal(-2.5, 1.0, (STEPS, COUNT))
    speed = np.clip(20 + np.cumsum(rng.integers(-1, 2, STEPS)), 0, COUNT - 1)
    on = np.ones(STEPS, bool)
    on[50:75] = False
    made[on, speed[on]] += 5.0
    return made.astype(np.float32)


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("at_once", [1, 2, 7, STEPS])
def test_it_is_the_best_path_so_far(seed: int, at_once: int) -> None:
    """`best_path` goes through so few steps as one window, and is tested against all pairs."""
    made = evidence(seed)
    onward = OnwardPath(COUNT, most=STEPS, **COSTS)
    for first in range(0, STEPS, at_once):
        onward.add(made[first : first + at_once])
        if first % 21 < at_once:
            so_far = best_path(made[: first + at_once], **COSTS)
            assert onward.newest(STEPS).tolist() == so_far.tolist()
    so_far = best_path(made, **COSTS)
    assert onward.newest(STEPS).tolist() == so_far.tolist()
    assert (so_far == OFF).sum() > 10
    assert onward.newest(9).tolist() == so_far[-9:].tolist()


def test_what_is_no_longer_kept_still_counts() -> None:
    made = evidence(1)
    onward = OnwardPath(COUNT, most=10, **COSTS)
    for step in made:
        onward.add(step[None])
    assert onward.newest(50).tolist() == best_path(made, **COSTS)[-10:].tolist()
