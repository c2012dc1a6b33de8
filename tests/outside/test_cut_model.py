"""Force, power, bending and speed limits against figures published elsewhere.

Sources are named beside each check; "[memory]" marks what was not looked up again. Published
figures for one wood spread widely: a check asks for a value inside the published spread.
"""

import math
from typing import Any

import pytest

from analysis.coaching.plan import make_plan
from analysis.coaching.wording import Units
from analysis.cutting.bending import BODIES, Cantilever
from analysis.cutting.force import WoodForce, mean_power, wood_force
from analysis.cutting.limits import RIM_LIMIT_M_S, usual_top_speed
from analysis.cutting.materials import material_named
from analysis.cutting.tools import BitBody, BitStyle, Grain, Guide, Mounting, Sharpness
from tests.analysis.cutting.jobs import job

# A light planing or routing chip; the sources give their figures without a thickness, or for
# "about" so much.
USUAL_CHIPS_MM = (0.1, 0.15, 0.3)


def specific_force(
    name: str,
    chip_mm: float,
    grain: Grain = Grain.ALONG,
    sharpness: Sharpness = Sharpness.FRESH,
) -> float:
    return wood_force(material=material_named(name), grain=grain, sharpness=sharpness).specific(
        chip_mm
    )


@pytest.mark.parametrize("chip_mm", [0.10, 0.12])
def test_particle_board_peripheral_milling(chip_mm: float) -> None:
    """Palubicki 2021, Materials 14, 2208 (abstract): 32.0 N/mm2 slow, 37.6 N/mm2 fast.

    The abstract gives no chip thickness; a light milling chip is taken.
    """
    assert 32.0 <= specific_force("particle board", chip_mm) <= 37.6


# Unit cutting resistance printed in the operator's manual of a spindle moulder: 1.0, 1.4 and
# 1.85 for ripping pine at cutting angles of 60, 70 and 80 degrees (router bits have some 70),
# times a factor for the species. The manual says N/mm2, which no wood is soft enough for; read
# as kgf/mm2 the figures agree with every other source.
MOULDER_PINE_N_MM2 = (9.81 * 1.0, 9.81 * 1.85)


@pytest.mark.parametrize(
    ("name", "factor"),
    [
        ("Scots pine", 1.0),
        ("spruce", 1.0),
        ("larch", 1.1),
        ("poplar", 0.85),
        ("basswood", 0.8),
        ("birch", 1.25),
        ("white oak", 1.7),
        ("beech", 1.5),
    ],
)
def test_a_spindle_moulders_table_of_species(name: str, factor: float) -> None:
    low, high = (factor * value for value in MOULDER_PINE_N_MM2)
    assert low <= specific_force(name, 0.3) <= high


def test_a_spindle_moulders_factor_for_end_grain() -> None:
    """The same manual: end grain over ripping is 2.5, 2.5, 2.4 at 60, 70, 80 degrees."""
    ratio = specific_force("beech", 0.2, Grain.END) / specific_force("beech", 0.2)
    assert 2.4 <= ratio <= 2.5


@pytest.mark.parametrize(
    ("sharpness", "low", "high"),
    [(Sharpness.USED, 1.2, 1.4), (Sharpness.DULL, 1.5, 1.8)],
)
def test_a_spindle_moulders_growth_with_wear(sharpness: Sharpness, low: float, high: float) -> None:
    """The same manual: 1.2 to 1.4 after 1 to 3 hours, 1.5 to 1.7 after 4 to 6."""
    ratio = specific_force("beech", 0.1, sharpness=sharpness) / specific_force("beech", 0.1)
    assert low <= ratio <= high


@pytest.mark.parametrize(
    ("name", "low", "high"),
    [("softwood", 10, 25), ("hardwood", 20, 50), ("MDF", 25, 50), ("particle board", 24, 50)],
)
@pytest.mark.parametrize("chip_mm", USUAL_CHIPS_MM)
def test_classes_of_the_textbooks(name: str, low: float, high: float, chip_mm: float) -> None:
    """Specific force by class at 0.1 to 0.3 mm, N/mm2 [memory: wood-machining texts]."""
    assert low <= specific_force(name, chip_mm) <= high


def test_thin_chips_cost_half_as_much_again() -> None:
    """1.5 to 2 times at 0.05 mm against 0.1 mm [memory: Kivimaa, Koch]."""
    assert 1.5 <= specific_force("oak", 0.05) / specific_force("oak", 0.1) <= 2.0


def test_mdf_draws_more_than_spruce_and_power_rises_with_both_speeds() -> None:
    """Sedlecky & Gasparik 2017, BioRes 12(4) 7413 (abstract), edge milling."""

    def watts(name: str, feed_m_min: float, rim_m_s: float) -> float:
        diameter_mm = 125.0
        return mean_power(
            force=wood_force(
                material=material_named(name), grain=Grain.ALONG, sharpness=Sharpness.FRESH
            ),
            feed_mm_s=feed_m_min * 1000 / 60,
            spindle_rpm=rim_m_s * 60_000 / (math.pi * diameter_mm),
            flutes=2,
            trim_allowance_mm=1.0,
            cut_depth_mm=18.0,
            bit_diameter_mm=diameter_mm,
        )

    assert watts("MDF", 8, 40) > watts("spruce", 8, 40)
    for name in ("MDF", "spruce"):
        assert watts(name, 4, 40) < watts(name, 8, 40) < watts(name, 11, 40)
        assert watts(name, 8, 20) < watts(name, 8, 30) < watts(name, 8, 60)


def test_the_handbooks_power_formula() -> None:
    """P = k_c a_e a_p v_f / 60,000 (handbooks): 32.0 x 2 x 19 x 3,600 / 60,000 = 72.96 W."""
    for k_c, printed_w in ((32.0, 72.96), (37.6, 85.73)):
        power_w = mean_power(
            force=WoodForce(edge_n_mm=0.0, chip_n_mm2=k_c, thrust_share=0.0),
            feed_mm_s=60.0,
            spindle_rpm=18_000.0,
            flutes=2,
            trim_allowance_mm=2.0,
            cut_depth_mm=19.0,
            bit_diameter_mm=12.7,
        )
        assert power_w == pytest.approx(printed_w, abs=0.005)


def test_a_hand_pass_asks_little_of_a_router() -> None:
    """Common practice: a light trim does not load a 1 kW router; it is a fraction of it."""
    figures = make_plan(job(router={"input_power_w": 1000.0})).figures
    assert figures is not None
    assert figures.power_w is not None
    assert figures.motor_power_w is not None
    assert 0.02 < figures.power_w / 1000 < 0.2
    assert figures.power_w < figures.motor_power_w


def test_a_steel_shank_beside_a_carbide_one() -> None:
    """Handbook cantilever, F 50 N, L 25.4 mm, E 206 GPa: 16.61 um at 6.35 mm, 1.038 at 12.7."""
    for d_mm, printed_um in ((6.35, 16.61), (12.7, 1.038)):
        rod = Cantilever(
            diameter_mm=d_mm,
            shank_mm=d_mm,
            stick_out_mm=25.4,
            fluted_mm=1e-9,
            load_from_tip_mm=0.0,
            body=BODIES[BitBody.BRAZED],
        )
        assert 50e3 * rod.deflection_per_n() == pytest.approx(printed_um, rel=5e-4)


# Highest speed by diameter in inches: a table on several hobby pages, one with ranges, and a
# stricter one of recommended speeds.
HOBBY_TABLE = ((1.0, 24_000), (2.0, 18_000), (2.5, 16_000), (3.5, 12_000))
RANGED_TABLE = ((1.0, 24_000), (2.0, 22_000), (2.5, 16_000), (3.5, 12_000))


@pytest.mark.parametrize("table", [HOBBY_TABLE, RANGED_TABLE])
def test_never_above_the_common_tables(table: tuple[tuple[float, int], ...]) -> None:
    for up_to_inch, rpm in table:
        for share in (0.6, 0.9, 0.999):
            assert usual_top_speed(bit_diameter_mm=25.4 * up_to_inch * share) <= 24_000
        assert usual_top_speed(bit_diameter_mm=25.4 * up_to_inch * 0.999) <= rpm


def test_rim_speeds_of_hand_fed_tools() -> None:
    """40 to 70 m/s is the working range of tools marked for hand feed under EN 847-1 [memory].

    Bits of an inch and less at 24,000 rpm stay below it; no unmarked bit is let above it.
    """
    assert RIM_LIMIT_M_S == 70
    assert math.pi * 25.4 * 24_000 / 60_000 < 40
    for diameter_mm in range(3, 120):
        rpm = usual_top_speed(bit_diameter_mm=diameter_mm)
        assert math.pi * diameter_mm * rpm / 60_000 < 70


def corner_plan(diameter_mm: float, radius_mm: float) -> Any:
    return make_plan(
        job(
            bit={"diameter_mm": diameter_mm, "style": BitStyle.STRAIGHT, "guide": Guide.TIP},
            work={"inside_radius_mm": radius_mm},
        ),
        units=Units.INCH,
    )


def test_a_seven_eighths_bit_cannot_reach_quarter_inch_corners() -> None:
    """Common practice: the bit's radius must not exceed the corner's."""
    assert not corner_plan(25.4 * 7 / 8, 6.35).will_do
    assert corner_plan(25.4 * 1 / 2, 6.35).will_do
    assert corner_plan(25.4 * 1 / 4, 6.35).will_do


def test_a_half_inch_spiral_is_advised_sixteen_to_eighteen_thousand() -> None:
    """Common practice for spirals; and above 27,000 nothing but a hurried hand still cuts."""
    plan = make_plan(job())
    assert plan.start is not None
    assert plan.work_up_to is not None
    assert plan.start.spindle_rpm <= 16_000
    assert plan.work_up_to.spindle_rpm >= 18_000
    fast = job(router={"plate_range_rpm": (8_000.0, 30_000.0)}, bit={"max_rpm": 30_000.0})
    feeds = make_plan(fast).window.feeds_at(27_000)
    assert feeds is not None
    assert feeds[0] > 60


def test_a_sixteenth_of_trim_is_far_from_any_load_limit() -> None:
    """Common practice: 1/16 in is a light trim for a half-inch bit."""
    plan = make_plan(job(bit={"sharpness": Sharpness.USED}))
    load = {"overloading", "breaking the bit", "bending the bit", "motor power"}
    rooms = {room.limit.name: room.share for room in plan.rooms}
    assert load <= set(rooms)
    assert min(rooms[name] for name in load) > 0.5


def test_an_up_cut_bit_in_a_table_holds_the_work_down_and_a_down_cut_lifts_it() -> None:
    """Common practice: down-cut spirals lift the work off a router table."""
    for style, lifts in ((BitStyle.UP_CUT, False), (BitStyle.DOWN_CUT, True)):
        plan = make_plan(job(bit={"style": style}, router={"mounting": Mounting.TABLE}))
        assert any(note.topic == "lift" for note in plan.notes) is lifts
