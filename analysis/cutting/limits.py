"""Every limit of a cut, each with its name, its value and its grounds.

Whatever its nature, a limit comes down to a line in the plane of spindle speed and feed: so
much feed per tooth at most (a line through the origin), so much speed, so much feed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum

from analysis.cutting.bands import HAND_FEED_MM_S, Band
from analysis.cutting.bending import BODIES, Cantilever
from analysis.cutting.force import WoodForce, edges_in_cut, wood_force
from analysis.cutting.geometry import engagement_angle
from analysis.cutting.tools import Job

RIM_LIMIT_M_S = 70.0
DEFLECTION_LIMIT_MM = 0.1
MOTOR_EFFICIENCY = 0.55

# Highest speed by diameter where the bit bears no marking: the lower of the tables in common
# use, a boundary taken with the larger bits.
_USUAL_TOP_RPM = ((25.4, 24_000.0), (50.8, 18_000.0), (63.5, 16_000.0), (88.9, 12_000.0))
_USUAL_TOP_BEYOND_RPM = 10_000.0


class Bound(Enum):
    """What a limit bounds, and from which side."""

    LEAST_FEED_PER_TOOTH = "least feed per tooth"
    MOST_FEED_PER_TOOTH = "most feed per tooth"
    LEAST_SPEED = "least speed"
    MOST_SPEED = "most speed"
    LEAST_FEED = "least feed"
    MOST_FEED = "most feed"

    @property
    def is_least(self) -> bool:
        return self in (Bound.LEAST_FEED_PER_TOOTH, Bound.LEAST_SPEED, Bound.LEAST_FEED)


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit.

    Attributes
    ----------
    value : float
        In the bound's own unit: mm per tooth, rpm or mm/s.
    nature : float
        The same in the unit the limit is known by (`nature_unit`): a chip thickness in mm, a
        stress in N/mm2, a power in W.
    grounds : str
        Why, in words.
    remedy : str
        What would move it, where nothing fits.
    """

    name: str
    bound: Bound
    value: float
    nature: float
    nature_unit: str
    grounds: str
    remedy: str

    def feed_at(self, *, spindle_rpm: float, flutes: int) -> float | None:
        """Feed on the limit's line at a speed, mm/s; None for a limit of speed."""
        if self.bound in (Bound.LEAST_FEED, Bound.MOST_FEED):
            return self.value
        if self.bound in (Bound.LEAST_SPEED, Bound.MOST_SPEED):
            return None
        return self.value * spindle_rpm * flutes / 60

    def room(self, *, feed_mm_s: float, spindle_rpm: float, flutes: int) -> float:
        """How far a cut may still move towards this limit: 0.25 is a quarter, below 0 is past it.

        As a share of what the cut has now: speed, feed, or feed per tooth.
        """
        now = {
            Bound.LEAST_SPEED: spindle_rpm,
            Bound.MOST_SPEED: spindle_rpm,
            Bound.LEAST_FEED: feed_mm_s,
            Bound.MOST_FEED: feed_mm_s,
        }.get(self.bound, 60 * feed_mm_s / (spindle_rpm * flutes))
        share = self.value / now
        return 1 - share if self.bound.is_least else share - 1


def cut_force(job: Job) -> WoodForce:
    """Force constants of a job."""
    return wood_force(material=job.work.material, grain=job.work.grain, sharpness=job.bit.sharpness)


def cantilever(job: Job) -> Cantilever | None:
    """The clamped bit; None if shank, stick-out, cutting length or thickness is not told."""
    bit, depth_mm = job.bit, job.work.thickness_mm
    if (
        bit.shank_mm is None
        or bit.stick_out_mm is None
        or bit.cutting_length_mm is None
        or depth_mm is None
    ):
        return None
    return Cantilever(
        diameter_mm=bit.diameter_mm,
        shank_mm=bit.shank_mm,
        stick_out_mm=bit.stick_out_mm,
        fluted_mm=bit.cutting_length_mm,
        load_from_tip_mm=depth_mm / 2,
        body=BODIES[bit.body],
    )


def all_limits(job: Job, band: Band) -> tuple[Limit, ...]:
    """Every limit that the job tells enough to work out."""
    return (
        *_band_limits(job, band),
        *_bending_limits(job),
        *_power_limits(job),
        *_speed_limits(job),
        *_hand_limits(),
    )


def usual_top_speed(*, bit_diameter_mm: float) -> float:
    """Highest speed for an unmarked bit of this diameter, rpm [common practice].

    >>> usual_top_speed(bit_diameter_mm=12.7), usual_top_speed(bit_diameter_mm=50.8)
    (24000.0, 16000.0)
    """
    for below_mm, rpm in _USUAL_TOP_RPM:
        if bit_diameter_mm < below_mm:
            return rpm
    return _USUAL_TOP_BEYOND_RPM


def motor_power(*, input_power_w: float, spindle_rpm: float, top_rpm: float) -> float:
    """What the motor can give at a speed, W.

    0.55 of its input at top speed (small universal motors [memory]), and the same torque below.
    """
    return MOTOR_EFFICIENCY * input_power_w * spindle_rpm / top_rpm


def _band_limits(job: Job, band: Band) -> tuple[Limit, ...]:
    return (
        Limit(
            "rubbing",
            Bound.LEAST_FEED_PER_TOOTH,
            band.low_mm / job.thinning,
            band.low_mm,
            "mm chip",
            f"thinner chips rub: heat, polish, burn marks ({band.basis})",
            "take fewer flutes, or leave a little more to trim",
        ),
        Limit(
            "overloading",
            Bound.MOST_FEED_PER_TOOTH,
            band.high_mm / job.thinning,
            band.high_mm,
            "mm chip",
            f"thicker chips tear out and grab ({band.basis})",
            "take less off in one pass",
        ),
    )


def _bending_limits(job: Job) -> tuple[Limit, ...]:
    beam = cantilever(job)
    if beam is None or job.work.thickness_mm is None:
        return ()
    force = cut_force(job)
    edges = edges_in_cut(
        flutes=job.bit.flutes,
        trim_allowance_mm=job.work.trim_allowance_mm,
        bit_diameter_mm=job.bit.diameter_mm,
    )
    # F = a_p (A + B k f_z) c m <= F_allowed, solved for f_z.
    n_per_width = job.work.thickness_mm * force.resultant * edges

    def most_feed_per_tooth(allowed_n: float) -> float:
        return max(
            0.0, (allowed_n / n_per_width - force.edge_n_mm) / (force.chip_n_mm2 * job.thinning)
        )

    allowed_n_mm2 = beam.body.allowed_n_mm2
    limits = []
    if beam.stress_per_n() > 0:
        limits.append(
            Limit(
                "breaking the bit",
                Bound.MOST_FEED_PER_TOOTH,
                most_feed_per_tooth(allowed_n_mm2 / beam.stress_per_n()),
                allowed_n_mm2,
                "N/mm2",
                f"bending stress in {job.bit.body.value}, {beam.body.safety:g} times below what "
                "breaks it",
                "take less depth in one pass, or a thicker, shorter or sharper bit",
            )
        )
    if beam.deflection_per_n() > 0:
        limits.append(
            Limit(
                "bending the bit",
                Bound.MOST_FEED_PER_TOOTH,
                most_feed_per_tooth(DEFLECTION_LIMIT_MM / beam.deflection_per_n()),
                DEFLECTION_LIMIT_MM,
                "mm",
                "a bit that gives more chatters and leaves the line (our choice)",
                "take less depth in one pass, or a thicker, shorter or sharper bit",
            )
        )
    return tuple(limits)


def _power_limits(job: Job) -> tuple[Limit, ...]:
    router, depth_mm = job.router, job.work.thickness_mm
    if router.input_power_w is None or router.plate_range_rpm is None or depth_mm is None:
        return ()
    force = cut_force(job)
    allowance_mm, diameter_mm = job.work.trim_allowance_mm, job.bit.diameter_mm
    top_rpm = router.plate_range_rpm[1]
    angle = engagement_angle(trim_allowance_mm=allowance_mm, bit_diameter_mm=diameter_mm)
    # a_p (A z n/60 R phi + B a_e f_z z n/60) <= P_top n/n_top: the speed drops out.
    top_w = motor_power(input_power_w=router.input_power_w, spindle_rpm=top_rpm, top_rpm=top_rpm)
    n_mm = 60_000 * top_w / (top_rpm * job.bit.flutes * depth_mm)  # work per edge and width
    most_mm = (n_mm - force.edge_n_mm * angle * diameter_mm / 2) / (force.chip_n_mm2 * allowance_mm)
    return (
        Limit(
            "motor power",
            Bound.MOST_FEED_PER_TOOTH,
            max(0.0, most_mm),
            top_w,
            "W at top speed",
            f"{MOTOR_EFFICIENCY:g} of the {router.input_power_w:g} W on the plate, and less at "
            "lower speeds",
            "take less depth in one pass, or a sharper bit",
        ),
    )


def _speed_limits(job: Job) -> tuple[Limit, ...]:
    diameter_mm = job.bit.diameter_mm
    limits = [
        Limit(
            "rim speed",
            Bound.MOST_SPEED,
            RIM_LIMIT_M_S * 60_000 / (math.pi * diameter_mm),
            RIM_LIMIT_M_S,
            "m/s",
            "above it tools for hand feed risk breaking and scream [practice, from memory]",
            "take a smaller bit",
        )
    ]
    if job.bit.max_rpm is not None:
        limits.append(
            Limit(
                "maximum marked on the bit",
                Bound.MOST_SPEED,
                job.bit.max_rpm,
                job.bit.max_rpm,
                "rpm",
                "the maker's word, never to be passed",
                "take a bit that is marked for it",
            )
        )
    else:
        top_rpm = usual_top_speed(bit_diameter_mm=diameter_mm)
        limits.append(
            Limit(
                "usual maximum for this diameter",
                Bound.MOST_SPEED,
                top_rpm,
                top_rpm,
                "rpm",
                "no marking told; a marking on the bit comes first [common practice]",
                "read the marking on the shank, or take a smaller bit",
            )
        )
    if job.router.plate_range_rpm is not None:
        limits += [
            Limit(name, bound, rpm, rpm, "rpm", "the range on its plate", "use another router")
            for name, bound, rpm in zip(
                ("router's slowest", "router's fastest"),
                (Bound.LEAST_SPEED, Bound.MOST_SPEED),
                job.router.plate_range_rpm,
                strict=True,
            )
        ]
    return tuple(limits)


def _hand_limits() -> tuple[Limit, ...]:
    return tuple(
        Limit(
            name,
            bound,
            feed_mm_s,
            feed_mm_s,
            "mm/s",
            "hands feed steadily in between [common practice]",
            remedy,
        )
        for name, bound, feed_mm_s, remedy in zip(
            ("slowest steady hand", "fastest steady hand"),
            (Bound.LEAST_FEED, Bound.MOST_FEED),
            HAND_FEED_MM_S,
            ("take less off in one pass", "turn the speed down, or take fewer flutes"),
            strict=True,
        )
    )
