import itertools

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.hearing.contact import (
    BAND_EDGES_HZ,
    band_levels,
    bimodal_guesses,
    change_point,
    part_states,
    share_of_way,
    two_class_threshold,
    two_state_path,
)
from analysis.hearing.spectra import SpectrumGrid, log_power, spectrum

STEP_S = 0.0464
Mask = npt.NDArray[np.bool_]


def within_variance(values: list[float], cut: float) -> float:
    """Mean square about the two classes' own means, by definition."""
    low = [v for v in values if v <= cut]
    high = [v for v in values if v > cut]
    return sum(float(np.var(part)) * len(part) for part in (low, high) if part) / len(values)


@given(st.lists(st.integers(-1000, 1000), min_size=2, max_size=30, unique=True))
@settings(max_examples=80, deadline=None)
def test_the_threshold_is_the_best_of_all_cuts(whole: list[int]) -> None:
    values = [w / 10 for w in whole]
    cut = two_class_threshold(np.array(values))
    ordered = sorted(values)
    cuts = [(a + b) / 2 for a, b in itertools.pairwise(ordered)]
    best = min(within_variance(values, c) for c in cuts)
    assert within_variance(values, cut) == pytest.approx(best, rel=1e-6, abs=1e-9)


def path_score(path: Mask, evidence: npt.NDArray[np.float64], cost: float) -> float:
    return float(evidence[path].sum() - cost * np.count_nonzero(np.diff(path)))


@given(
    evidence=st.lists(st.floats(-9, 9), min_size=1, max_size=11),
    cost=st.floats(0, 12),
)
@settings(max_examples=100, deadline=None)
def test_the_two_state_path_is_the_best_of_all(evidence: list[float], cost: float) -> None:
    gains = np.array(evidence)
    told = two_state_path(gains, cost=cost)
    every = (np.array(path) for path in itertools.product([False, True], repeat=len(gains)))
    best = max(path_score(path, gains, cost) for path in every)
    assert path_score(told, gains, cost) == pytest.approx(best, abs=1e-9)


@pytest.mark.parametrize(("steps", "kept"), [(4, False), (6, True)])
def test_a_touch_must_pay_for_its_beginning_and_its_end(steps: int, kept: bool) -> None:
    gains = np.full(40, -1.0)
    gains[10 : 10 + steps] = 2.0  # break-even with 2 x 5 at five steps
    assert bool(two_state_path(gains, cost=5.0).any()) is kept


def made(
    cutting: Mask, *, features: int = 5, apart: float = 1.0, spread: float = 0.2, seed: int = 1
) -> npt.NDArray[np.float64]:
    """Features of two states in normal noise, each feature `apart` further in the second."""
    rng = np.random.default_rng(seed)
    return rng.normal(0, spread, (len(cutting), features)) + apart * cutting[:, None]


def truth(steps: int = 400) -> Mask:
    cutting = np.zeros(steps, bool)
    cutting[60:150] = cutting[200:310] = cutting[340:370] = True
    return cutting


def everywhere(cutting: Mask) -> Mask:
    return np.ones(len(cutting), bool)


def test_two_states_are_parted_from_a_poor_guess() -> None:
    cutting = truth()
    guess = np.roll(cutting, 25)  # right in three of four steps
    states = part_states(
        made(cutting), running=everywhere(cutting), settled=everywhere(cutting), step_s=STEP_S,
        guess=guess,
    )  # fmt: skip
    assert np.array_equal(states.second, cutting)
    assert (states.evidence[cutting] > 0).mean() > 0.99
    assert (states.evidence[~cutting] < 0).mean() > 0.99


def test_the_distance_is_counted_in_deviations_along_the_discriminant() -> None:
    cutting = truth(4000)
    cutting[400:2000] = True
    states = part_states(
        made(cutting, features=4, apart=0.4, spread=0.2),
        running=everywhere(cutting), settled=everywhere(cutting), step_s=STEP_S, guess=cutting,
    )  # fmt: skip
    # Four independent features two deviations apart: 2 sqrt 4. The spread is read 0.01 too
    # wide, and a ridge of 0.05 is added. Medians and median deviations of some 1,700 steps
    # are off by 1.5 and 2 %, half as much over four features; three times both.
    narrow = 0.2 / 0.21
    assert states.apart == pytest.approx(4 * narrow / (narrow**2 + 0.05) ** 0.5, rel=0.04)


def test_features_that_move_together_count_once() -> None:
    cutting = truth(4000)
    one = made(cutting, features=1, apart=0.6)
    copies = np.repeat(one, 4, axis=1)
    rest = {"running": everywhere(cutting), "settled": everywhere(cutting), "step_s": STEP_S}
    single = part_states(one, guess=cutting, **rest)  # type: ignore[arg-type]
    fourfold = part_states(copies, guess=cutting, **rest)  # type: ignore[arg-type]
    assert fourfold.apart == pytest.approx(single.apart, rel=0.05)


def test_where_the_router_is_off_there_is_no_cut() -> None:
    cutting = truth()
    running = everywhere(cutting)
    running[240:290] = False
    states = part_states(
        made(cutting), running=running, settled=running, step_s=STEP_S, guess=cutting & running
    )
    assert np.array_equal(states.second, cutting & running)


@pytest.mark.parametrize("settled_steps", [0, 10])
def test_too_little_to_learn_from_parts_nothing(settled_steps: int) -> None:
    cutting = truth()
    settled = np.zeros(len(cutting), bool)
    settled[55 : 55 + settled_steps] = True  # under three quarters of a second
    states = part_states(
        made(cutting), running=everywhere(cutting), settled=settled, step_s=STEP_S, guess=cutting
    )
    assert not states.second.any()
    assert states.apart == 0
    assert (states.evidence < 0).all()


def test_a_guess_of_one_state_only_parts_nothing() -> None:
    cutting = truth()
    for guess in (everywhere(cutting), ~everywhere(cutting)):
        states = part_states(
            made(cutting), running=everywhere(cutting), settled=everywhere(cutting),
            step_s=STEP_S, guess=guess,
        )  # fmt: skip
        assert not states.second.any()
        assert states.apart == 0


def test_one_of_the_guesses_finds_the_two_states_unaided() -> None:
    cutting = truth()
    features = made(cutting, features=6)
    features[:, 0] += np.linspace(0, 1, len(cutting))  # and something else drifts
    guesses = bimodal_guesses(features, settled=everywhere(cutting), step_s=STEP_S)
    # Smoothing over a quarter of a second blurs each of the six changes by half of that.
    wrong = 6 * 0.25 / STEP_S / 2 / len(cutting)
    right = [max(float((g == cutting).mean()), float((g != cutting).mean())) for g in guesses]
    assert max(right) >= 1 - wrong


def test_guesses_stay_within_the_settled_steps() -> None:
    cutting = truth()
    settled = everywhere(cutting)
    settled[:80] = False
    guesses = bimodal_guesses(made(cutting), settled=settled, step_s=STEP_S)
    assert len(guesses) == 3
    assert not any((guess & ~settled).any() for guess in guesses)
    few = np.arange(len(cutting)) < 8
    assert bimodal_guesses(made(cutting), settled=few, step_s=STEP_S) == []


@pytest.mark.parametrize(
    ("rate_hz", "by_logarithm", "by_power"), [(8_000, 6, 0), (16_000, 8, 1), (48_000, 10, 3)]
)
def test_white_noise_is_level_in_every_band_the_take_holds(
    rate_hz: int, by_logarithm: int, by_power: int
) -> None:
    grid = SpectrumGrid(rate_hz)
    rng = np.random.default_rng(1)
    frames = rng.normal(size=(60, grid.length)).astype(np.float32)
    spectra = spectrum(frames, grid=grid)
    told = band_levels(spectra, log_power(spectra[:, : grid.bins]), grid=grid)
    # Mean log power lies Euler's gamma under the log of the power, read above the top bin.
    expected = np.array([-np.euler_gamma] * by_logarithm + [0.0] * by_power)
    assert told.shape == (60, len(expected))
    width_hz = np.diff(BAND_EDGES_HZ)[: len(expected)]
    sigma = np.pi / 6**0.5 / np.sqrt(60 * width_hz / grid.bin_hz / 1.94)  # Hann: 1.94 cells
    assert (np.abs(told.mean(axis=0) - expected) < 4 * sigma).all()


@pytest.mark.parametrize("least_spread", [0.1, 1.0])
def test_the_least_spread_is_added_to_every_feature(least_spread: float) -> None:
    cutting = truth(4000)
    cutting[400:2000] = True
    states = part_states(
        made(cutting, features=1, apart=0.8, spread=0.2),
        running=everywhere(cutting), settled=everywhere(cutting), step_s=STEP_S, guess=cutting,
        least_spread=least_spread,
    )  # fmt: skip
    # One feature 0.8 apart; its variance and the ridge in units of the widened spread.
    wide = 0.2 + least_spread
    expected = 0.8 / wide / ((0.2 / wide) ** 2 + 0.05) ** 0.5
    assert states.apart == pytest.approx(expected, rel=0.04)


@given(share=st.floats(-0.5, 1.5))
@settings(max_examples=20, deadline=None)
def test_the_share_of_the_way_is_linear_between_the_states(share: float) -> None:
    cutting = truth(800)
    features = made(cutting, features=4, spread=0.05)
    features[400:] = share + np.random.default_rng(2).normal(0, 0.05, (400, 4))
    known = np.arange(800) < 380
    told, apart = share_of_way(
        features, first=known & ~cutting, second=known & cutting, step_s=STEP_S
    )
    # Four features of 0.05, weighed much alike, over 400 steps; medians of some 150 either side.
    assert float(told[400:].mean()) == pytest.approx(share, abs=4 * 1.25 * 0.05 / 2 / 150**0.5 * 2)
    assert apart > 10


@given(
    low=st.floats(-3, 3), high=st.floats(0.5, 4), first=st.integers(1, 30), rest=st.integers(1, 30)
)
def test_a_step_is_found_where_it_is(low: float, high: float, first: int, rest: int) -> None:
    values = np.concatenate([np.full(first, low), np.full(rest, low + high)])
    assert change_point(values) == first
    assert change_point(-values) == first
    squares = [
        float(np.var(values[:k]) * k + np.var(values[k:]) * (len(values) - k))
        for k in range(1, len(values))
    ]
    assert change_point(values) == 1 + int(np.argmin(squares))
