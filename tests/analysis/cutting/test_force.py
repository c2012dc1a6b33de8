"""Force and power: the closed form against stepping the edges through the wood."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.cutting.force import WoodForce, edges_in_cut, mean_power, peak_force, wood_force
from analysis.cutting.materials import material_named
from analysis.cutting.tools import Grain, Sharpness


def stepped_power(
    force: WoodForce, feed: float, rpm: float, z: int, a_e: float, a_p: float, d: float
) -> float:
    """Mean over one turn of the sum over edges of F'(h) a_p v_c, in small steps of angle."""
    steps = 20_000
    end = math.acos(1 - 2 * a_e / d)
    f_z = 60 * feed / (rpm * z)
    speed_mm_s = math.pi * d * rpm / 60
    work = 0.0
    for step in range(steps):
        phi = (step + 0.5) / steps * end
        work += force.per_width(f_z * math.sin(phi)) * end / steps
    return a_p * speed_mm_s * z * work / (2 * math.pi) / 1000


@given(
    share=st.floats(0.01, 1.0),
    diameter_mm=st.floats(3, 50),
    flutes=st.integers(1, 4),
    feed_mm_s=st.floats(15, 120),
    spindle_rpm=st.floats(8_000, 30_000),
)
def test_mean_power_is_the_work_of_every_edge(
    share: float, diameter_mm: float, flutes: int, feed_mm_s: float, spindle_rpm: float
) -> None:
    force = WoodForce(edge_n_mm=1.65, chip_n_mm2=15.5, thrust_share=0.3)
    closed = mean_power(
        force=force,
        feed_mm_s=feed_mm_s,
        spindle_rpm=spindle_rpm,
        flutes=flutes,
        trim_allowance_mm=share * diameter_mm,
        cut_depth_mm=19,
        bit_diameter_mm=diameter_mm,
    )
    stepped = stepped_power(
        force, feed_mm_s, spindle_rpm, flutes, share * diameter_mm, 19, diameter_mm
    )
    # The midpoint rule is off by (step**2)/24 of the chip's share: 1e-9 here.
    assert closed == pytest.approx(stepped, rel=1e-7)


@pytest.mark.parametrize("name", ["hardwood", "softwood", "MDF", "acrylic"])
def test_thin_chips_cost_more(name: str) -> None:
    force = wood_force(material=material_named(name), grain=Grain.ALONG, sharpness=Sharpness.FRESH)
    costs = [force.specific(h) for h in (0.02, 0.05, 0.1, 0.2, 0.5)]
    assert costs == sorted(costs, reverse=True)


def test_grain_counts_in_solid_wood_only() -> None:
    def force(name: str, grain: Grain) -> float:
        return wood_force(
            material=material_named(name), grain=grain, sharpness=Sharpness.FRESH
        ).per_width(0.1)

    assert force("beech", Grain.END) == pytest.approx(2.5 * force("beech", Grain.ALONG))
    assert force("MDF", Grain.END) == force("MDF", Grain.ALONG)


def test_a_dull_edge_pushes_harder_and_more_across() -> None:
    fresh, dull = (
        wood_force(material=material_named("oak"), grain=Grain.ALONG, sharpness=state)
        for state in (Sharpness.FRESH, Sharpness.DULL)
    )
    assert dull.per_width(0.1) > fresh.per_width(0.1)
    assert dull.resultant > fresh.resultant
    assert dull.chip_n_mm2 == fresh.chip_n_mm2


@pytest.mark.parametrize(
    ("flutes", "share", "edges"), [(2, 0.125, 1.0), (2, 1.0, 1.0), (4, 1.0, 2.0), (1, 0.1, 1.0)]
)
def test_edges_in_the_wood_at_once(flutes: int, share: float, edges: float) -> None:
    assert edges_in_cut(
        flutes=flutes, trim_allowance_mm=10 * share, bit_diameter_mm=10
    ) == pytest.approx(edges)


def test_peak_force_by_hand() -> None:
    """0.1 mm per tooth thinned to 0.06, A 1.65, B 15.5, depth 19: (1.65 + 0.93) x 19 x 1.044."""
    force = WoodForce(edge_n_mm=1.65, chip_n_mm2=15.5, thrust_share=0.3)
    peak = peak_force(force=force, feed_per_tooth_mm=0.1, thinning=0.6, edges=1.0, cut_depth_mm=19)
    assert peak == pytest.approx(51.18, abs=0.01)
