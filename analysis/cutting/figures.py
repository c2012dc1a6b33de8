"""One speed and feed of a job, worked out in full."""

from __future__ import annotations

from dataclasses import dataclass

from analysis.cutting.force import edges_in_cut, mean_power, peak_force
from analysis.cutting.geometry import (
    cusp_height,
    feed_per_tooth,
    marks_per_25_mm,
    mean_chip_share,
    removal_rate,
    rim_speed,
)
from analysis.cutting.limits import cantilever, cut_force, motor_power
from analysis.cutting.tools import Job


@dataclass(frozen=True, slots=True, kw_only=True)
class CutFigures:
    """One cut in figures. None where the job does not tell enough."""

    spindle_rpm: float
    feed_mm_s: float
    feed_per_tooth_mm: float
    chip_thickness_mm: float
    mean_chip_thickness_mm: float
    cusp_height_mm: float | None
    marks_per_25_mm: float
    rim_speed_m_s: float
    removal_mm3_s: float | None
    power_w: float | None
    motor_power_w: float | None
    peak_force_n: float | None
    bending_stress_n_mm2: float | None
    allowed_stress_n_mm2: float | None
    deflection_mm: float | None


def cut_figures(job: Job, *, spindle_rpm: float, feed_mm_s: float) -> CutFigures:
    """Everything the model tells about one speed and feed."""
    bit, work, router = job.bit, job.work, job.router
    per_tooth_mm = feed_per_tooth(feed_mm_s=feed_mm_s, spindle_rpm=spindle_rpm, flutes=bit.flutes)
    pitch_mm = per_tooth_mm * bit.flutes
    force, beam = cut_force(job), cantilever(job)
    cut = {"trim_allowance_mm": work.trim_allowance_mm, "bit_diameter_mm": bit.diameter_mm}
    removal = power = peak = None
    if work.thickness_mm is not None:
        removal = removal_rate(
            trim_allowance_mm=work.trim_allowance_mm,
            cut_depth_mm=work.thickness_mm,
            feed_mm_s=feed_mm_s,
        )
        power = mean_power(
            force=force,
            feed_mm_s=feed_mm_s,
            spindle_rpm=spindle_rpm,
            flutes=bit.flutes,
            cut_depth_mm=work.thickness_mm,
            **cut,
        )
        peak = peak_force(
            force=force,
            feed_per_tooth_mm=per_tooth_mm,
            thinning=job.thinning,
            edges=edges_in_cut(flutes=bit.flutes, **cut),
            cut_depth_mm=work.thickness_mm,
        )
    return CutFigures(
        spindle_rpm=spindle_rpm,
        feed_mm_s=feed_mm_s,
        feed_per_tooth_mm=per_tooth_mm,
        chip_thickness_mm=per_tooth_mm * job.thinning,
        mean_chip_thickness_mm=per_tooth_mm * mean_chip_share(**cut),
        cusp_height_mm=cusp_height(mark_pitch_mm=pitch_mm, bit_diameter_mm=bit.diameter_mm)
        if pitch_mm < bit.diameter_mm
        else None,
        marks_per_25_mm=marks_per_25_mm(mark_pitch_mm=pitch_mm),
        rim_speed_m_s=rim_speed(bit_diameter_mm=bit.diameter_mm, spindle_rpm=spindle_rpm),
        removal_mm3_s=removal,
        power_w=power,
        motor_power_w=motor_power(
            input_power_w=router.input_power_w,
            spindle_rpm=spindle_rpm,
            top_rpm=router.plate_range_rpm[1],
        )
        if router.input_power_w is not None and router.plate_range_rpm is not None
        else None,
        peak_force_n=peak,
        bending_stress_n_mm2=peak * beam.stress_per_n() if peak is not None and beam else None,
        allowed_stress_n_mm2=beam.body.allowed_n_mm2 if beam else None,
        deflection_mm=peak * beam.deflection_per_n() if peak is not None and beam else None,
    )
