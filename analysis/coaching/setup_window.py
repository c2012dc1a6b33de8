"""The window of speed and feed, from what a review is told."""

from __future__ import annotations

from analysis.coaching.reading import CutSetup, working_band
from analysis.cutting.bands import MaterialClass
from analysis.cutting.limits import all_limits
from analysis.cutting.materials import material_named
from analysis.cutting.tools import (
    Bit,
    BitBody,
    BitStyle,
    Grain,
    Guide,
    Job,
    Mounting,
    Router,
    Sharpness,
    Work,
)
from analysis.cutting.window import Window, open_window


def setup_window(setup: CutSetup) -> Window | None:
    """The window as far as a review's set-up tells it; None without bit, flutes, trim or band.

    Power and bending need more than a review asks for, so those limits are left out.
    """
    band = working_band(setup)
    if (
        band is None
        or setup.bit_diameter_mm is None
        or setup.flutes is None
        or setup.trim_allowance_mm is None
    ):
        return None
    bit = Bit(
        diameter_mm=setup.bit_diameter_mm,
        flutes=setup.flutes,
        style=BitStyle.STRAIGHT,
        body=BitBody.BRAZED,
        guide=Guide.NONE,
        sharpness=Sharpness.USED,
        shank_mm=None,
        cutting_length_mm=None,
        stick_out_mm=None,
        max_rpm=setup.bit_max_rpm,
    )
    router = Router(
        mounting=Mounting.HAND,
        plate_range_rpm=setup.plate_range_rpm,
        input_power_w=None,
        mains_hz=None,
    )
    work = Work(
        material=material_named(setup.material or MaterialClass.HARDWOOD.value),
        grain=Grain.NONE,
        trim_allowance_mm=setup.trim_allowance_mm,
        thickness_mm=None,
        edge_length_mm=setup.edge_length_mm,
        inside_radius_mm=None,
    )
    return open_window(all_limits(Job(bit, router, work), band), flutes=setup.flutes)
