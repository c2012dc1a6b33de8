"""Print the cut model beside published figures: source, published, computed.

Run from the top of the project: ``python -m tests.benchmarks.cut_model_table``
"""

from analysis.cutting.bending import BODIES, Cantilever
from analysis.cutting.force import WoodForce, mean_power, wood_force
from analysis.cutting.geometry import chip_thinning, feed_per_tooth, rim_speed
from analysis.cutting.materials import material_named
from analysis.cutting.tools import BitBody, Grain, Sharpness

INCH = 25.4


def k_c(name: str, chip_mm: float, grain: Grain = Grain.ALONG) -> float:
    """Specific force of a fresh edge, N/mm2."""
    return wood_force(
        material=material_named(name), grain=grain, sharpness=Sharpness.FRESH
    ).specific(chip_mm)


def chip_load_inch(inch_per_min: float, rpm: float, flutes: int) -> float:
    """Chip load from a feed in inches a minute."""
    return feed_per_tooth(feed_mm_s=inch_per_min * INCH / 60, spindle_rpm=rpm, flutes=flutes) / INCH


def rows() -> list[tuple[str, str, str]]:
    """One row a check."""
    moulder = (9.81 * 1.0, 9.81 * 1.85)
    rod = Cantilever(
        diameter_mm=6.35,
        shank_mm=6.35,
        stick_out_mm=25.4,
        fluted_mm=1e-9,
        load_from_tip_mm=0.0,
        body=BODIES[BitBody.CARBIDE],
    )
    handbook_w = mean_power(
        force=WoodForce(edge_n_mm=0.0, chip_n_mm2=32.0, thrust_share=0.0),
        feed_mm_s=60,
        spindle_rpm=18_000,
        flutes=2,
        trim_allowance_mm=2,
        cut_depth_mm=19,
        bit_diameter_mm=12.7,
    )
    table = [
        (
            "chip load, maker C: 250 in/min, 18,000, 2",
            "0.007 in",
            f"{chip_load_inch(250, 18_000, 2):.5f} in",
        ),
        (
            "chip load, merchant: 600 in/min, 18,000, 2",
            "0.017 in",
            f"{chip_load_inch(600, 18_000, 2):.5f} in",
        ),
        (
            "thinning at a tenth of the diameter",
            "1/1.67",
            f"1/{1 / chip_thinning(trim_allowance_mm=1, bit_diameter_mm=10):.4f}",
        ),
        (
            "rim speed, 3-1/2 in at 10,000, magazine",
            "104 mph",
            f"{rim_speed(bit_diameter_mm=88.9, spindle_rpm=10_000) / 0.44704:.1f} mph",
        ),
        ("power, handbook formula, 32 N/mm2, 2 x 19 mm", "72.96 W", f"{handbook_w:.2f} W"),
        (
            "rod 6.35 mm, 25.4 mm out, 50 N, handbook",
            "5.703 um",
            f"{50e3 * rod.deflection_per_n():.3f} um",
        ),
        (
            "k_c particle board, Palubicki 2021",
            "32.0-37.6 N/mm2",
            f"{k_c('particle board', 0.11):.1f} at 0.11 mm",
        ),
    ]
    for name, factor in (("Scots pine", 1.0), ("birch", 1.25), ("beech", 1.5), ("white oak", 1.7)):
        low, high = (factor * value for value in moulder)
        table.append(
            (
                f"k_c {name}, moulder's manual",
                f"{low:.1f}-{high:.1f} N/mm2",
                f"{k_c(name, 0.3):.1f} at 0.3 mm",
            )
        )
    end_grain = k_c("beech", 0.2, Grain.END) / k_c("beech", 0.2)
    thin = k_c("oak", 0.05) / k_c("oak", 0.1)
    table += [
        ("end grain over ripping, moulder's manual", "2.4-2.5", f"{end_grain:.2f}"),
        ("k_c softwood at 0.1 mm, texts [memory]", "10-25 N/mm2", f"{k_c('softwood', 0.1):.1f}"),
        ("k_c hardwood at 0.1 mm, texts [memory]", "20-50 N/mm2", f"{k_c('hardwood', 0.1):.1f}"),
        ("k_c MDF at 0.1 mm, texts [memory]", "25-50 N/mm2", f"{k_c('MDF', 0.1):.1f}"),
        ("k_c at 0.05 over 0.1 mm, Kivimaa [memory]", "1.5-2", f"{thin:.2f}"),
    ]
    return table


if __name__ == "__main__":
    print(f"{'source':<48}{'published':>18}{'computed':>20}")
    for source, published, computed in rows():
        print(f"{source:<48}{published:>18}{computed:>20}")
