import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.hearing.ratio import (
    ABSENT,
    GAIN_CAP,
    MARGIN,
    NOISE_LEVEL,
    RATIOS,
    cutting_score,
    idle_score,
    order_gains,
    ripple_sidebands,
)

Profile = npt.NDArray[np.float64]
STEPS = 200
BIN_HZ = 12.0
TOP_HZ = 6_000.0


def profile(
    lines: dict[float, float], *, rotation_hz: float, ratio: float = 1.0, top_hz: float = TOP_HZ
) -> Profile:
    """Mean excess at the orders of ``ratio * rotation_hz``.

    `lines` gives ln(power / floor) at multiples of `rotation_hz`; elsewhere is noise.
    """
    mean = np.full(int(top_hz / (ratio * rotation_hz)), NOISE_LEVEL)
    for order in range(1, len(mean) + 1):
        for place, level in lines.items():
            if abs(order * ratio - place) < 0.02:
                mean[order - 1] = level
    return mean


def best_ratio(scores: dict[float, float]) -> float:
    return max(scores, key=lambda ratio: scores[ratio])


def idle_scores(lines: dict[float, float], rotation_hz: float) -> dict[float, float]:
    return {
        ratio: idle_score(
            profile(lines, rotation_hz=rotation_hz, ratio=ratio), steps=STEPS,
            rotation_hz=ratio * rotation_hz,
        )
        for ratio in RATIOS
    }  # fmt: skip


def cutting_scores(
    lines: dict[float, float], rotation_hz: float, flutes: int
) -> dict[float, float]:
    scores = {}
    for ratio in RATIOS:
        mean = profile(lines, rotation_hz=rotation_hz, ratio=ratio)
        scores[ratio] = cutting_score(
            mean, steps=STEPS, rotation_hz=ratio * rotation_hz, flutes=flutes,
            idle_too=np.zeros(len(mean), bool),
        )  # fmt: skip
    return scores


# A fan of 9 blades, a commutator of 12 bars, imbalance at the first orders.
MACHINES: dict[str, dict[float, float]] = {
    "fan and commutator": {1: 2.0, 2: 1.2, 9: 3.0, 18: 1.5, 12: 2.5, 24: 1.5},
    "fan alone": {1: 1.5, 2: 0.8, 7: 3.0, 14: 2.0, 21: 1.0},
    "imbalance alone": {1: 2.5, 2: 1.5, 3: 1.0},
}


@pytest.mark.parametrize("name", MACHINES)
@pytest.mark.parametrize("rotation_hz", [190.0, 271.0, 333.0])
def test_a_machine_running_free_is_counted_right(name: str, rotation_hz: float) -> None:
    scores = idle_scores(MACHINES[name], rotation_hz)
    assert best_ratio(scores) == 1.0


def teeth(flutes: int, *, between: float | None = None, top: int = 6) -> dict[float, float]:
    """Orders of a cut: the teeth's strong and falling, those between at `between` if any."""
    lines: dict[float, float] = {}
    for order in range(1, flutes * top + 1):
        if order % flutes == 0:
            lines[order] = 3.5 - 0.3 * order / flutes
        elif between is not None:
            lines[order] = between
    return lines


@pytest.mark.parametrize("name", MACHINES)
@pytest.mark.parametrize("between", [None, 0.9], ids=["teeth alike", "one proud"])
@pytest.mark.parametrize("flutes", [1, 2, 3, 4])
@pytest.mark.parametrize("rotation_hz", [190.0, 271.0, 333.0])
def test_free_running_and_cut_together_count_right(
    name: str, between: float | None, flutes: int, rotation_hz: float
) -> None:
    free = idle_scores(MACHINES[name], rotation_hz)
    cut = cutting_scores(teeth(flutes, between=between), rotation_hz, flutes)
    both = {ratio: free[ratio] + cut[ratio] for ratio in RATIOS}
    lead = both.pop(1.0) - max(both.values())
    # By so much that a course counted wrongly would be counted anew; a machine that is
    # next to silent when free, with a perfect cutter, may leave it undecided.
    assert lead > (MARGIN if "fan" in name or between is not None else 0)


@pytest.mark.parametrize("flutes", [1, 2, 3, 4])
@pytest.mark.parametrize("rotation_hz", [190.0, 271.0, 333.0])
def test_a_perfect_cutter_is_counted_right_by_its_cut_alone(
    flutes: int, rotation_hz: float
) -> None:
    assert best_ratio(cutting_scores(teeth(flutes), rotation_hz, flutes)) == 1.0


@pytest.mark.parametrize("flutes", [3, 4])
@pytest.mark.parametrize("rotation_hz", [190.0, 271.0, 333.0])
def test_a_proud_tooth_tells_the_count_by_the_cut_alone(flutes: int, rotation_hz: float) -> None:
    alike = cutting_scores(teeth(flutes), rotation_hz, flutes)
    proud = cutting_scores(teeth(flutes, between=0.9), rotation_hz, flutes)
    assert best_ratio(proud) == 1.0
    # At double speed the orders between fall between the lines: runout speaks against it.
    assert proud[1.0] - proud[2.0] > alike[1.0] - alike[2.0]


def test_a_single_flute_has_all_orders_for_teeth() -> None:
    lines = teeth(1, top=8)
    mean = profile(lines, rotation_hz=250.0)
    silent = np.full(len(mean), NOISE_LEVEL)
    rest = {"steps": STEPS, "rotation_hz": 250.0, "flutes": 1}
    none = np.zeros(len(mean), bool)
    assert cutting_score(mean, idle_too=none, **rest) > 0  # type: ignore[arg-type]
    assert cutting_score(silent, idle_too=none, **rest) < -5  # type: ignore[arg-type]
    assert best_ratio(cutting_scores(lines, 250.0, 1)) == 1.0


def test_what_sounds_when_running_free_says_nothing_of_the_teeth() -> None:
    mean = profile(teeth(2, between=0.9), rotation_hz=250.0)
    idle_too = np.zeros(len(mean), bool)
    idle_too[[8, 17]] = True
    loud = mean.copy()
    loud[[8, 17]] = 5.0
    rest = {"steps": STEPS, "rotation_hz": 250.0, "flutes": 2, "idle_too": idle_too}
    assert cutting_score(mean, **rest) == cutting_score(loud, **rest)  # type: ignore[arg-type]


def test_an_absent_order_counts_its_full_against_and_a_plain_one_its_full_for() -> None:
    gains = order_gains(np.array([NOISE_LEVEL, 3.0]), steps=STEPS, rotation_hz=277.0)
    assert gains.tolist() == [-ABSENT, GAIN_CAP]


@given(st.floats(-2, 6), st.floats(-2, 6), st.integers(1, 4000))
def test_a_stronger_order_never_counts_for_less(a: float, b: float, steps: int) -> None:
    low, high = order_gains(np.array(sorted([a, b])), steps=steps, rotation_hz=517.0)
    assert -ABSENT <= low <= high <= GAIN_CAP


def test_a_line_that_moves_with_the_speed_counts_for_more_than_a_stray() -> None:
    """A line midway between two orders of the double then tells half from double."""
    # Lines as of a router of 10,700 rpm whose teeth alike hide its odd orders but one.
    half_hz, lines = 178.0, {16, 19, 32}
    half = np.array([3.3 if n in lines else NOISE_LEVEL + 0.2 for n in range(1, 41)])
    double = half[1::2]
    for moving, right in ((False, False), (True, True)):
        on_half, on_double = (
            idle_score(
                mean, steps=STEPS, rotation_hz=hz, moving=np.full(len(mean), moving) & (mean > 1)
            )
            for mean, hz in ((half, half_hz), (double, 2 * half_hz))
        )
        assert (on_half > on_double) is right


def test_a_faint_order_counts_once_enough_steps_have_told_it() -> None:
    # 0.5 nepers over noise: 0.3 for uneven floors, and two deviations 2 / sqrt(steps / 2).
    faint = np.array([NOISE_LEVEL + 0.5])
    enough = 2 * (2 / 0.2) ** 2
    below, above = (
        order_gains(faint, steps=round(steps), rotation_hz=517.0)[0]
        for steps in (0.8 * enough, 1.25 * enough)
    )
    assert below < 0 < above


@pytest.mark.parametrize(
    ("rotation_hz", "hum"),
    [
        (50.0, [1, 2, 3, 4, 5]),  # 50 to 250 Hz
        (60.0, [1, 2, 3, 4]),  # 60 to 240 Hz
        (93.0, [1]),  # 93 Hz is 7 from 100; 186 Hz is 6 from 180, 14 from 200
        (125.0, [1, 2]),
        (270.0, []),
    ],
)
def test_a_low_order_on_a_mains_harmonic_can_not_count_for_a_tone(
    rotation_hz: float, hum: list[int]
) -> None:
    loud = np.full(8, 3.0)
    frequencies = rotation_hz * np.arange(1, 9)
    expected = [
        n + 1
        for n, f in enumerate(frequencies)
        if f < 260 and any(abs(f - m * round(f / m)) < 8 for m in (50, 60))
    ]
    gains = order_gains(loud, steps=STEPS, rotation_hz=rotation_hz)
    assert (np.flatnonzero(gains == 0) + 1).tolist() == expected
    assert set(hum) <= set(expected)


def test_hum_does_not_halve_a_speed() -> None:
    # 240 Hz, 14,400 rpm; mains at 120 Hz poses as the first order of half of it.
    lines = {**MACHINES["fan alone"], 0.5: 3.0}
    assert best_ratio(idle_scores(lines, 240.0)) == 1.0


def test_ripple_beside_a_louder_order_is_known() -> None:
    # Counted at half, 110 Hz, a rotation of 220 Hz has sidebands 100 (120) Hz off: each lies
    # 10 Hz from an odd order, 2 cells of 12 Hz at most.
    mean = np.full(12, NOISE_LEVEL)
    mean[[3, 7]] = 3.0
    mean[[2, 4, 6, 8]] = 1.0
    posing = ripple_sidebands(mean, rotation_hz=110.0, bin_hz=BIN_HZ)
    assert posing[[2, 4, 6, 8]].all()
    assert not posing[[3, 7]].any()


@pytest.mark.parametrize(("rotation_hz", "posing"), [(57.0, 2), (37.0, 3), (150.0, 0), (500.0, 0)])
def test_ripple_poses_where_its_distance_is_a_whole_number_of_orders(
    rotation_hz: float, posing: int
) -> None:
    mean = np.full(24, NOISE_LEVEL)
    mean[11] = 3.0
    found = np.flatnonzero(ripple_sidebands(mean, rotation_hz=rotation_hz, bin_hz=BIN_HZ)) - 11
    expected = {-posing, posing} if posing else set()
    assert expected <= set(found.tolist())
    # 100 and 120 Hz, two cells of 12 Hz about each
    assert all(76 <= abs(n) * rotation_hz <= 144 for n in found)


def test_an_order_beside_a_sideband_is_no_ripple() -> None:
    # 120 Hz from a loud order at 143.7 Hz a sideband ends just where the next order lies.
    mean = np.full(12, 1.0)
    mean[[0, 2, 4]] = 4.5
    assert not ripple_sidebands(mean, rotation_hz=143.7, bin_hz=BIN_HZ).any()


def test_an_order_as_loud_as_its_neighbour_is_no_ripple() -> None:
    assert not ripple_sidebands(np.full(12, 2.0), rotation_hz=110.0, bin_hz=BIN_HZ).any()


def test_a_machine_with_ripple_is_counted_right() -> None:
    # What the engine does: orders that pose are taken for noise. Half of 205 Hz is 102.5: the
    # sidebands at 100 Hz, a neper weaker than their tone, fall on the odd orders.
    rotation_hz = 205.0
    lines = dict(MACHINES["fan and commutator"])
    for order, level in list(lines.items()):
        lines[order - 0.5], lines[order + 0.5] = level - 1.0, level - 1.0
    scores = {}
    for ratio in RATIOS:
        mean = profile(lines, rotation_hz=rotation_hz, ratio=ratio)
        ripple = ripple_sidebands(mean, rotation_hz=ratio * rotation_hz, bin_hz=BIN_HZ)
        cleaned = np.where(ripple, NOISE_LEVEL, mean)
        scores[ratio] = idle_score(cleaned, steps=STEPS, rotation_hz=ratio * rotation_hz)
    assert best_ratio(scores) == 1.0
    fooled = idle_scores(lines, rotation_hz)
    assert scores[1.0] - scores[0.5] > fooled[1.0] - fooled[0.5] + MARGIN


def test_silence_favours_no_lines() -> None:
    silent = np.full(20, NOISE_LEVEL)
    heard = profile(MACHINES["imbalance alone"], rotation_hz=277.0)[:20]
    assert idle_score(silent, steps=STEPS, rotation_hz=277.0) < 0
    assert idle_score(heard, steps=STEPS, rotation_hz=277.0) > 0
