"""The stepped cantilever against a numerical beam solution and plain rods."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from analysis.cutting.bending import BODIES, Cantilever
from analysis.cutting.tools import BitBody


def rod(**changes: float) -> Cantilever:
    values = {
        "diameter_mm": 8.0,
        "shank_mm": 6.35,
        "stick_out_mm": 38.0,
        "fluted_mm": 22.0,
        "load_from_tip_mm": 6.0,
    }
    return Cantilever(**(values | changes), body=BODIES[BitBody.CARBIDE])


def shot_deflection(beam: Cantilever) -> float:
    """Integrate y'' = M/(E I) from the clamp (y = y' = 0) to the load, under 1 N."""
    step = beam.stick_out_mm - beam.fluted_mm
    reach = beam.stick_out_mm - beam.load_from_tip_mm
    modulus = beam.body.modulus_n_mm2

    def bend(state: NDArray[np.float64], start: float, end: float, d: float) -> Any:
        """Carry (deflection, slope) along a piece of one diameter."""
        if end <= start:
            return state
        stiffness = modulus * math.pi * d**4 / 64
        return solve_ivp(
            lambda x, y: [y[1], (reach - x) / stiffness],
            (start, end),
            state,
            rtol=1e-10,
            atol=1e-18,
        ).y[:, -1]

    at_step = bend(np.zeros(2), 0.0, min(step, reach), beam.shank_mm)
    return float(bend(at_step, min(step, reach), reach, beam.core_mm)[0])


@given(
    diameter_mm=st.floats(3, 25),
    shank_mm=st.floats(3, 12.7),
    stick_out_mm=st.floats(20, 70),
    fluted_share=st.floats(0.1, 0.95),
    load_share=st.floats(0.0, 0.9),
)
def test_deflection_agrees_with_a_numerical_beam(
    diameter_mm: float,
    shank_mm: float,
    stick_out_mm: float,
    fluted_share: float,
    load_share: float,
) -> None:
    beam = rod(
        diameter_mm=diameter_mm,
        shank_mm=shank_mm,
        stick_out_mm=stick_out_mm,
        fluted_mm=fluted_share * stick_out_mm,
        load_from_tip_mm=load_share * stick_out_mm,
    )
    assert beam.deflection_per_n() == pytest.approx(shot_deflection(beam), rel=1e-6)


@given(where=st.floats(0, 1))
def test_no_section_carries_more_than_the_greatest_stress(where: float) -> None:
    beam = rod()
    x = where * beam.whole_arm_mm  # from the load towards the collet
    d = beam.core_mm if x <= beam.fluted_arm_mm else beam.shank_mm
    assert 32 * x / (math.pi * d**3) <= beam.stress_per_n() * (1 + 1e-12)


@pytest.mark.parametrize(
    ("d_mm", "deflection_um", "stress_n_mm2"), [(6.35, 5.703, 50.52), (12.7, 0.3565, 6.315)]
)
def test_plain_rods(d_mm: float, deflection_um: float, stress_n_mm2: float) -> None:
    """y = F L**3/(3 E I), sigma = 32 F L/(pi d**3) at 50 N, 25.4 mm, 600 GPa, by hand."""
    beam = rod(
        diameter_mm=d_mm, shank_mm=d_mm, stick_out_mm=25.4, fluted_mm=1e-9, load_from_tip_mm=0.0
    )
    assert 50e3 * beam.deflection_per_n() == pytest.approx(deflection_um, rel=2e-4)
    assert 50 * beam.stress_per_n() == pytest.approx(stress_n_mm2, rel=2e-4)


def test_half_inch_against_quarter_inch() -> None:
    """Twice the diameter: sixteen times as stiff, eight times as strong."""
    thin, thick = (
        rod(diameter_mm=d, shank_mm=d, stick_out_mm=30, fluted_mm=20, load_from_tip_mm=5)
        for d in (6.35, 12.7)
    )
    assert thin.deflection_per_n() / thick.deflection_per_n() == pytest.approx(16, rel=1e-12)
    assert thin.stress_per_n() / thick.stress_per_n() == pytest.approx(8, rel=1e-12)
