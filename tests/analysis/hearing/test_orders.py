import numpy as np
import numpy.typing as npt
import pytest
import scipy.integrate
import scipy.stats
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.hearing.orders import (
    GRAIN,
    LEARNABLE,
    LOG_STEP,
    LOUDEST,
    SILENT,
    SOUNDINGS,
    STRAY,
    STRAY_POWER,
    TOP_ORDER,
    UNKNOWN_FIRST,
    UNKNOWN_HIGH,
    Candidates,
    comb_bonus,
    comb_evidence,
    generic_voice,
    levels,
    on_log_axis,
    order_excess,
    sounding_tables,
)
from analysis.hearing.spectra import SpectrumGrid

GRID = SpectrumGrid(16_000.0)
ANY_ROUTER = Candidates.between(90.0, 620.0)
NOISE = -np.euler_gamma  # mean ln(power / floor) of noise alone


def column(excess: float) -> npt.NDArray[np.float32]:
    return sounding_tables()[:, levels(np.array([excess], np.float32))[0]]


def mix(chance: float, power: float, x: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Density of a cell's power: a tone, noise, or somebody else's tone, all exponential."""
    exponential = scipy.stats.expon.pdf
    return np.asarray(
        chance * exponential(x, scale=1 + power)
        + (1 - chance) * (1 - STRAY) * exponential(x)
        + STRAY * exponential(x, scale=1 + STRAY_POWER)
    )


@given(excess=st.floats(-4.9, LOUDEST - 0.05))
@settings(max_examples=40, deadline=None)
def test_a_sounding_is_the_log_ratio_of_two_densities(excess: float) -> None:
    x = np.exp(np.array([excess]))
    nobody = mix(0.0, 1.0, x)
    expected = [float(np.log(mix(c, p, x) / nobody)[0]) for c, p in SOUNDINGS]
    # A level is 1/30 wide: half of it, at the steepest slope of the loudest sounding.
    steepest = np.log(mix(0.95, 40, SPAN) / mix(0, 1, SPAN))
    slope = np.abs(np.gradient(steepest, np.log(SPAN))).max()
    assert column(excess) == pytest.approx(expected, abs=slope / 60 + 1e-4)


SPAN = np.exp(np.linspace(-5, LOUDEST, 400))


def test_louder_than_the_loudest_says_no_more() -> None:
    assert np.array_equal(column(LOUDEST + 0.1), column(9.0))
    # nor does softer than can be
    assert np.array_equal(column(-5.0), column(-40.0))


def expected_evidence(truth: int | None) -> npt.NDArray[np.float64]:
    """Mean table value of each sounding where `truth` sounds, or nobody if None."""
    chance, power = SOUNDINGS[truth] if truth is not None else (0.0, 1.0)
    excess = np.linspace(-12, 7, 6_000)
    x = np.exp(excess)
    weight = mix(chance, power, x) * x
    tables = sounding_tables()[:, levels(excess.astype(np.float32))]
    total = scipy.integrate.trapezoid(weight, excess)
    return np.asarray(scipy.integrate.trapezoid(weight * tables, excess, axis=1) / total)


def test_where_nobody_sounds_every_sounding_loses() -> None:
    # Gibbs: the mean log likelihood ratio under the other hypothesis is negative.
    assert (expected_evidence(None) < 0).all()


@pytest.mark.parametrize("truth", LEARNABLE.tolist())
def test_each_sounding_explains_itself_best(truth: int) -> None:
    told = expected_evidence(truth)
    assert told[truth] > 0
    assert int(LEARNABLE[np.argmax(told[LEARNABLE])]) == truth


@given(st.lists(st.floats(-20, 20, width=32), min_size=1, max_size=20))
def test_a_level_lies_within_half_a_step_of_its_excess(values: list[float]) -> None:
    told = levels(np.array(values, np.float32)).astype(float) / 30 - 5
    held = np.clip(values, -5, 255 / 30 - 5)
    assert np.abs(told - held).max() <= 1 / 60 + 1e-4


def test_what_is_not_a_number_counts_as_nothing_there() -> None:
    assert levels(np.array([np.nan])).tolist() == [0]


@given(low=st.floats(50, 300), factor=st.floats(1.001, 8))
def test_candidates_span_their_range_evenly_in_the_logarithm(low: float, factor: float) -> None:
    told = Candidates.between(low, low * factor).rotation_hz
    assert told[0] == low
    assert told[-1] >= low * factor * (1 - 1e-9)
    assert told[-1] <= low * factor * np.exp(2 * LOG_STEP)
    assert np.diff(np.log(told)) == pytest.approx(LOG_STEP, rel=1e-6)


@pytest.mark.parametrize("flutes", [1, 2, 3, 4, 12])
def test_the_first_orders_and_the_teeths_are_expected_most(flutes: int) -> None:
    voice = generic_voice(flutes)
    assert voice.shape == (TOP_ORDER,)
    teeth = [flutes * n for n in (1, 2, 3, 4)]
    assert (voice[np.array([1, 2, *teeth]) - 1] == UNKNOWN_FIRST).all()
    beyond = [n for n in range(7, TOP_ORDER + 1) if n not in teeth]
    assert (voice[np.array(beyond) - 1] == UNKNOWN_HIGH).all()
    assert (generic_voice(None)[6:] == UNKNOWN_HIGH).all()


@given(seed=st.integers(0, 1000), count=st.integers(1, 40))
@settings(max_examples=25, deadline=None)
def test_a_comb_is_the_sum_over_its_audible_orders(seed: int, count: int) -> None:
    rng = np.random.default_rng(seed)
    candidates = Candidates(200.0, count)
    axis = rng.integers(0, 256, (3, 900)).astype(np.uint8)
    voice = rng.integers(0, len(SOUNDINGS), TOP_ORDER)
    told = comb_evidence(axis, voices=[voice], candidates=candidates)
    tables = sounding_tables().astype(float)
    expected = np.zeros((3, count))
    for i in range(count):
        for order in range(1, TOP_ORDER + 1):
            place = i + round(np.log(order) / LOG_STEP)
            if voice[order - 1] != SILENT and place < axis.shape[1]:
                expected[:, i] += tables[voice[order - 1], axis[:, place]]
    audible = np.count_nonzero(voice != SILENT)
    assert told == pytest.approx(expected, abs=audible * GRAIN / 2 + 1e-3)


@given(seed=st.integers(0, 1000))
@settings(max_examples=10, deadline=None)
def test_of_several_voices_the_likelier_counts(seed: int) -> None:
    rng = np.random.default_rng(seed)
    candidates = Candidates(200.0, 30)
    axis = rng.integers(0, 256, (70, 900)).astype(np.uint8)
    one, two = rng.integers(0, len(SOUNDINGS), (2, TOP_ORDER))
    two[::3] = one[::3]
    each = [comb_evidence(axis, voices=[voice], candidates=candidates) for voice in (one, two)]
    told = comb_evidence(axis, voices=[one, two], candidates=candidates)
    # Whole grains add up exactly in single precision.
    assert (told == np.maximum(*each)).all()


def comb(rotation_hz: float, orders: list[int], *, height: float = 3.0, steps: int = 40,
         seed: int = 1) -> npt.NDArray[np.float32]:  # fmt: skip
    """Excess of a comb in noise: Hann lines with their tone's power, cells exponential."""
    rng = np.random.default_rng(seed)
    power = np.ones(GRID.bins)
    cells = np.arange(GRID.bins)
    for order in orders:
        away = np.abs(cells - rotation_hz * order / GRID.bin_hz)
        line = np.sinc(away) / (1 - np.minimum(away**2, 0.999999))
        power += np.where(away < 2, np.exp(height) * line**2, 0)
    # Two frames' log powers averaged, as the engine does.
    return np.asarray(
        np.log(power * rng.exponential(size=(2, steps, GRID.bins))).mean(axis=0), np.float32
    )


COMBS = {
    "plain": (None, [1, 2, 3, 4, 5, 6]),
    "first missing": (None, [2, 3, 4, 5, 6, 7]),
    "odd orders only": (None, [1, 3, 5, 7, 9]),
    "one in three gone": (None, [1, 2, 4, 5, 7, 8]),
    "two flutes, one proud": (2, [1, 2, 3, 4, 6, 8]),
    "three flutes": (3, [1, 3, 6, 9, 12]),
}


@pytest.mark.parametrize("name", COMBS)
@pytest.mark.parametrize("rotation_hz", [203.0, 290.0])
def test_the_rotation_is_preferred_to_its_half_and_its_double(
    name: str, rotation_hz: float
) -> None:
    flutes, orders = COMBS[name]
    axis = on_log_axis(comb(rotation_hz, orders), grid=GRID, candidates=ANY_ROUTER)
    total = comb_evidence(axis, voices=[generic_voice(flutes)], candidates=ANY_ROUTER).sum(axis=0)
    away = np.log(ANY_ROUTER.rotation_hz / rotation_hz)
    best = {ratio: float(total[np.abs(away - np.log(ratio)) < 0.02].max()) for ratio in (0.5, 1, 2)}
    assert best[1] > max(0, best[0.5], best[2])
    # The comb lies within a cell of the spectrum at its middle order.
    near = np.argmax(np.where(np.abs(away) < 0.1, total, -np.inf))
    assert abs(ANY_ROUTER.rotation_hz[near] - rotation_hz) < GRID.bin_hz / np.median(orders)


def test_noise_is_no_router() -> None:
    axis = on_log_axis(comb(200, []), grid=GRID, candidates=ANY_ROUTER)
    evidence = comb_evidence(axis, voices=[generic_voice(2)], candidates=ANY_ROUTER)
    assert (evidence.mean(axis=0) < 0).all()


def test_the_log_axis_reads_a_slope_where_it_is() -> None:
    per_bin = 0.01
    ramp = np.tile((per_bin * np.arange(GRID.bins) - 4).astype(np.float32), (2, 1))
    axis = on_log_axis(ramp, grid=GRID, candidates=ANY_ROUTER)
    told = axis[0].astype(float) / 30 - 5
    hz = ANY_ROUTER.lowest_hz * np.exp(LOG_STEP * np.arange(axis.shape[1]))
    assert hz[-1] <= (GRID.bins - 1) * GRID.bin_hz < hz[-1] * np.exp(2 * LOG_STEP) * 1.01
    assert np.abs(told - (per_bin * hz / GRID.bin_hz - 4)).max() <= 1 / 60 + 1e-4


def test_following_asks_only_for_what_is_there() -> None:
    voice = np.full(TOP_ORDER, SILENT)
    voice[[0, 4, 8]] = 7
    rotation_hz = 250.0
    both = []
    for orders in ([1, 5, 9], [1]):
        axis = on_log_axis(comb(rotation_hz, orders), grid=GRID, candidates=ANY_ROUTER)
        at = int(np.argmin(np.abs(ANY_ROUTER.rotation_hz - rotation_hz)))
        both.append(comb_bonus(axis, voice=voice, candidates=ANY_ROUTER)[:, at].mean())
    whole, first_only = both
    # Each order there brings the same; each that is missing costs its chance gain at most.
    assert whole > 2.2 * first_only > 0


def test_following_through_noise_gains_nothing() -> None:
    voice = np.full(TOP_ORDER, 7)
    axis = on_log_axis(comb(200, [], steps=200), grid=GRID, candidates=ANY_ROUTER)
    bonus = comb_bonus(axis, voice=voice, candidates=ANY_ROUTER)
    assert -TOP_ORDER * 0.03 < float(bonus.mean()) < 0  # 0.03 is all that is taken off
    unvoiced = np.full(TOP_ORDER, SILENT)
    assert not comb_bonus(axis, voice=unvoiced, candidates=ANY_ROUTER).any()


@given(rotation_hz=st.floats(60, 600), aside=st.sampled_from([-3.5, 0.0, 3.5]))
@settings(max_examples=40, deadline=None)
def test_orders_are_read_between_the_cells(rotation_hz: float, aside: float) -> None:
    ramp = np.arange(GRID.bins, dtype=np.float32)[None, :]
    told = order_excess(
        ramp, rotation_hz=np.array([rotation_hz]), grid=GRID, aside_bins=aside
    )[0]  # fmt: skip
    place = rotation_hz * np.arange(1, TOP_ORDER + 1) / GRID.bin_hz + aside
    inside = place < GRID.bins - 2
    assert told[inside] == pytest.approx(place[inside], abs=1e-3)
    assert np.isnan(told[~inside]).all()


def test_as_many_orders_as_asked_for_at_each_steps_own_speed() -> None:
    ramp = np.tile(np.arange(GRID.bins, dtype=np.float32), (3, 1))
    speeds = np.array([100.0, 200.0, 300.0])
    told = order_excess(ramp, rotation_hz=speeds, grid=GRID, top_order=5)
    assert told == pytest.approx(np.outer(speeds, np.arange(1, 6)) / GRID.bin_hz, rel=1e-5)
