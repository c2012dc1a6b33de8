"""What one heard pass amounts to, given the set-up: feed, chip load, chip thickness, verdict."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from analysis.coaching.uncertainty import (
    Chances,
    Factor,
    chances,
    product_u95,
    rectangular_u95,
)
from analysis.coaching.verdict import Verdict, allowance_range, decide
from analysis.cutting.bands import Band, hand_feed_band, is_buried
from analysis.cutting.geometry import (
    approach_length,
    chip_thinning,
    cusp_height,
    feed_per_tooth,
    require_positive,
    rim_speed,
)
from analysis.cutting.materials import material_named
from analysis.errors import InputError

if TYPE_CHECKING:
    from analysis.dial.curve import DialCurve
    from analysis.hearing.passes import HeardPass, Span

EDGE_LIMITS_MM = (10.0, 30_000.0)
BIT_LIMITS_MM = (0.5, 130.0)
MOST_FLUTES = 12
MOST_FEED_MM_S = 500.0
"""Nobody feeds a router faster over a whole edge: so short a contact was a touch."""
_UNKNOWN_BIT_MM = 25.0
"""When the bit is not told: its approach is taken as anywhere up to this one's radius."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CutSetup:
    """What the user knows about the cut. None means "not told".

    Attributes
    ----------
    edge_length_mm, edge_length_u95_mm
        The edge, end to end, and how well it was measured; None for the latter stands for
        0.5 mm or 0.1 %, whichever is more (a tape measure).
    trim_allowance_mm
        What the bit takes off sideways; the bit's own diameter for a buried bit.
    material
        A name of `analysis.cutting.materials`.
    band
        The user's own band; None takes the hand-feed starting values.
    bit_max_rpm, plate_range_rpm
        The bit's marked maximum; the no-load range on the router's plate.
    dial
        What the router's dial really does, if it was calibrated.

    Raises
    ------
    InputError
        For a value no router job can have.
    """

    edge_length_mm: float | None
    bit_diameter_mm: float | None
    flutes: int | None
    trim_allowance_mm: float | None
    material: str | None
    edge_length_u95_mm: float | None = None
    band: Band | None = None
    bit_max_rpm: float | None = None
    plate_range_rpm: tuple[float, float] | None = None
    dial: DialCurve | None = None

    def __post_init__(self) -> None:
        _require_within("edge length (mm)", self.edge_length_mm, *EDGE_LIMITS_MM)
        _require_within("bit diameter (mm)", self.bit_diameter_mm, *BIT_LIMITS_MM)
        if self.flutes is not None and not 1 <= self.flutes <= MOST_FLUTES:
            raise InputError("flutes", self.flutes, f"a whole number from 1 to {MOST_FLUTES}")
        if self.trim_allowance_mm is not None:
            require_positive(trim_allowance=self.trim_allowance_mm)
            if self.bit_diameter_mm is not None:
                chip_thinning(
                    trim_allowance_mm=self.trim_allowance_mm,
                    bit_diameter_mm=self.bit_diameter_mm,
                )
        if self.edge_length_u95_mm is not None and not self.edge_length_u95_mm >= 0:
            raise InputError("edge length uncertainty", self.edge_length_u95_mm, "0 or more")
        if self.bit_max_rpm is not None:
            require_positive(marked_maximum=self.bit_max_rpm)
        if self.plate_range_rpm is not None:
            low_rpm, high_rpm = self.plate_range_rpm
            require_positive(lowest_speed=low_rpm, highest_speed=high_rpm)
            if low_rpm > high_rpm:
                raise InputError("speed range", self.plate_range_rpm, "lowest speed first")
        if self.material is not None:
            material_named(self.material)

    @property
    def thinning(self) -> float | None:
        """Chip thickness over chip load, if bit and allowance are known."""
        if self.trim_allowance_mm is None or self.bit_diameter_mm is None:
            return None
        return chip_thinning(
            trim_allowance_mm=self.trim_allowance_mm, bit_diameter_mm=self.bit_diameter_mm
        )

    @property
    def buried(self) -> bool:
        """Whether the bit is known to cut over its whole diameter."""
        return (
            self.trim_allowance_mm is not None
            and self.bit_diameter_mm is not None
            and is_buried(
                trim_allowance_mm=self.trim_allowance_mm, bit_diameter_mm=self.bit_diameter_mm
            )
        )


def _require_within(what: str, value: float | None, low: float, high: float) -> None:
    if value is not None and not low <= value <= high:
        raise InputError(what, value, f"between {low:g} and {high:g}")


def working_band(setup: CutSetup) -> Band | None:
    """The user's band, else the starting values; None if the set-up does not tell enough."""
    if setup.band is not None:
        return setup.band
    if setup.material is None or setup.bit_diameter_mm is None:
        return None
    return hand_feed_band(
        bit_diameter_mm=setup.bit_diameter_mm,
        material=material_named(setup.material).kind,
        buried=setup.buried,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class PassReading:
    """One pass, measured and judged. None stands for what the set-up does not allow.

    `pass_feed_mm_s` is edge over time, what a stopwatch gives; `feed_mm_s`, the chip figures
    and the verdict stand on the moving time. Chip thickness and verdict are conditional on
    the stated trim allowance; `verdict_holds_for_mm` is the range of allowances over which
    the same chip load earns the same verdict. Without a verdict, `not_judged_because` says why.
    """

    entry_s: float
    exit_s: float
    time_s: float
    time_u95_s: float
    moving_time_s: float
    spindle_rpm: float
    spindle_rpm_u95: float
    sag_percent: float | None
    evenness: float
    complete: bool
    dwells: tuple[Span, ...]
    liftoffs: tuple[Span, ...]
    dwell_positions_mm: tuple[float, ...]
    liftoff_positions_mm: tuple[float, ...]
    travel_mm: float | None
    pass_feed_mm_s: float | None
    feed_mm_s: float | None
    feed_u95_mm_s: float | None
    chip_load_mm: float | None
    chip_load_u95_mm: float | None
    chip_thickness_mm: float | None
    chip_thickness_u95_mm: float | None
    rim_speed_m_s: float | None
    cusp_height_mm: float | None
    odds: Chances | None
    verdict: Verdict | None
    verdict_holds_for_mm: tuple[float, float] | None
    not_judged_because: str | None


def travel(setup: CutSetup) -> tuple[float, float] | None:
    """Contact travel of a pass and its 95 % half-width, mm; None without an edge length.

    Where the allowance is not told, the approach may be anything up to the bit's radius, and
    its uncertainty says so.
    """
    if setup.edge_length_mm is None:
        return None
    edge_u95_mm = setup.edge_length_u95_mm
    if edge_u95_mm is None:
        edge_u95_mm = max(0.5, 0.001 * setup.edge_length_mm)
    if setup.bit_diameter_mm is not None and setup.trim_allowance_mm is not None:
        approach_mm = approach_length(
            trim_allowance_mm=setup.trim_allowance_mm, bit_diameter_mm=setup.bit_diameter_mm
        )
        return setup.edge_length_mm + approach_mm, edge_u95_mm
    half_mm = (setup.bit_diameter_mm or _UNKNOWN_BIT_MM) / 4
    return (
        setup.edge_length_mm + half_mm,
        math.hypot(edge_u95_mm, rectangular_u95(half_mm)),
    )


def read_pass(heard: HeardPass, setup: CutSetup) -> PassReading:
    """Work out one pass.

    A pass that the take cut off has no measured length, so neither feed nor verdict.
    """
    trip = travel(setup) if heard.complete and heard.moving_time_s > 0 else None
    if trip is not None and trip[0] > MOST_FEED_MM_S * heard.moving_time_s:
        trip = None
    feed_mm_s = feed_u95_mm_s = chip_load_mm = chip_load_u95_mm = None
    thickness_mm = thickness_u95_mm = cusp_mm = odds = verdict = holds_mm = None
    band = working_band(setup)
    if trip is not None:
        travel_mm, travel_u95_mm = trip
        feed_mm_s = travel_mm / heard.moving_time_s
        feed_factors = (
            Factor(travel_mm, travel_u95_mm, 1),
            Factor(heard.moving_time_s, heard.moving_time_u95_s, -1),
        )
        feed_u95_mm_s = product_u95(value=feed_mm_s, factors=feed_factors)
        if setup.flutes is not None:
            chip_load_mm = feed_per_tooth(
                feed_mm_s=feed_mm_s, spindle_rpm=heard.spindle_rpm, flutes=setup.flutes
            )
            speed_factor = Factor(heard.spindle_rpm, heard.spindle_rpm_u95, -1)
            chip_load_u95_mm = product_u95(
                value=chip_load_mm, factors=(*feed_factors, speed_factor)
            )
    if chip_load_mm is not None and chip_load_u95_mm is not None and setup.flutes is not None:
        pitch_mm = chip_load_mm * setup.flutes
        if setup.bit_diameter_mm is not None and pitch_mm < setup.bit_diameter_mm:
            cusp_mm = cusp_height(mark_pitch_mm=pitch_mm, bit_diameter_mm=setup.bit_diameter_mm)
        if setup.thinning is not None:
            thickness_mm = chip_load_mm * setup.thinning
            thickness_u95_mm = chip_load_u95_mm * setup.thinning
    if thickness_mm is not None and thickness_u95_mm is not None and band is not None:
        odds = chances(value=thickness_mm, u95=thickness_u95_mm, low=band.low_mm, high=band.high_mm)
        verdict = decide(odds)
        if chip_load_mm is not None and setup.bit_diameter_mm is not None:
            holds_mm = allowance_range(
                verdict=verdict,
                chip_load_mm=chip_load_mm,
                bit_diameter_mm=setup.bit_diameter_mm,
                band=band,
            )
    return PassReading(
        entry_s=heard.entry_s,
        exit_s=heard.exit_s,
        time_s=heard.time_s,
        time_u95_s=heard.time_u95_s,
        moving_time_s=heard.moving_time_s,
        spindle_rpm=heard.spindle_rpm,
        spindle_rpm_u95=heard.spindle_rpm_u95,
        sag_percent=heard.sag_percent,
        evenness=heard.evenness,
        complete=heard.complete,
        dwells=heard.dwells,
        liftoffs=heard.liftoffs,
        dwell_positions_mm=_positions(heard.dwells, heard, setup, feed_mm_s),
        liftoff_positions_mm=_positions(heard.liftoffs, heard, setup, feed_mm_s),
        travel_mm=trip[0] if trip is not None else None,
        pass_feed_mm_s=setup.edge_length_mm / heard.time_s
        if setup.edge_length_mm is not None and trip is not None
        else None,
        feed_mm_s=feed_mm_s,
        feed_u95_mm_s=feed_u95_mm_s,
        chip_load_mm=chip_load_mm,
        chip_load_u95_mm=chip_load_u95_mm,
        chip_thickness_mm=thickness_mm,
        chip_thickness_u95_mm=thickness_u95_mm,
        rim_speed_m_s=rim_speed(
            bit_diameter_mm=setup.bit_diameter_mm, spindle_rpm=heard.spindle_rpm
        )
        if setup.bit_diameter_mm is not None
        else None,
        cusp_height_mm=cusp_mm,
        odds=odds,
        verdict=verdict,
        verdict_holds_for_mm=holds_mm,
        not_judged_because=_why_not(heard, setup, band) if verdict is None else None,
    )


def _positions(
    spans: tuple[Span, ...], heard: HeardPass, setup: CutSetup, feed_mm_s: float | None
) -> tuple[float, ...]:
    """How far along the edge each span lies, mm: mean feed times the moving time before it."""
    if feed_mm_s is None or setup.edge_length_mm is None:
        return ()
    places = []
    for span in spans:
        still_s = sum(
            other.length_s
            for other in heard.dwells + heard.liftoffs
            if other.start_s < span.start_s
        )
        place_mm = feed_mm_s * (span.start_s - heard.entry_s - still_s)
        places.append(min(max(place_mm, 0.0), setup.edge_length_mm))
    return tuple(places)


def _why_not(heard: HeardPass, setup: CutSetup, band: Band | None) -> str:
    if not heard.complete:
        return "the take began or ended inside this pass, so its length is not known"
    if heard.moving_time_s <= 0:
        return "nothing but standing still was heard in it"
    trip = travel(setup)
    if trip is not None and trip[0] > MOST_FEED_MM_S * heard.moving_time_s:
        return "it was too short for the whole edge: perhaps a touch, or another edge"
    missing = [
        name
        for name, value in (
            ("the edge length", setup.edge_length_mm),
            ("the bit's diameter", setup.bit_diameter_mm),
            ("the number of flutes", setup.flutes),
            ("the trim allowance", setup.trim_allowance_mm),
            ("the material or a band", band),
        )
        if value is None
    ]
    verb = "are" if len(missing) > 1 else "is"
    return f"{', '.join(missing)} {verb} not told"
