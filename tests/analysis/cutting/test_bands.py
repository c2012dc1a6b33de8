"""The band in force: its rows, the gaps between them, and the user's own."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.cutting.bands import (
    Band,
    BandSource,
    MaterialClass,
    given_band,
    hand_feed_band,
)
from analysis.cutting.materials import MATERIALS, material_named
from analysis.errors import InputError


@pytest.mark.parametrize(
    ("diameter_mm", "kind", "low_mm", "high_mm"),
    [
        (3.175, MaterialClass.HARDWOOD, 0.030, 0.070),
        (6.35, MaterialClass.HARDWOOD, 0.040, 0.100),
        (8.0, MaterialClass.MDF, 0.050, 0.125),
        (9.525, MaterialClass.SOFTWOOD, 0.055, 0.170),
        (12.7, MaterialClass.HARD_PLASTIC, 0.060, 0.150),
        (22.2, MaterialClass.PLYWOOD, 0.055, 0.200),
        (2.0, MaterialClass.HARDWOOD, 0.030, 0.070),
        (5.5, MaterialClass.HARDWOOD, 0.035, 0.085),  # half-way between two rows
    ],
)
def test_rows(diameter_mm: float, kind: MaterialClass, low_mm: float, high_mm: float) -> None:
    band = hand_feed_band(bit_diameter_mm=diameter_mm, material=kind, buried=False)
    assert (band.low_mm, band.high_mm) == pytest.approx((low_mm, high_mm), rel=1e-12)
    assert band.source is BandSource.STARTING_VALUE


# The starting values, as they were agreed on: h_max in mm for bits of 4, 7, 12 and 20 mm.
TABLE = {
    MaterialClass.HARDWOOD: "0.030-0.070 0.040-0.100 0.050-0.150 0.050-0.180",
    MaterialClass.SOFTWOOD: "0.035-0.080 0.045-0.115 0.055-0.170 0.055-0.200",
    MaterialClass.PLYWOOD: "0.035-0.080 0.045-0.115 0.055-0.170 0.055-0.200",
    MaterialClass.MDF: "0.040-0.090 0.050-0.125 0.065-0.190 0.065-0.220",
    MaterialClass.PARTICLE_BOARD: "0.040-0.090 0.050-0.125 0.065-0.190 0.065-0.220",
    MaterialClass.HARD_PLASTIC: "0.040-0.080 0.050-0.110 0.060-0.150 0.060-0.180",
}


@pytest.mark.parametrize("kind", MaterialClass)
def test_the_whole_table(kind: MaterialClass) -> None:
    for diameter_mm, printed in zip((4, 7, 12, 20), TABLE[kind].split(), strict=True):
        band = hand_feed_band(bit_diameter_mm=diameter_mm, material=kind, buried=False)
        assert f"{band.low_mm:.3f}-{band.high_mm:.3f}" == printed


@given(
    diameter_mm=st.floats(0.5, 100),
    step_mm=st.floats(0, 1e-6),
    kind=st.sampled_from(MaterialClass),
    buried=st.booleans(),
)
def test_no_jump_anywhere(
    diameter_mm: float, step_mm: float, kind: MaterialClass, buried: bool
) -> None:
    """The steepest row-to-row slope is 0.055 mm over 1 mm of diameter."""
    here = hand_feed_band(bit_diameter_mm=diameter_mm, material=kind, buried=buried)
    there = hand_feed_band(bit_diameter_mm=diameter_mm + step_mm, material=kind, buried=buried)
    assert here.low_mm <= there.low_mm <= here.low_mm + 0.1 * step_mm + 1e-15
    assert here.high_mm <= there.high_mm + 1e-15 <= here.high_mm + 0.1 * step_mm + 1e-14


@pytest.mark.parametrize("diameter_mm", [6.35, 12.7, 25.4])
def test_a_buried_bit_halves_the_top(diameter_mm: float) -> None:
    open_band, buried = (
        hand_feed_band(bit_diameter_mm=diameter_mm, material=MaterialClass.HARDWOOD, buried=flag)
        for flag in (False, True)
    )
    assert buried.high_mm == open_band.high_mm / 2
    assert buried.low_mm == open_band.low_mm
    assert "buried" in buried.basis


def test_a_band_given_by_the_user_is_taken_as_it_stands() -> None:
    band = given_band(low_mm=0.08, high_mm=0.15)
    assert (band.low_mm, band.high_mm, band.source) == (0.08, 0.15, BandSource.GIVEN)


def test_a_band_upside_down_is_refused() -> None:
    with pytest.raises(InputError, match="low end first"):
        Band(low_mm=0.15, high_mm=0.08, basis="", source=BandSource.GIVEN)


@pytest.mark.parametrize(
    ("said", "name"),
    [
        ("Oak", "white oak"),
        ("hard-maple", "hard maple"),
        ("particleboard", "particle board"),
        ("PARTICLE BOARD", "particle board"),
        ("mdf", "MDF"),
        ("hardwood", "hardwood"),
    ],
)
def test_materials_by_the_names_people_use(said: str, name: str) -> None:
    assert material_named(said).name == name


def test_an_unknown_material_offers_the_nearest() -> None:
    with pytest.raises(InputError, match="beech"):
        material_named("beach")


def test_every_class_is_a_material_of_its_own() -> None:
    assert {kind.value for kind in MaterialClass} <= {material.name for material in MATERIALS}
