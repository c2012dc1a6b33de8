"""When everything happens: strokes laid along time, and what the wood asks of the motor."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from recordings_synthetic.drive import Drive, Switching
from recordings_synthetic.geometry import approach_mm, arcs
from recordings_synthetic.hands import Walk, resistance, walk
from recordings_synthetic.plan import TakePlan
from recordings_synthetic.timebase import CONTROL_HZ, Floats, Timebase


@dataclass(frozen=True, slots=True, eq=False)
class Placed:
    """A walk and the control point of its first contact (negative: before the take)."""

    walk: Walk
    first: int

    @property
    def entry_s(self) -> float:
        """Time of first contact."""
        return self.first / CONTROL_HZ

    @property
    def exit_s(self) -> float:
        """Time of last contact."""
        return (self.first + self.walk.feed_mm_s.size - 1) / CONTROL_HZ

    def window(self, count: int) -> tuple[slice, slice]:
        """The slice of the take it falls in, and the slice of the walk that falls in it."""
        low, high = max(0, self.first), min(count, self.first + self.walk.feed_mm_s.size)
        high = max(low, high)
        return slice(low, high), slice(low - self.first, high - self.first)


@dataclass(frozen=True, slots=True, eq=False)
class Schedule:
    """The take along time, at control rate."""

    timebase: Timebase
    drive: Drive
    placed: tuple[Placed, ...]
    feed_mm_s: Floats
    enter_rad: Floats
    leave_rad: Floats
    wood: Floats
    load: Floats
    towards_mm: Floats
    on_work: Floats  # 1 with the base on the work, 0 in the hand
    knocks_s: Floats  # when the base is heard being set down


def travel_mm(plan: TakePlan) -> float:
    """Contact travel of one pass: L + sqrt(a_e (D - a_e))."""
    work = plan.work
    return work.edge_length_mm + approach_mm(plan.bit.diameter_mm, work.trim_allowance_mm)


def _lay(plan: TakePlan, rng: np.random.Generator) -> tuple[Placed, ...]:
    placed = []
    at_s = plan.work.sets_off_at_s
    for number, stroke in enumerate(plan.work.strokes):
        steps = walk(stroke, travel_mm(plan), rng)
        first = round((at_s + (stroke.gap_before_s if number else 0)) * CONTROL_HZ)
        placed.append(Placed(steps, first))
        at_s = placed[-1].exit_s
    return tuple(placed)


def _set_down(
    plan: TakePlan, placed: tuple[Placed, ...], timebase: Timebase, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """When the base stands on the work: from a little before each pass to a little after."""
    on_work = np.zeros(timebase.control_count)
    knocks_s = []
    for place in placed:
        down_s = place.entry_s - rng.uniform(0.15, 0.9)
        up_s = place.exit_s + rng.uniform(0.1, 0.6)
        ramp_s = rng.uniform(0.03, 0.2)
        rise = np.clip((timebase.control_s - down_s) / ramp_s, 0, 1)
        fall = np.clip((timebase.control_s - up_s) / ramp_s, 0, 1)
        on_work = np.maximum(on_work, rise - fall)
        if rng.random() < plan.work.knocked_down:
            knocks_s.append(down_s)
    inside = [t for t in knocks_s if 0 <= t < timebase.duration_s]
    return on_work, np.array(inside)


def lay_out(plan: TakePlan, rng: np.random.Generator) -> Schedule:
    """Place the strokes along time and work out contact and load."""
    placed = _lay(plan, rng)
    end_s = placed[-1].exit_s if placed else plan.work.sets_off_at_s
    last_s = end_s - plan.cut_end_s if plan.cut_end_s else end_s + plan.tail_s
    switchings = list(plan.drive.switchings)
    if plan.run_mode in ("switched off", "switched on and off"):
        switchings.append(Switching(last_s - 0.6 * plan.tail_s, on=False))
    turns = plan.drive.turns
    if plan.dial_turned_before is not None:
        turned_s = placed[plan.dial_turned_before - 1].exit_s + 0.2
        turns = (*turns[:-1], replace(turns[-1], time_s=turned_s))
    timebase = Timebase(round(last_s, 3), plan.sample_rate_hz)
    count = timebase.control_count
    feed, wood, towards = np.zeros(count), np.ones(count), np.zeros(count)
    enter, leave = np.zeros(count), np.zeros(count)
    position, figure = resistance(plan.work.grain, travel_mm(plan), rng)
    for place in placed:
        there, part = place.window(count)
        travelled, depth = place.walk.travelled_mm[part], place.walk.depth[part]
        feed[there] = place.walk.feed_mm_s[part]
        wood[there] = np.interp(travelled, position, figure)
        towards[there] = travelled / travel_mm(plan)
        enter[there], leave[there] = arcs(
            travelled,
            depth,
            edge_length_mm=plan.work.edge_length_mm,
            bit_diameter_mm=plan.bit.diameter_mm,
            trim_allowance_mm=plan.work.trim_allowance_mm,
        )
    # Between passes the router is carried back; the sound's path eases back with it.
    if placed:
        known = np.zeros(count, bool)
        for place in placed:
            known[place.window(count)[0]] = True
        index = np.arange(count)
        towards = np.interp(index, index[known], towards[known]) if known.any() else towards
    on_work, knocks_s = _set_down(plan, placed, timebase, rng)
    # Power follows the wood removed: area of the chips a second, and a little for rubbing.
    area = np.cos(enter) - np.cos(leave)
    whole = 2 * min(plan.work.trim_allowance_mm / plan.bit.diameter_mm, 0.5)
    load = wood * (area / whole) * (0.92 * feed / plan.work.reference_feed_mm_s + 0.08)
    return Schedule(
        timebase,
        replace(
            plan.drive,
            switchings=tuple(sorted(switchings, key=lambda s: s.time_s)),
            turns=turns,
        ),
        placed,
        feed,
        enter,
        leave,
        wood,
        np.minimum(load, 2.5),
        towards * plan.doppler_mm,
        on_work,
        knocks_s,
    )
