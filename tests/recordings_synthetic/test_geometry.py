"""The bit on the wood, against brute-force circles and a simulated row of cuts."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from recordings_synthetic.geometry import approach_mm, arcs, chip_per_tooth_mm


@pytest.mark.parametrize(
    ("diameter", "trim", "travel"),
    # Exact circular geometry, L + sqrt(a_e (D - a_e)) for L = 600 mm.
    [(12.7, 1.5875, 604.200), (12.7, 2.0, 604.626)],
)
def test_contact_travel(diameter: float, trim: float, travel: float) -> None:
    assert 600 + approach_mm(diameter, trim) == pytest.approx(travel, abs=5e-4)


@pytest.mark.parametrize(
    ("share", "engagement_deg", "thinning"),
    # h_max / f_z = sin(arccos(1 - 2 a_e / D)), exact.
    [(0.5, 90.0, 1.0), (0.25, 60.0, 0.86603), (0.125, 41.410, 0.66144), (0.05, 25.842, 0.43589)],
)
def test_engagement_angle(share: float, engagement_deg: float, thinning: float) -> None:
    enter, leave = arcs(
        np.array([50.0]), np.ones(1), edge_length_mm=100, bit_diameter_mm=10,
        trim_allowance_mm=10 * share,
    )  # fmt: skip
    assert enter[0] == 0
    assert np.degrees(leave[0]) == pytest.approx(engagement_deg, abs=5e-4)
    assert np.sin(leave[0]) == pytest.approx(thinning, abs=5e-6)


@given(
    diameter=st.floats(3, 28),
    share=st.floats(0.02, 0.5),
    along=st.floats(0, 1),
)
def test_arcs_are_where_the_circle_lies_in_the_wood(
    diameter: float, share: float, along: float
) -> None:
    edge, trim = 40.0, diameter * share
    travel = edge + approach_mm(diameter, trim)
    enter, leave = arcs(
        np.array([along * travel]), np.ones(1), edge_length_mm=edge, bit_diameter_mm=diameter,
        trim_allowance_mm=trim,
    )  # fmt: skip
    # Walk round the leading half of the circle and ask at each point whether there is wood.
    angle = np.linspace(0, np.pi / 2, 20_001)
    x = along * travel - approach_mm(diameter, trim) + diameter / 2 * np.sin(angle)
    y = diameter / 2 * (1 - np.cos(angle))
    wood = (x >= 0) & (x <= edge) & (y <= trim)
    step = angle[1]
    assert leave[0] - enter[0] == pytest.approx(wood.sum() * step, abs=3 * step)
    if wood.sum() > 3:
        assert enter[0] == pytest.approx(angle[wood][0], abs=2 * step)
        assert leave[0] == pytest.approx(angle[wood][-1], abs=2 * step)


@given(
    feed=st.floats(0.005, 0.3),
    stand_out=st.lists(st.floats(-0.06, 0), min_size=1, max_size=4),
)
def test_runout_against_a_row_of_cuts(feed: float, stand_out: list[float]) -> None:
    teeth = len(stand_out)
    surface, taken = -np.inf, np.zeros(teeth)
    # Each tooth in turn comes feed farther; it takes what stands between it and the surface.
    for pass_by in range(60 * teeth):
        reach = pass_by * feed + stand_out[pass_by % teeth]
        taken[pass_by % teeth] = max(0.0, reach - surface)
        surface = max(surface, reach)
    chips = chip_per_tooth_mm(np.array([feed]), tuple(stand_out))[:, 0]
    assert chips == pytest.approx(taken, abs=1e-9)
    assert chips.sum() == pytest.approx(teeth * feed, rel=1e-9)
