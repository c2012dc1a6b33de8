"""The bit as a stepped cantilever: clamped in the collet, a shank, then the fluted part.

The cutting force acts at the middle of the cut. Taking it as a point load there gives the
moment of the spread load exactly, everywhere between the cut and the collet.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from analysis.cutting.geometry import require_positive
from analysis.cutting.tools import BitBody


@dataclass(frozen=True, slots=True)
class BodyStrength:
    """Young's modulus and strength, N/mm2; the safety factor; fluted core over diameter."""

    modulus_n_mm2: float
    strength_n_mm2: float
    safety: float
    core_share: float

    @property
    def allowed_n_mm2(self) -> float:
        return self.strength_n_mm2 / self.safety


BODIES = {
    # Material data sheets: modulus 530 to 700 GPa, flexural strength 1830 N/mm2. Brittle and
    # struck thousands of times a second: a factor of 4 (our choice). An equivalent diameter of
    # 0.8 for fluted mills is usual [memory].
    BitBody.CARBIDE: BodyStrength(600_000.0, 1830.0, 4.0, 0.8),
    # Tool-body steel: modulus 206 GPa, yield some 700 N/mm2 [memory]; gullets eat into the core.
    BitBody.BRAZED: BodyStrength(206_000.0, 700.0, 3.0, 0.7),
    # High-speed steel: 210 GPa, bending strength above 2,500 N/mm2 [memory].
    BitBody.STEEL: BodyStrength(210_000.0, 2500.0, 4.0, 0.75),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Cantilever:
    """A bit clamped in a collet.

    Attributes
    ----------
    stick_out_mm : float
        Collet to tip.
    fluted_mm : float
        Length of the fluted part, at the tip.
    load_from_tip_mm : float
        Where the force acts: half the depth of a cut taken with the tip.
    """

    diameter_mm: float
    shank_mm: float
    stick_out_mm: float
    fluted_mm: float
    load_from_tip_mm: float
    body: BodyStrength

    def __post_init__(self) -> None:
        require_positive(
            bit_diameter=self.diameter_mm,
            shank=self.shank_mm,
            stick_out=self.stick_out_mm,
            cutting_length=self.fluted_mm,
        )

    @property
    def fluted_arm_mm(self) -> float:
        """From the load to where the flutes end."""
        return max(0.0, min(self.fluted_mm, self.stick_out_mm) - self.load_from_tip_mm)

    @property
    def whole_arm_mm(self) -> float:
        """From the load to the collet."""
        return max(0.0, self.stick_out_mm - self.load_from_tip_mm)

    @property
    def core_mm(self) -> float:
        return self.body.core_share * self.diameter_mm

    def stress_per_n(self) -> float:
        """Greatest bending stress per newton, N/mm2/N: where the flutes end, or at the collet."""
        return max(
            32 * self.fluted_arm_mm / (math.pi * self.core_mm**3),
            32 * self.whole_arm_mm / (math.pi * self.shank_mm**3),
        )

    def deflection_per_n(self) -> float:
        """Deflection at the load per newton, mm/N.

        Castigliano over the two parts: a**3/(3 E I_f) + (b**3 - a**3)/(3 E I_s), with a and b
        the arms to the end of the flutes and to the collet. A plain 6.35 mm carbide rod, 25.4 mm
        out, under 50 N at its tip bends by 5.703 um:

        >>> rod = Cantilever(diameter_mm=6.35, shank_mm=6.35, stick_out_mm=25.4, fluted_mm=1e-9,
        ...                  load_from_tip_mm=0.0, body=BODIES[BitBody.CARBIDE])
        >>> round(50 * rod.deflection_per_n() * 1000, 3), round(50 * rod.stress_per_n(), 2)
        (5.703, 50.52)
        """
        near, far = self.fluted_arm_mm**3, self.whole_arm_mm**3
        return (
            near / _second_moment(self.core_mm) + (far - near) / _second_moment(self.shank_mm)
        ) / (3 * self.body.modulus_n_mm2)


def _second_moment(diameter_mm: float) -> float:
    return math.pi * diameter_mm**4 / 64
