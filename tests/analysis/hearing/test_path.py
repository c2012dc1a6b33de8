import itertools

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.hearing.path import OFF, best_path, best_paths

Path = npt.NDArray[np.int64]


def score(
    path: list[int], evidence: npt.NDArray[np.float32], glide_cost: float, switch_cost: float
) -> float:
    """What a path is worth, straight from the definition of its costs."""
    total = 0.0
    for t, state in enumerate(path):
        total += float(evidence[t, state]) if state != OFF else 0.0
        if t == 0:
            continue
        before = path[t - 1]
        if OFF not in (before, state):
            # Off for no time at all is no way to change speed: costs are paid for what is.
            total -= glide_cost * abs(state - before)
        elif before != state:
            total -= switch_cost
    return total


def best_score(evidence: npt.NDArray[np.float32], glide_cost: float, switch_cost: float) -> float:
    """Viterbi over all pairs of states, in double precision."""
    steps, count = evidence.shape
    place = np.arange(count)
    cost = np.full((count + 1, count + 1), switch_cost)
    cost[:count, :count] = glide_cost * np.abs(place[:, None] - place)
    cost[count, count] = 0.0
    gains = np.column_stack([evidence.astype(float), np.zeros(steps)])
    total = gains[0]
    for t in range(1, steps):
        total = (total[:, None] - cost).max(axis=0) + gains[t]
    return float(total.max())


@given(
    seed=st.integers(0, 10_000),
    steps=st.integers(1, 40),
    count=st.integers(1, 30),
    glide_cost=st.floats(0.05, 5),
    switch_cost=st.floats(0.05, 20),
    offset=st.floats(-2, 2),
)
@settings(max_examples=120, deadline=None)
def test_the_path_is_the_best_of_all_pairs(
    seed: int, steps: int, count: int, glide_cost: float, switch_cost: float, offset: float
) -> None:
    rng = np.random.default_rng(seed)
    evidence = (rng.normal(size=(steps, count)) * 3 + offset).astype(np.float32)
    path = best_path(evidence, glide_cost=glide_cost, switch_cost=switch_cost)
    assert path.shape == (steps,)
    told = score(path.tolist(), evidence, glide_cost, switch_cost)
    # Single precision keeps 24 bits of scores that stay below a few hundred.
    assert told == pytest.approx(best_score(evidence, glide_cost, switch_cost), abs=2e-4 * steps)


@pytest.mark.parametrize("seed", range(4))
def test_the_path_is_the_best_of_all_sequences(seed: int) -> None:
    evidence = np.random.default_rng(seed).normal(size=(5, 3)).astype(np.float32)
    every = itertools.product([OFF, 0, 1, 2], repeat=5)
    best = max(every, key=lambda path: score(list(path), evidence, 0.4, 0.7))
    assert best_path(evidence, glide_cost=0.4, switch_cost=0.7).tolist() == list(best)


@pytest.mark.parametrize("seed", range(3))
def test_a_path_through_many_windows_is_the_best_of_all_pairs(seed: int) -> None:
    rng = np.random.default_rng(seed)
    evidence = rng.normal(size=(900, 20)).astype(np.float32)
    path = best_path(evidence, glide_cost=0.3, switch_cost=6.0)
    told = score(path.tolist(), evidence, 0.3, 6.0)
    assert told == pytest.approx(best_score(evidence, 0.3, 6.0), abs=2e-4 * 900)


def test_what_only_the_end_decides_holds_from_the_start() -> None:
    evidence = np.full((600, 40), -4.0, np.float32)
    evidence[:, [5, 35]] = 1.0
    evidence[0, 35], evidence[-1, 5] = 1.5, 3.0
    assert best_path(evidence, glide_cost=1.0, switch_cost=20.0).tolist() == [5] * 600


def ridge(path: list[int], *, count: int, gain: float = 4.0) -> npt.NDArray[np.float32]:
    evidence = np.full((len(path), count), -gain, np.float32)
    for t, state in enumerate(path):
        if state != OFF:
            evidence[t, state] = gain
    return evidence


def test_a_plain_ridge_is_followed_through_on_off_and_on_again() -> None:
    true = [OFF] * 6 + list(range(5, 15)) + [14] * 8 + [OFF] * 6 + [3] * 9
    told = best_path(ridge(true, count=20), glide_cost=0.3, switch_cost=5)
    assert told.tolist() == true


@pytest.mark.parametrize(("silent_steps", "bridged"), [(4, True), (6, False)])
def test_off_is_taken_when_silence_costs_more_than_two_switches(
    silent_steps: int, bridged: bool
) -> None:
    # 2 nats a silent step against 2 x 5 for off and on again: the break-even is five steps.
    evidence = np.full((20 + silent_steps, 1), 5.0, np.float32)
    evidence[10 : 10 + silent_steps] = -2.0
    path = best_path(evidence, glide_cost=1, switch_cost=5)
    assert bool((path != OFF).all()) is bridged
    assert int((path == OFF).sum()) == (0 if bridged else silent_steps)


@pytest.mark.parametrize(("gain", "hops"), [(1.9, False), (2.1, True)])
def test_a_hop_to_a_rival_is_taken_when_it_pays_for_both_ways(gain: float, hops: bool) -> None:
    # Ten candidates off at 1 a candidate: 20 there and back, against 10 steps of `gain`.
    evidence = np.full((30, 21), -50.0, np.float32)
    evidence[:, 5] = 6.0
    evidence[10:20, 15] = 6.0 + gain
    path = best_path(evidence, glide_cost=1, switch_cost=100)
    assert path.tolist() == [5] * 10 + [15 if hops else 5] * 10 + [5] * 10


def test_nothing_heard_is_off_throughout() -> None:
    path = best_path(np.full((9, 4), -0.5, np.float32), glide_cost=1, switch_cost=2)
    assert path.tolist() == [OFF] * 9


def test_on_a_long_take_a_small_difference_still_counts() -> None:
    # 20,000 steps of 100 nats make 2 million, where single precision sees eighths at best.
    evidence = np.full((20_000, 2), 100.0, np.float32)
    evidence[:, 1] += 0.02
    evidence[-100:, 0] += 0.12
    path = best_path(evidence, glide_cost=1, switch_cost=5)
    assert path.tolist() == [1] * 19_900 + [0] * 100


def test_courses_gone_through_side_by_side_are_those_gone_through_alone() -> None:
    rng = np.random.default_rng(4)
    evidence = rng.normal(-1, 2, (3, 70, 40)).astype(np.float32)
    alone = [best_path(one, glide_cost=0.3, switch_cost=4.0) for one in evidence]
    together = best_paths(evidence, glide_cost=0.3, switch_cost=4.0)
    assert np.array_equal(together, alone)
