from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import pytest
import scipy.signal
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.hearing.refine import Refined, hann_kernel, order_phasors, refine_stretch
from analysis.hearing.spectra import FLOOR_EVERY, Framer, SpectrumGrid, spectrum
from analysis.hearing.spindle import UNSEEN

FloatArray = npt.NDArray[np.float64]
GRID = SpectrumGrid(8_000.0)
ORDERS = np.arange(1, 9)
AMPLITUDES = 1 / np.sqrt(ORDERS)


def test_the_kernel_is_the_windows_own_transform() -> None:
    # A DFT by its definition, at places between the cells too.
    n = np.arange(GRID.length) - GRID.length / 2
    bins = np.linspace(-0.99, 0.99, 39)
    window = GRID.window.astype(float)
    transform = [float(np.sum(window * np.cos(2 * np.pi * b * n / GRID.length))) for b in bins]
    # It differs from the continuous one by the order of 1 / length squared.
    assert hann_kernel(bins) == pytest.approx(np.array(transform) / window.sum(), abs=2e-5)
    # Next to the cell beside it: half.
    assert hann_kernel(np.array([0.0, 0.999, -0.999])) == pytest.approx([1, 0.5, 0.5], abs=1e-3)


def spectra_of(samples: FloatArray) -> npt.NDArray[np.complex64]:
    framer = Framer(GRID)
    frames = framer.frames(samples.astype(np.float32), multiple=1).copy()
    return spectrum(np.concatenate([frames, framer.rest()]), grid=GRID)[:, : GRID.bins]


def no_floor(frames: int) -> npt.NDArray[np.float32]:
    return np.zeros((frames, -(-GRID.bins // FLOOR_EVERY)), np.float32)


@given(
    rotation_hz=st.floats(100, 500),
    order=st.integers(1, 6),
    phase=st.floats(-3.1, 3.1),
    amplitude=st.floats(0.01, 1),
)
@settings(max_examples=40, deadline=None)
def test_a_phasor_has_its_tones_phase_and_strength_at_the_frames_centre(
    rotation_hz: float, order: int, phase: float, amplitude: float
) -> None:
    time_s = np.arange(8_000) / 8_000
    tone = amplitude * np.cos(2 * np.pi * order * rotation_hz * time_s + phase)
    spectra = spectra_of(tone)
    told = order_phasors(
        spectra, no_floor(len(spectra)), rotation_hz=np.full(len(spectra), rotation_hz),
        orders=np.array([order]), grid=GRID,
    )[2:-2, 0]  # fmt: skip
    centre_s = np.arange(2, len(spectra) - 2) * GRID.step_s
    turned = told * np.exp(-1j * (2 * np.pi * order * rotation_hz * centre_s + phase))
    # The mirror image of a tone at 100 Hz or 3 kHz lies 18 cells off, where a Hann window is
    # down to 1 / (pi 18^3): 5e-5.
    assert np.abs(np.angle(turned)).max() < 1e-3
    # The energy in noise units: A^2 / 2 over variance 1, times length / 3 (Hann's gain at a
    # cell's centre, length / 4 times 2 / 3, and 1 / 2 for one side make A^2 length / 6). Two
    # cells whose noise goes together by 2 / 3 hold g1^2 + g2^2 over the root of
    # g1^2 + g2^2 + 4 / 3 g1 g2 of it: 0.815 beside a cell's centre, 0.865 midway.
    power = np.abs(told) ** 2 / (amplitude**2 * GRID.length / 6)
    assert 0.8 < power.min() <= power.max() < 1.01
    assert np.ptp(power) < 0.002


@pytest.mark.parametrize("off", [0.0, 0.25, 0.5, 0.75])
def test_noise_alone_has_unit_power_wherever_it_is_read(off: float) -> None:
    rng = np.random.default_rng(1)
    frames = rng.normal(size=(1_500, GRID.length)).astype(np.float32)
    spectra = spectrum(frames, grid=GRID)[:, : GRID.bins]
    rotation = np.full(len(spectra), (20 + off) * GRID.bin_hz)
    orders = np.array([1, 5, 9, 13])
    told = order_phasors(
        spectra, no_floor(len(spectra)), rotation_hz=rotation, orders=orders, grid=GRID
    )
    # 6,000 independent exponential powers
    assert np.mean(np.abs(told) ** 2) == pytest.approx(1, abs=3 / 6_000**0.5)


def test_the_floor_sets_the_scale_and_what_lies_above_the_top_is_nothing() -> None:
    spectra = spectra_of(np.cos(2 * np.pi * 800 * np.arange(8_000) / 8_000))
    rotation = np.full(len(spectra), 800.0)
    plain, raised = (
        order_phasors(
            spectra, no_floor(len(spectra)) + floor, rotation_hz=rotation,
            orders=np.array([1, 7]), grid=GRID,
        )
        for floor in (0.0, 2.0)
    )  # fmt: skip
    assert np.abs(raised[3, 0]) == pytest.approx(np.abs(plain[3, 0]) * np.exp(-1), rel=1e-6)
    assert not plain[:, 1].any()  # order 7 lies at 5.6 kHz


def router(
    hz_at: Callable[[FloatArray], FloatArray], turns_at: Callable[[FloatArray], FloatArray], *,
    seconds: float, snr_db: float, coarse_off: float, seed: int,
) -> tuple[Refined, FloatArray, FloatArray]:  # fmt: skip
    """Orders at random phases in white noise, refined from a path that is somewhat off.

    Returns what was found, the true rotation at the frames' centres, and their times.
    """
    rng = np.random.default_rng(seed)
    time_s = np.arange(round(seconds * 8_000)) / 8_000
    phases = rng.uniform(0, 2 * np.pi, (len(ORDERS), 1))
    clean = AMPLITUDES @ np.cos(2 * np.pi * np.outer(ORDERS, turns_at(time_s)) + phases)
    variance = np.sum(AMPLITUDES**2) / 2 / 10 ** (snr_db / 10)
    spectra = spectra_of(clean + rng.normal(size=len(time_s)) * variance**0.5)
    # Frames that hang over the ends are left out, as the engine does.
    centre_s = GRID.step_s * np.arange(2, len(spectra) - 2, dtype=np.float64)
    true_hz = hz_at(centre_s)
    coarse = true_hz * (1 + coarse_off)
    phasors = order_phasors(
        spectra[2:-2], no_floor(len(centre_s)) + np.float32(np.log(variance)),
        rotation_hz=coarse, orders=ORDERS, grid=GRID,
    )  # fmt: skip
    found = refine_stretch(phasors, rotation_hz=coarse, orders=ORDERS, step_s=GRID.step_s)
    return found, true_hz, centre_s


def steady(seed: int, *, snr_db: float, seconds: float = 2.0) -> tuple[FloatArray, FloatArray]:
    """Errors and deviations, Hz, on a spindle of quite even speed."""
    rng = np.random.default_rng(1000 + seed)
    hz = rng.uniform(150, 400)
    found, true_hz, _ = router(
        lambda t: np.full(len(t), hz), lambda t: hz * t, seconds=seconds, snr_db=snr_db,
        coarse_off=rng.uniform(-0.00125, 0.00125), seed=seed,
    )  # fmt: skip
    return found.rotation_hz - true_hz, found.deviation_hz


def cramer_rao_hz(*, snr_db: float, seconds: float) -> float:
    """Least deviation of a rotation told by all its orders in white noise.

    A real tone of unknown phase: var f >= 12 / ((2 pi)^2 eta T^3 fs), eta = A^2 / (2 s^2)
    (S. M. Kay, Fundamentals of Statistical Signal Processing I, 1993, example 3.14
    [memory]); order k tells k times the rotation, so eta becomes sum k^2 eta_k.
    """
    eta = AMPLITUDES**2 / np.sum(AMPLITUDES**2) * 10 ** (snr_db / 10)
    bend = (2 * np.pi) ** 2 * seconds**3 * 8_000 * np.sum(ORDERS**2 * eta)
    return float((12 / bend) ** 0.5)


@pytest.mark.parametrize("snr_db", [10.0, 0.0, -10.0])
def test_a_steady_speed_is_told_within_1_4_of_the_cramer_rao_bound(snr_db: float) -> None:
    errors = np.array([steady(seed, snr_db=snr_db)[0] for seed in range(40)])
    takes = np.median(errors, axis=1)
    # The root mean square of 40 takes is itself known within 11 %.
    bound = cramer_rao_hz(snr_db=snr_db, seconds=2.0)
    assert 0.78 * bound < float(np.sqrt(np.mean(takes**2))) < 1.4 * bound
    # Frame by frame most are as good; a window that is taken to disagree stays short.
    assert float(np.mean(np.abs(errors) < 3 * 1.4 * bound)) > 0.95


@pytest.mark.parametrize("snr_db", [10.0, -5.0])
def test_the_stated_deviation_covers_the_error_and_is_not_lavish(snr_db: float) -> None:
    takes = [steady(seed, snr_db=snr_db) for seed in range(80)]
    # One frame of each take: within a take all are off alike.
    error = np.array([e[len(e) // 3] for e, _ in takes])
    deviation = np.array([d[len(d) // 3] for _, d in takes])
    covered = float(np.mean(np.abs(error) < 1.96 * deviation))
    assert covered >= 0.95 - 3 * (0.95 * 0.05 / 80) ** 0.5
    assert float(np.median(deviation)) < 2 * float(np.sqrt(np.mean(error**2)))


@pytest.mark.parametrize("hz_per_s", [2.0, -4.0, 12.0])
def test_a_linear_chirp_is_followed(hz_per_s: float) -> None:
    start = 300.0
    found, true_hz, time_s = router(
        lambda t: start + hz_per_s * t, lambda t: start * t + hz_per_s * t**2 / 2,
        seconds=3.0, snr_db=10.0, coarse_off=0.001, seed=5,
    )  # fmt: skip
    # scipy's own chirp agrees with the phase used above.
    chirp = scipy.signal.chirp(time_s, start, 3.0, start + 3 * hz_per_s)
    assert chirp == pytest.approx(np.cos(2 * np.pi * (start * time_s + hz_per_s * time_s**2 / 2)))
    error = found.rotation_hz - true_hz
    assert float(np.sqrt(np.mean(error[4:-4] ** 2))) < 0.0005 * start
    assert float(np.mean(np.abs(error) < 1.96 * found.deviation_hz)) > 0.9


@pytest.mark.parametrize("seed", range(3))
def test_a_wandering_spindle_is_followed(seed: int) -> None:
    # Two slow swings of a tenth of a percent, as hands load a spindle.
    base, swing, rates = 280.0, 0.28, np.array([0.7, 1.3])
    shift = np.random.default_rng(seed).uniform(0, 2 * np.pi, 2)[:, None]

    def hz(t: FloatArray) -> FloatArray:
        each = np.sin(2 * np.pi * np.outer(rates, t) + shift)
        return np.asarray(base + swing * each.sum(axis=0))

    def turns(t: FloatArray) -> FloatArray:
        each = np.cos(2 * np.pi * np.outer(rates, t) + shift) / (2 * np.pi * rates[:, None])
        return np.asarray(base * t - swing * each.sum(axis=0))

    found, true_hz, _ = router(
        hz, turns, seconds=4.0, snr_db=0.0, coarse_off=-0.001, seed=seed
    )  # fmt: skip
    error = np.abs(found.rotation_hz - true_hz) / base
    # A window that smooths the swings away would be off by their own size, 0.07 % rms each.
    assert float(np.median(error)) < 0.0003
    assert float(np.sqrt(np.mean(error**2))) < 0.0005
    # What is told to the person adds what no phase shows; that covers it.
    u95 = np.hypot(1.96 * found.deviation_hz / base, UNSEEN)
    assert float(np.mean(error < u95)) > 0.92


def test_a_step_in_speed_is_not_smoothed_into_a_ramp() -> None:
    # Half a percent at once, as when the bit goes in: half a second off it both are known.
    def hz(t: FloatArray) -> FloatArray:
        return np.where(t < 2, 300.0, 298.5)

    def turns(t: FloatArray) -> FloatArray:
        return np.where(t < 2, 300.0 * t, 600 + 298.5 * (t - 2))

    found, true_hz, time_s = router(
        hz, turns, seconds=4.0, snr_db=10.0, coarse_off=0.0005, seed=2
    )  # fmt: skip
    error = np.abs(found.rotation_hz - true_hz) / 300
    assert float(error[np.abs(time_s - 2) > 0.5].max()) < 0.0005


def test_frames_beside_a_knock_borrow_from_their_surer_neighbours() -> None:
    frames, knock, hz = 120, slice(60, 63), 250.0
    errors = []
    for seed in range(10):
        rng = np.random.default_rng(seed)
        parts = rng.normal(size=(2, frames, len(ORDERS))) / 2**0.5
        noise = parts[0] + 1j * parts[1]
        phasors = np.exp(2j * np.pi * hz * GRID.step_s * np.outer(np.arange(frames), ORDERS))
        phasors = np.asarray(5 * phasors + noise, np.complex64)
        phasors[knock] = 20 * noise[knock]
        found = refine_stretch(
            phasors, rotation_hz=np.full(frames, hz), orders=ORDERS, step_s=GRID.step_s
        )
        errors.append(np.abs(found.rotation_hz - hz)[[*range(54, 58), *range(65, 69)]])
    # A window that stops at the knock holds 13 frames at most; regression of a phase over
    # n frames with noise of 1 / (2 power) at each of the orders, k times as fine at order k.
    count = 13
    slope = 1 / (2 * 25 * np.sum(ORDERS**2) * count * (count**2 - 1) / 12)
    alone_hz = float(slope**0.5) / (2 * np.pi * GRID.step_s)
    assert float(np.median(errors)) < 0.6745 * alone_hz  # the median of a normal error


def test_noise_alone_leaves_the_path_where_it_was_within_its_tolerance() -> None:
    rng = np.random.default_rng(1)
    parts = rng.normal(size=(2, 60, 8)) / 2**0.5
    phasors = np.asarray(parts[0] + 1j * parts[1], np.complex64)
    rotation = np.full(60, 250.0)
    found = refine_stretch(phasors, rotation_hz=rotation, orders=ORDERS, step_s=GRID.step_s)
    assert np.isfinite(found.rotation_hz).all()
    assert np.abs(found.rotation_hz / 250 - 1).max() < 0.02
    assert (found.deviation_hz > 0).all()


@pytest.mark.parametrize("frames", [2, 3, 7])
def test_the_shortest_stretches_come_out_whole(frames: int) -> None:
    # Phasors that stay with the path's own turning: it is right.
    turns = 250.0 * GRID.step_s * np.arange(frames)
    phasors: npt.NDArray[np.complex64] = 5 * np.exp(2j * np.pi * np.outer(turns, ORDERS))
    rotation = np.full(frames, 250.0)
    found = refine_stretch(phasors, rotation_hz=rotation, orders=ORDERS, step_s=GRID.step_s)
    assert found.rotation_hz == pytest.approx(rotation, rel=1e-9)
    assert (found.deviation_hz > 0).all()
