import numpy as np
import numpy.typing as npt
import pytest
import scipy.special
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.errors import InputError
from analysis.hearing.spectra import (
    COLOUR_SPAN_HZ,
    FLOOR_EVERY,
    FLOOR_SPAN_HZ,
    LOG_POWER_MIN,
    WINDOW_S,
    Framer,
    SpectrumGrid,
    _second_differences,
    against_floor,
    log_floor,
    log_power,
    rippled_colour,
    spectrum,
    standing_colour,
)

RATES_HZ = [8_000, 11_025, 16_000, 22_050, 32_000, 44_100, 48_000, 96_000, 192_000]
GRID = SpectrumGrid(8_000.0)
Samples = npt.NDArray[np.float32]


def noise(seconds: float, *, grid: SpectrumGrid = GRID, seed: int = 1) -> Samples:
    """White, variance 1."""
    rng = np.random.default_rng(seed)
    return rng.normal(size=round(seconds * grid.sample_rate_hz)).astype(np.float32)


def framed(samples: Samples, blocks: list[int], *, multiple: int) -> Samples:
    framer, parts, at, turn = Framer(GRID), [], 0, 0
    while at < len(samples):
        block = blocks[turn % len(blocks)]
        part = framer.frames(samples[at : at + block], multiple=multiple)
        assert len(part) % multiple == 0
        parts.append(part.copy())
        at, turn = at + block, turn + 1
    return np.concatenate([*parts, framer.rest()])


def powers_of_noise(seconds: float) -> npt.NDArray[np.float32]:
    frames = framed(noise(seconds), [4096], multiple=1)[2:-2]
    return log_power(spectrum(frames, grid=GRID)[:, : GRID.bins])


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_the_grid_is_much_the_same_in_seconds_and_hertz_at_every_rate(rate_hz: int) -> None:
    grid = SpectrumGrid(rate_hz)
    # 5-smooth lengths lie close: at this size the next is never 5 % off.
    assert WINDOW_S / 4 - 1 / rate_hz <= grid.step_s <= 1.05 * WINDOW_S / 4
    assert grid.bin_hz == pytest.approx(1 / (4 * grid.step_s), rel=1e-12)
    smooth = grid.length
    for factor in (2, 3, 5):
        while smooth % factor == 0:
            smooth //= factor
    assert smooth == 1
    # What is told every other frame must come at least every 50 ms.
    assert 2 * grid.step_s <= 0.05
    top_hz = (grid.bins - 1) * grid.bin_hz
    assert 0.95 * min(10_000, 0.46 * rate_hz) < top_hz <= min(10_000, 0.46 * rate_hz)


@pytest.mark.parametrize("rate_hz", [0, -44_100, 7_999, 192_001, 10**9])
def test_a_rate_no_recorder_has_is_refused(rate_hz: float) -> None:
    with pytest.raises(InputError, match=r"sample rate.*8,000 to 192,000"):
        SpectrumGrid(rate_hz)


def test_a_frame_lies_centred_on_its_own_multiple_of_the_hop() -> None:
    samples = noise(0.5)
    frames = framed(samples, [1000], multiple=1)
    half = GRID.length // 2
    padded = np.concatenate([np.zeros(half), samples, np.zeros(GRID.length)])
    # As many as have their centre inside the take: ceil(n / hop).
    assert len(frames) == -(-len(samples) // GRID.hop)
    for m, frame in enumerate(frames):
        assert np.array_equal(frame, padded[m * GRID.hop : m * GRID.hop + GRID.length])


@given(
    count=st.integers(0, 6_000),
    blocks=st.lists(st.integers(1, 5_000), min_size=1, max_size=5),
    multiple=st.sampled_from([1, 2, 7, 64]),
)
@settings(max_examples=60, deadline=None)
def test_frames_do_not_depend_on_how_the_sound_was_cut_up(
    count: int, blocks: list[int], multiple: int
) -> None:
    samples = np.arange(1, count + 1, dtype=np.float32)
    whole = framed(samples, [max(count, 1)], multiple=1)
    assert np.array_equal(framed(samples, blocks, multiple=multiple), whole)


def test_a_framer_that_was_emptied_has_nothing_left() -> None:
    framer = Framer(GRID)
    framer.frames(noise(0.2), multiple=1)
    assert len(framer.rest()) > 0
    assert len(framer.rest()) == 0


def test_the_window_is_hann_with_unit_energy() -> None:
    n = np.arange(GRID.length)
    hann = np.sin(np.pi * n / GRID.length) ** 2
    assert np.allclose(GRID.window, hann / np.linalg.norm(hann), atol=1e-7)  # float32
    assert float(np.sum(GRID.window.astype(float) ** 2)) == pytest.approx(1, abs=1e-6)


def test_white_noise_keeps_its_variance_in_every_cell() -> None:
    power = np.exp(powers_of_noise(8.0))
    # A cell's power is exponential: deviation 1. Sound of T seconds in a band of B hertz
    # holds T B independent cells.
    independent = 8.0 * GRID.bins * GRID.bin_hz
    assert power[:, 2:].mean() == pytest.approx(1, abs=3 / independent**0.5)


def test_the_floor_of_white_noise_is_its_own_power() -> None:
    powers = powers_of_noise(8.0)
    floor = log_floor(powers, colour=standing_colour(powers, grid=GRID), grid=GRID)
    # The logarithm of an exponential variate has deviation pi / sqrt 6.
    three_sigma = 3 * np.pi / 6**0.5 / (8.0 * GRID.bins * GRID.bin_hz) ** 0.5
    assert float(floor[:, 2:].mean()) == pytest.approx(0, abs=three_sigma)


def test_what_the_cut_of_the_floor_takes_from_noise() -> None:
    # E max(L - 0.9, 0) of L = ln X + gamma, X exponential: the exponential integral E1.
    cut = float(scipy.special.exp1(np.exp(0.9 - np.euler_gamma)))
    flat = np.full((1, GRID.bins), 0.0, np.float32)
    told = float(log_floor(flat, colour=flat[0], grid=GRID)[0, 100])
    # A running mean over some 20 independent cells wanders, and takes the cut with it:
    # by half the variance, (pi^2 / 6) / 20 / 2, times what lies at the cut's edge (0.25).
    assert told == pytest.approx(np.euler_gamma + cut, abs=0.25 * np.pi**2 / 240)


@given(gain_db=st.floats(-60, 40))
@settings(max_examples=10, deadline=None)
def test_the_floor_rises_with_the_gain_and_by_nothing_else(gain_db: float) -> None:
    powers = powers_of_noise(0.6)
    up = np.float32(gain_db * np.log(10) / 10)
    one = log_floor(powers, colour=standing_colour(powers, grid=GRID), grid=GRID)
    two = log_floor(powers + up, colour=standing_colour(powers + up, grid=GRID), grid=GRID)
    assert np.allclose(two - one, up, atol=1e-4)  # float32 over running sums


def test_a_line_hardly_lifts_the_floor_it_stands_on() -> None:
    powers = powers_of_noise(1.0)
    shape = standing_colour(powers, grid=GRID)
    line, height, width = GRID.bins // 2, 9.2, 5  # 40 dB
    lifted = powers.copy()
    lifted[:, line - 2 : line + 3] += height
    rise = log_floor(lifted, colour=shape, grid=GRID) - log_floor(powers, colour=shape, grid=GRID)
    span = round(FLOOR_SPAN_HZ / GRID.bin_hz) | 1
    # A mean rises by width / span of the height. In the second mean the line is cut 0.9
    # over the first; what it stood on before lay below that by 0.9 and more.
    once = width / span * height
    deepest = float((shape - powers[:, line - 2 : line + 3].mean(axis=1, keepdims=True)).max())
    assert 0 < float(rise.max()) <= once + 0.01
    assert float(rise[:, line].mean()) <= width / span * (once + 0.9 + max(deepest, 0)) + 0.01
    assert float(rise[:, line].mean()) < once / 2


def test_standing_colour_keeps_the_hills_and_leaves_out_the_lines() -> None:
    bins = np.arange(GRID.bins)
    slope = (-0.02 * bins).astype(np.float32)
    powers = np.tile(slope, (3, 1))
    powers[:, 40::20] += 8  # lines 20 bins apart, a comb
    span = round(COLOUR_SPAN_HZ / GRID.bin_hz) | 1
    told = standing_colour(powers, grid=GRID)
    # One or two cells of the span are out of order, which moves the median by a place.
    inner = slice(span, -span)
    assert np.abs(told - slope)[inner].max() <= 0.02 + 1e-5


def test_rippled_colour_follows_a_walls_ripples_and_stays_under_the_lines() -> None:
    bins = np.arange(GRID.bins)
    # One reflection: |1 + a e^(i w t)|^2, a maximum every 400 Hz.
    ripple = np.log(1 + 0.4**2 + 2 * 0.4 * np.cos(2 * np.pi * bins * GRID.bin_hz / 400))
    lines = np.zeros(GRID.bins)
    lines[31::31], lines[30::31], lines[32::31] = 4, 2, 2
    told, _ = rippled_colour(np.tile((ripple + lines).astype(np.float32), (3, 1)), grid=GRID)
    inner = slice(10, -10)
    assert np.std((told - ripple)[inner]) < 0.35 * np.std(ripple[inner])
    assert np.max((told - ripple)[31::31][1:-1]) < 0.15 * 4


def test_rippled_colour_is_the_same_from_wherever_it_is_sought() -> None:
    powers = powers_of_noise(1.0)
    told, above = rippled_colour(powers, grid=GRID)
    again, _ = rippled_colour(powers, grid=GRID, above=~above)
    assert np.allclose(again, told, atol=1e-3)


def test_bending_is_the_sum_of_squared_second_differences() -> None:
    differences = np.diff(np.eye(9), 2, axis=0)
    form = differences.T @ differences
    bands = _second_differences(9)
    for off in range(3):
        assert bands[off, : 9 - off] == pytest.approx(np.diag(form, off))


@pytest.mark.parametrize("standing", [True, False])
def test_noise_stands_eulers_gamma_below_its_floor(standing: bool) -> None:
    powers = powers_of_noise(8.0)
    excess, floor = against_floor(powers, grid=GRID, standing=standing)
    assert excess.shape == (len(powers) // 2, GRID.bins)
    assert floor.shape == (len(powers), len(range(0, GRID.bins, FLOOR_EVERY)))
    # E ln X of an exponential variate is -gamma.
    assert float(excess[:, 4:-4].mean()) == pytest.approx(-np.euler_gamma, abs=0.05)


def test_digital_silence_has_the_least_power_there_is() -> None:
    silent = log_power(np.zeros((1, 4), np.complex64))
    assert np.allclose(silent, LOG_POWER_MIN, atol=1e-3)
    assert log_power(np.array([[3 + 4j]], np.complex64))[0, 0] == pytest.approx(np.log(25))
