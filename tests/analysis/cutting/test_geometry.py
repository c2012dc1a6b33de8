"""Exact geometry against numerical integration, limiting cases and identities."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq, minimize_scalar

from analysis.cutting import geometry
from analysis.errors import InputError

diameters = st.floats(1.0, 100.0)
shares = st.floats(1e-6, 1.0)
EXACT = 1e-9


def arc_integral(share: float) -> tuple[float, float]:
    """(greatest, mean) of sin over the arc from 0 to arccos(1 - 2 share), by quadrature."""
    end = math.acos(1 - 2 * share)
    area, _ = quad(math.sin, 0, end, epsabs=0, epsrel=1e-12)
    top = minimize_scalar(lambda phi: -math.sin(phi), bounds=(0, end), options={"xatol": 1e-12})
    return max(-top.fun, math.sin(end)), area / end


@given(diameter_mm=diameters, share=st.floats(1e-4, 1.0))
def test_chip_thickness_agrees_with_integration_over_the_arc(
    diameter_mm: float, share: float
) -> None:
    cut = {"trim_allowance_mm": share * diameter_mm, "bit_diameter_mm": diameter_mm}
    share = share * diameter_mm / diameter_mm  # as it is after the round trip through mm
    greatest, mean = arc_integral(share)
    # acos(1 - 2 share) in the oracle loses digits as share shrinks: eps / (2 share).
    tolerance = max(EXACT, 1e-16 / share)
    assert geometry.chip_thinning(**cut) == pytest.approx(greatest, rel=tolerance)
    assert geometry.mean_chip_share(**cut) == pytest.approx(mean, rel=tolerance)


@pytest.mark.parametrize(
    ("share", "angle_deg", "thinning", "mean"),
    [(0.5, 90.0, 1.0, 2 / math.pi), (1.0, 180.0, 1.0, 2 / math.pi)],
)
def test_half_and_whole_diameter(
    share: float, angle_deg: float, thinning: float, mean: float
) -> None:
    cut = {"trim_allowance_mm": 12.7 * share, "bit_diameter_mm": 12.7}
    assert math.degrees(geometry.engagement_angle(**cut)) == pytest.approx(angle_deg, rel=EXACT)
    assert geometry.chip_thinning(**cut) == pytest.approx(thinning, rel=EXACT)
    assert geometry.mean_chip_share(**cut) == pytest.approx(mean, rel=EXACT)


@given(diameter_mm=diameters, share=st.floats(1e-12, 1e-8))
def test_thin_trims_keep_every_digit(diameter_mm: float, share: float) -> None:
    """For a_e -> 0: phi and h_max/f_z -> 2 sqrt(r), h_m/f_z -> sqrt(r); the next terms are ~ r."""
    cut = {"trim_allowance_mm": share * diameter_mm, "bit_diameter_mm": diameter_mm}
    small = 2 * math.sqrt(share)
    assert geometry.engagement_angle(**cut) == pytest.approx(small, rel=share + 1e-14)
    assert geometry.chip_thinning(**cut) == pytest.approx(small, rel=share + 1e-14)
    assert geometry.mean_chip_share(**cut) == pytest.approx(small / 2, rel=share + 1e-14)


def first_contact(allowance_mm: float, diameter_mm: float) -> float:
    """Distance of the axis from the end face when the circle first touches the wood.

    The wood is x >= 0, y from -R to -R + a_e (the finished line touches the circle). For each
    height y the circle reaches sqrt(R^2 - y^2) ahead; the furthest reach touches first.
    """
    radius = diameter_mm / 2
    heights = minimize_scalar(
        lambda y: -math.sqrt(max(0.0, radius**2 - y**2)),
        bounds=(-radius, -radius + allowance_mm),
        method="bounded",
        options={"xatol": 1e-12},
    )
    ends = (-radius, -radius + allowance_mm)
    return max(-heights.fun, *(math.sqrt(max(0.0, radius**2 - y**2)) for y in ends))


@given(diameter_mm=diameters, share=st.floats(1e-3, 1.0))
def test_contact_starts_where_the_circle_touches(diameter_mm: float, share: float) -> None:
    allowance_mm = share * diameter_mm
    travel_mm = geometry.contact_travel(
        edge_length_mm=600, trim_allowance_mm=allowance_mm, bit_diameter_mm=diameter_mm
    )
    assert travel_mm - 600 == pytest.approx(first_contact(allowance_mm, diameter_mm), abs=1e-6)


@given(diameter_mm=diameters, share=st.floats(1e-4, 0.9))
def test_cusp_is_where_two_circles_cross(diameter_mm: float, share: float) -> None:
    """Two cutting circles a pitch apart cross half-way; the oracle finds the crossing by root."""
    pitch_mm = share * diameter_mm
    radius = diameter_mm / 2

    def gap(height: float) -> float:
        return radius**2 - (radius - height) ** 2 - (pitch_mm / 2) ** 2

    crossing = brentq(gap, 0, radius, xtol=1e-15, rtol=1e-14)
    height = geometry.cusp_height(mark_pitch_mm=pitch_mm, bit_diameter_mm=diameter_mm)
    assert height == pytest.approx(crossing, rel=1e-7, abs=1e-14)


@given(
    feed_mm_s=st.floats(1, 500),
    spindle_rpm=st.floats(5_000, 40_000),
    flutes=st.integers(1, 6),
)
def test_feed_and_feed_per_tooth_undo_each_other(
    feed_mm_s: float, spindle_rpm: float, flutes: int
) -> None:
    chip_load_mm = geometry.feed_per_tooth(
        feed_mm_s=feed_mm_s, spindle_rpm=spindle_rpm, flutes=flutes
    )
    back = geometry.feed_for(feed_per_tooth_mm=chip_load_mm, spindle_rpm=spindle_rpm, flutes=flutes)
    assert back == pytest.approx(feed_mm_s, rel=1e-12)


@given(diameter_mm=diameters, share=st.floats(1e-6, 0.4999))
def test_allowance_for_thinning_undoes_thinning(diameter_mm: float, share: float) -> None:
    allowance_mm = share * diameter_mm
    thinning = geometry.chip_thinning(trim_allowance_mm=allowance_mm, bit_diameter_mm=diameter_mm)
    back = geometry.allowance_for_thinning(thinning=thinning, bit_diameter_mm=diameter_mm)
    # Near half the diameter the thinning is flat, so a rounding error of eps there moves the
    # share by sqrt(eps)/2 at most.
    assert back / diameter_mm == pytest.approx(share, rel=1e-9, abs=1e-8)


@given(diameter_mm=diameters, share=shares)
def test_the_edge_never_takes_more_than_it_advances(diameter_mm: float, share: float) -> None:
    cut = {"trim_allowance_mm": share * diameter_mm, "bit_diameter_mm": diameter_mm}
    assert 0 < geometry.mean_chip_share(**cut) <= geometry.chip_thinning(**cut) <= 1


@pytest.mark.parametrize("allowance_mm", [0.0, -1.0, math.nan, math.inf])
def test_an_impossible_allowance_is_refused(allowance_mm: float) -> None:
    with pytest.raises(InputError, match="trim allowance must be a finite number above 0"):
        geometry.chip_thinning(trim_allowance_mm=allowance_mm, bit_diameter_mm=12.7)


def test_an_allowance_larger_than_the_bit_is_refused() -> None:
    with pytest.raises(InputError, match=r"at most the bit's diameter \(12\.7 mm\)"):
        geometry.chip_thinning(trim_allowance_mm=13, bit_diameter_mm=12.7)


def test_marks_that_do_not_meet_are_refused() -> None:
    with pytest.raises(InputError, match="mark pitch"):
        geometry.cusp_height(mark_pitch_mm=13, bit_diameter_mm=12.7)
