"""The pass before it is made: will it do, how fast, how long, and what limits it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from analysis.coaching.guidance import Note, Weight, notes_before, sorted_notes
from analysis.coaching.wording import Units, round_inwards
from analysis.cutting.bands import Band, hand_feed_band, is_buried
from analysis.cutting.figures import CutFigures, cut_figures
from analysis.cutting.geometry import approach_length
from analysis.cutting.limits import Bound, Limit, all_limits
from analysis.cutting.pace import BURIED, DIAL_STEP_RPM, TRIMMING, Aim, aim_feed, speed_for
from analysis.cutting.tools import Job
from analysis.cutting.window import Window, open_window

if TYPE_CHECKING:
    from analysis.dial.curve import DialCurve

_LADDER_STEP_RPM = 2_000.0
_LADDER_BELOW_RPM, _LADDER_ABOVE_RPM = 4_000.0, 2_000.0
_NARROW_AIM = 1.35
_HUM_RPM = 100.0
_SPARE = 0.9
"""Share of a limit (other than the band's) that the aim uses up."""


@dataclass(frozen=True, slots=True)
class PaceRow:
    """A speed, its dial setting if known, and the pass to aim at; None where none is good."""

    setting: str | None
    spindle_rpm: float
    aim: Aim | None
    low_s: float | None
    high_s: float | None


@dataclass(frozen=True, slots=True)
class Room:
    """A limit, and how far the planned cut is from it (0.25: a quarter)."""

    limit: Limit
    share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """The plan of a job.

    Attributes
    ----------
    fits : bool
        Whether any speed and feed keep every limit, and a hand can aim inside them.
    start, work_up_to : PaceRow or None
        Where to begin, and how far to turn up once it goes well.
    beat_s : float or None
        A pass time in the middle of the aim, to count by; `quarters_s` are the moments at
        which the bit passes the quarter marks of the edge.
    rooms : tuple of Room
        Every limit, the nearest first: that one binds.
    in_the_way : tuple of Limit
        Where nothing fits: what would have to give way.
    """

    job: Job
    band: Band
    window: Window
    fits: bool
    start: PaceRow | None
    work_up_to: PaceRow | None
    pace: tuple[PaceRow, ...]
    beat_s: float | None
    quarters_s: tuple[float, ...]
    figures: CutFigures | None
    rooms: tuple[Room, ...]
    in_the_way: tuple[Limit, ...]
    notes: tuple[Note, ...]

    @property
    def will_do(self) -> bool:
        """Whether this bit will do for this job."""
        return self.fits and all(note.weight is not Weight.STOP for note in self.notes)


def job_band(job: Job) -> Band:
    """The hand-feed starting values for a job."""
    return hand_feed_band(
        bit_diameter_mm=job.bit.diameter_mm,
        material=job.work.material.kind,
        buried=_is_buried(job),
    )


def _is_buried(job: Job) -> bool:
    return is_buried(
        trim_allowance_mm=job.work.trim_allowance_mm, bit_diameter_mm=job.bit.diameter_mm
    )


def make_plan(
    job: Job,
    *,
    band: Band | None = None,
    dial: DialCurve | None = None,
    speed_rpm: float | None = None,
    units: Units = Units.MM,
) -> Plan:
    """Plan a job.

    Parameters
    ----------
    band : Band or None
        The user's own; None takes the starting values.
    dial : DialCurve or None
        The router's calibrated dial: speeds outside it are not advised.
    speed_rpm : float or None
        The speed to plan for; None lets the plan choose one.
    """
    band = band or job_band(job)
    limits = all_limits(job, band)
    window = open_window(limits, flutes=job.bit.flutes)
    planner = _Planner(job, band, window, dial)
    if speed_rpm is None:
        start, work_up_to = planner.start_and_end()
    else:
        start = work_up_to = planner.at(speed_rpm)
    figures = None
    beat_s = None
    quarters_s: tuple[float, ...] = ()
    if start is not None and start.aim is not None:
        feed_mm_s = math.sqrt(start.aim.low_mm_s * start.aim.high_mm_s)
        if start.low_s is not None and start.high_s is not None:
            beat_s = _easy_number((start.low_s * start.high_s) ** 0.5, start.low_s, start.high_s)
            feed_mm_s = planner.travel_mm / beat_s
            quarters_s = planner.quarters(beat_s)
        figures = cut_figures(job, spindle_rpm=start.spindle_rpm, feed_mm_s=feed_mm_s)
    return Plan(
        job=job,
        band=band,
        window=window,
        fits=figures is not None,
        start=start,
        work_up_to=work_up_to,
        pace=planner.ladder(start, work_up_to),
        beat_s=beat_s,
        quarters_s=quarters_s,
        figures=figures,
        rooms=_rooms(window, figures),
        in_the_way=() if figures is not None else planner.in_the_way(speed_rpm),
        notes=sorted_notes((*notes_before(job, units), *_at_start(job, start))),
    )


def _at_start(job: Job, start: PaceRow | None) -> tuple[Note, ...]:
    """What there is to say about the advised speed and pace."""
    if start is None:
        return ()
    return (*_narrow(start), *_on_the_hum(job, start))


def _on_the_hum(job: Job, start: PaceRow) -> tuple[Note, ...]:
    """A tip where the rotation lies on a multiple of the mains frequency.

    There the hum of lamps and other machines lies on the router's own tones.
    """
    if job.router.mains_hz is None:
        return ()
    multiple = start.spindle_rpm / 60 / job.router.mains_hz
    if abs(multiple - round(multiple)) * 60 * job.router.mains_hz > _HUM_RPM:
        return ()
    return (
        Note(
            Weight.TIP,
            "recording",
            "For a recording, turn a little off this speed: here the hum of the mains lies on "
            "the router's own tones.",
        ),
    )


def _narrow(start: PaceRow) -> tuple[Note, ...]:
    """A warning where the right pass times lie close together."""
    if start.aim is None or start.aim.high_mm_s > _NARROW_AIM * start.aim.low_mm_s:
        return ()
    return (
        Note(
            Weight.CAUTION,
            "narrow window",
            "Between rubbing and overloading there is little room here: count the seconds, and "
            "try it on scrap first.",
        ),
    )


@dataclass(frozen=True, slots=True)
class _Planner:
    """A job with its window, and what is worked out from both."""

    job: Job
    band: Band
    window: Window
    dial: DialCurve | None

    @property
    def travel_mm(self) -> float:
        return (self.job.work.edge_length_mm or 0.0) + self.approach_mm

    @property
    def approach_mm(self) -> float:
        return approach_length(
            trim_allowance_mm=self.job.work.trim_allowance_mm,
            bit_diameter_mm=self.job.bit.diameter_mm,
        )

    def start_and_end(self) -> tuple[PaceRow | None, PaceRow | None]:
        """The speed to start at and the one to work up to; None where nothing fits."""
        speeds = self._speeds()
        if speeds is None:
            return None, None
        rows = []
        hand = BURIED if _is_buried(self.job) else TRIMMING
        for feed_mm_s in (hand.unhurried_mm_s, hand.brisk_mm_s):
            wanted_rpm = speed_for(
                band=self.band,
                thinning=self.job.thinning,
                flutes=self.job.bit.flutes,
                feed_mm_s=feed_mm_s,
            )
            stepped_rpm = math.floor(wanted_rpm / DIAL_STEP_RPM) * DIAL_STEP_RPM
            rows.append(self.row(min(max(stepped_rpm, speeds[0]), speeds[1])))
        start, end = rows
        if start.aim is None:
            return None, None
        return start, end if end.aim is not None else start

    def at(self, spindle_rpm: float) -> PaceRow | None:
        """The row of a speed that was asked for; None where nothing fits at it."""
        row = self.row(spindle_rpm)
        return None if row.aim is None else row

    def in_the_way(self, speed_rpm: float | None) -> tuple[Limit, ...]:
        """What would have to give way, at any speed or at the one asked for."""
        if speed_rpm is None or not self.window.is_open:
            return self.window.in_the_way()
        at_speed = tuple(
            limit
            for limit in self.window.limits
            if limit.bound in (Bound.LEAST_SPEED, Bound.MOST_SPEED)
            and limit.room(feed_mm_s=1.0, spindle_rpm=speed_rpm, flutes=self.window.flutes) < 0
        )
        if at_speed:
            return at_speed
        feeds = [
            (feed, limit)
            for limit in self.window.limits
            if (feed := limit.feed_at(spindle_rpm=speed_rpm, flutes=self.window.flutes)) is not None
        ]
        least = max((pair for pair in feeds if pair[1].bound.is_least), key=lambda pair: pair[0])
        most = min((pair for pair in feeds if not pair[1].bound.is_least), key=lambda pair: pair[0])
        return least[1], most[1]

    def _speeds(self) -> tuple[float, float] | None:
        """Speeds inside the window and on the dial."""
        speeds = self.window.speeds()
        if speeds is None or self.dial is None:
            return speeds
        low_rpm = max(speeds[0], self.dial.range_rpm[0])
        high_rpm = min(speeds[1], self.dial.range_rpm[1])
        return (low_rpm, high_rpm) if low_rpm <= high_rpm else None

    def row(self, spindle_rpm: float, setting: str | None = None) -> PaceRow:
        """What to aim at when the spindle turns at a speed."""
        if setting is None and self.dial is not None:
            found = self.dial.setting_for(spindle_rpm)
            setting = found.setting.label if found is not None else None
        aim = self._aim(spindle_rpm)
        if aim is None or self.job.work.edge_length_mm is None:
            return PaceRow(setting, spindle_rpm, aim, None, None)
        low_s, high_s = round_inwards(self.travel_mm / aim.high_mm_s, self.travel_mm / aim.low_mm_s)
        return PaceRow(setting, spindle_rpm, aim, low_s, high_s)

    def _aim(self, spindle_rpm: float) -> Aim | None:
        """The inner part of the band, kept inside the window."""
        feeds = self.window.feeds_at(spindle_rpm)
        aim = aim_feed(
            band=self.band,
            thinning=self.job.thinning,
            spindle_rpm=spindle_rpm,
            flutes=self.job.bit.flutes,
        )
        if feeds is None or aim is None:
            return None
        low_mm_s = max(aim.low_mm_s, feeds[0])
        high_mm_s = min(aim.high_mm_s, max(feeds[1] * _SPARE, aim.low_mm_s), feeds[1])
        return Aim(low_mm_s, high_mm_s) if high_mm_s > low_mm_s else None

    def ladder(self, start: PaceRow | None, end: PaceRow | None) -> tuple[PaceRow, ...]:
        """Rows over the dial's measured settings, or over round speeds about the advised ones."""
        if self.dial is not None:
            return tuple(self.row(knot.spindle_rpm, knot.label) for knot in self.dial.knots)
        speeds = self.window.speeds()
        if start is None or end is None or speeds is None:
            return ()
        low_rpm = max(speeds[0], start.spindle_rpm - _LADDER_BELOW_RPM)
        high_rpm = min(speeds[1], end.spindle_rpm + _LADDER_ABOVE_RPM)
        first = math.ceil(low_rpm / _LADDER_STEP_RPM)
        last = math.floor(high_rpm / _LADDER_STEP_RPM)
        rows = [self.row(step * _LADDER_STEP_RPM) for step in range(first, last + 1)]
        return tuple(row for row in rows if row.aim is not None)

    def quarters(self, pass_time_s: float) -> tuple[float, ...]:
        """When the bit's axis passes each quarter of the edge, s from first contact."""
        feed_mm_s = self.travel_mm / pass_time_s
        edge_mm = self.job.work.edge_length_mm or 0.0
        return tuple(
            (self.approach_mm + quarter / 4 * edge_mm) / feed_mm_s for quarter in (1, 2, 3, 4)
        )


def _rooms(window: Window, figures: CutFigures | None) -> tuple[Room, ...]:
    if figures is None:
        return ()
    rooms = (
        Room(
            limit,
            limit.room(
                feed_mm_s=figures.feed_mm_s,
                spindle_rpm=figures.spindle_rpm,
                flutes=window.flutes,
            ),
        )
        for limit in window.limits
    )
    return tuple(sorted(rooms, key=lambda room: room.share))


def _easy_number(time_s: float, low_s: float, high_s: float) -> float:
    """The nearest whole or half second inside the range, else the time itself."""
    for step in (1.0, 0.5, 0.1):
        rounded = round(time_s / step) * step
        if low_s <= rounded <= high_s:
            return rounded
    return time_s
