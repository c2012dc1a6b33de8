"""What it takes to cut: force and power by a linear model with a size effect.

Each edge in the wood pushes, per mm of cut width, with::

    F' = A + B h        (N/mm; h is the chip's thickness in mm)

so the specific force k_c = B + A/h grows as chips get thinner: the form that Kivimaa (1950),
Koch (1964) and fracture models of cutting share [memory]. A belongs to the edge (it grows as
the edge dulls), B to the chip. Both scale with density, and with the way the fibres run.

Constants are set for a hardwood of 690 kg/m3 cut along the grain by a fresh edge with some 20
degrees of rake at 12 % moisture, so that k_c is 32 N/mm2 at 0.1 mm and 21 N/mm2 at 0.3 mm: the
middle of what wood-machining texts give [memory]. Boards and plywood take 1.2 times what their
density alone would. Valid for chips of 0.02 to 0.5 mm at 5 to 60 m/s; two boards of one species
differ by 40 %, so take it for orders, not for decimals.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from analysis.cutting.bands import MaterialClass
from analysis.cutting.geometry import engagement_angle, require_positive
from analysis.cutting.materials import Material
from analysis.cutting.tools import Grain, Sharpness

_REFERENCE_DENSITY_KG_M3 = 690.0
_EDGE_N_MM = 1.65
_CHIP_N_MM2 = 15.5

_BEYOND_DENSITY = {
    MaterialClass.HARDWOOD: 1.0,
    MaterialClass.SOFTWOOD: 1.0,
    MaterialClass.PLYWOOD: 1.2,
    MaterialClass.MDF: 1.2,
    MaterialClass.PARTICLE_BOARD: 1.2,
    MaterialClass.HARD_PLASTIC: 2.0,
}
# End grain over along the grain: the tables printed with a spindle moulder give 2.4 to 2.5 at
# cutting angles of 60 to 80 degrees. Against the grain lies between (our choice).
_GRAIN = {Grain.ALONG: 1.0, Grain.AGAINST: 1.4, Grain.END: 2.5, Grain.NONE: 1.0}
# The same tables let the whole force grow to 1.3 times within 3 hours of work and 1.7 within 6;
# put on A alone, at a chip of 0.1 mm.
_EDGE_WEAR = {Sharpness.FRESH: 1.0, Sharpness.USED: 1.6, Sharpness.DULL: 2.4}
# Force across the cut over force along it [memory: grows as the edge rounds].
_THRUST_SHARE = {Sharpness.FRESH: 0.3, Sharpness.USED: 0.5, Sharpness.DULL: 0.8}


@dataclass(frozen=True, slots=True)
class WoodForce:
    """The two constants, N/mm and N/mm2, and the thrust over the cutting force."""

    edge_n_mm: float
    chip_n_mm2: float
    thrust_share: float

    def per_width(self, chip_mm: float) -> float:
        """Cutting force per mm of width, N/mm."""
        return self.edge_n_mm + self.chip_n_mm2 * chip_mm

    def specific(self, chip_mm: float) -> float:
        """Specific cutting force k_c, N/mm2."""
        return self.per_width(chip_mm) / chip_mm

    @property
    def resultant(self) -> float:
        """Whole force over cutting force."""
        return math.hypot(1.0, self.thrust_share)


def wood_force(*, material: Material, grain: Grain, sharpness: Sharpness) -> WoodForce:
    """Constants for a material; the grain counts in solid wood only.

    >>> from analysis.cutting.materials import material_named
    >>> fresh = wood_force(material=material_named("hardwood"), grain=Grain.ALONG,
    ...                    sharpness=Sharpness.FRESH)
    >>> round(fresh.specific(0.1), 6), round(fresh.specific(0.3), 6)
    (32.0, 21.0)
    """
    scale = material.density_kg_m3 / _REFERENCE_DENSITY_KG_M3 * _BEYOND_DENSITY[material.kind]
    if material.grained:
        scale *= _GRAIN[grain]
    return WoodForce(
        edge_n_mm=_EDGE_N_MM * scale * _EDGE_WEAR[sharpness],
        chip_n_mm2=_CHIP_N_MM2 * scale,
        thrust_share=_THRUST_SHARE[sharpness],
    )


def edges_in_cut(*, flutes: int, trim_allowance_mm: float, bit_diameter_mm: float) -> float:
    """How many edges push at once at the heaviest moment; at least 1, then the mean number."""
    angle = engagement_angle(trim_allowance_mm=trim_allowance_mm, bit_diameter_mm=bit_diameter_mm)
    return max(1.0, flutes * angle / (2 * math.pi))


def mean_power(
    *,
    force: WoodForce,
    feed_mm_s: float,
    spindle_rpm: float,
    flutes: int,
    trim_allowance_mm: float,
    cut_depth_mm: float,
    bit_diameter_mm: float,
) -> float:
    """Mean cutting power, W.

    Each edge does, per turn, the work of F' along its arc; with h = f_z sin(phi) the integral
    of h along the arc is f_z a_e, so::

        P = a_p (A z n/60 R phi_e + B a_e v_f)      (N mm/s = mW)

    With A = 0 this is k_c a_e a_p v_f, the handbook formula: 32 N/mm2 x 2 x 19 mm at 60 mm/s

    >>> particle = WoodForce(edge_n_mm=0.0, chip_n_mm2=32.0, thrust_share=0.3)
    >>> round(mean_power(force=particle, feed_mm_s=60, spindle_rpm=18_000, flutes=2,
    ...                  trim_allowance_mm=2, cut_depth_mm=19, bit_diameter_mm=12.7), 2)
    72.96
    """
    require_positive(feed=feed_mm_s, spindle_speed=spindle_rpm, cut_depth=cut_depth_mm)
    rubbed_mm_s = edge_path(
        spindle_rpm=spindle_rpm,
        flutes=flutes,
        trim_allowance_mm=trim_allowance_mm,
        bit_diameter_mm=bit_diameter_mm,
    )
    mw = cut_depth_mm * (
        force.edge_n_mm * rubbed_mm_s + force.chip_n_mm2 * trim_allowance_mm * feed_mm_s
    )
    return mw / 1000


def edge_path(
    *, spindle_rpm: float, flutes: int, trim_allowance_mm: float, bit_diameter_mm: float
) -> float:
    """Length of arc that all edges together cut each second, mm/s."""
    angle = engagement_angle(trim_allowance_mm=trim_allowance_mm, bit_diameter_mm=bit_diameter_mm)
    return flutes * spindle_rpm / 60 * angle * bit_diameter_mm / 2


def peak_force(
    *,
    force: WoodForce,
    feed_per_tooth_mm: float,
    thinning: float,
    edges: float,
    cut_depth_mm: float,
) -> float:
    """Greatest whole force on the bit, N: edges straight and cutting over the whole depth.

    Spiral flutes spread the load over the turn, so this is on the safe side.
    """
    chip_mm = feed_per_tooth_mm * thinning
    return cut_depth_mm * force.per_width(chip_mm) * force.resultant * edges
