"""The truth of a take, exactly as simulated, in the shape it is written beside the sound.

Times and speeds are those of the recording's own clock. A phone whose clock runs
``clock_ppm`` fast shows every time that much longer and every speed that much lower; the true
spindle speed is ``rpm * (1 + clock_ppm / 1e6)``, and the advance per tooth is untouched.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from recordings_synthetic.drive import Spindle, State
from recordings_synthetic.render import Rendering
from recordings_synthetic.schedule import Placed, travel_mm
from recordings_synthetic.timebase import CONTROL_HZ, Floats

OFF_BELOW_RPM = 2000.0
STILL_SHARE = 0.1  # feed under a tenth of the pass's moving mean is standing still


def _spans(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], mask.astype(np.int8), [0]])))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _pauses(place: Placed, part: slice) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Where the pass stands still in contact, and where contact is lost."""
    feed, depth = place.walk.feed_mm_s[part], place.walk.depth[part]
    lifted = depth < STILL_SHARE
    still = np.zeros(feed.size, bool)
    for _ in range(4):  # the moving mean leaves the still stretches out
        moving = feed[~(still | lifted)]
        still = feed < STILL_SHARE * (moving.mean() if moving.size else np.inf)
    # Around a lift-off the feed is nought while the bit still touches: part of the lift-off.
    for first, last in _spans(still | lifted):
        if lifted[first:last].any():
            lifted[first:last] = True
            still[first:last] = False
    return still, lifted


def _times(spans: list[tuple[int, int]], offset_s: float) -> list[dict[str, float]]:
    return [
        {
            "start_s": round(offset_s + first / CONTROL_HZ, 4),
            "end_s": round(offset_s + last / CONTROL_HZ, 4),
        }
        for first, last in spans
    ]


def _pass(rendering: Rendering, place: Placed) -> dict[str, Any]:
    plan, spindle = rendering.plan, rendering.spindle
    count = rendering.schedule.timebase.control_count
    there, part = place.window(count)
    still, lifted = _pauses(place, part)
    offset_s = there.start / CONTROL_HZ
    complete = place.first >= 0 and place.first + place.walk.feed_mm_s.size <= count
    elapsed_s = (there.stop - 1 - there.start) / CONTROL_HZ
    moving_s = elapsed_s - float(np.sum(still | lifted)) / CONTROL_HZ
    travelled = place.walk.travelled_mm[part]
    went_mm = float(travelled[-1] - travelled[0])
    rpm = float(np.mean(spindle.rotation_hz[there])) * 60
    no_load = float(np.mean(spindle.no_load_hz[there])) * 60
    feed = went_mm / moving_s if moving_s > 0 else 0.0
    chip_load = feed * 60 / (rpm * plan.bit.flutes)
    share = min(plan.work.trim_allowance_mm / plan.bit.diameter_mm, 0.5)
    return {
        "entry_s": round(offset_s, 4),
        "exit_s": round(offset_s + elapsed_s, 4),
        "complete": complete,
        "rpm": round(rpm, 2),
        "idle_rpm": round(no_load, 2),
        "sag_percent": round(100 * (1 - rpm / no_load), 4),
        "travel_mm": round(went_mm, 3),
        "pass_feed_mm_s": round(plan.work.edge_length_mm / elapsed_s, 5) if complete else None,
        "moving_time_s": round(moving_s, 4),
        "feed_mm_s": round(feed, 5),
        "chip_load_mm": round(chip_load, 7),
        "chip_thickness_mm": round(chip_load * 2 * float(np.sqrt(share * (1 - share))), 7),
        "dwells": _times(_spans(still), offset_s),
        "liftoffs": _times(_spans(lifted), offset_s),
    }


def _course(spindle: Spindle, step_s: float) -> dict[str, list[Any]]:
    step = round(step_s * CONTROL_HZ)
    rpm: Floats = spindle.rotation_hz[::step] * 60
    state = np.where(rpm < OFF_BELOW_RPM, State.OFF, spindle.state[::step])
    return {
        "time_s": [round(i * step_s, 3) for i in range(rpm.size)],
        "rpm": [round(float(r), 2) if r >= OFF_BELOW_RPM else None for r in rpm],
        "state": [State(int(s)).name.lower() for s in state],
    }


def _idle_rpm(rendering: Rendering) -> float | None:
    """Mean speed while running without load, half a second clear of every pass."""
    spindle, count = rendering.spindle, rendering.spindle.state.size
    free = spindle.state == State.RUNNING
    for place in rendering.schedule.placed:
        there, _ = place.window(count)
        free[max(0, there.start - 500) : there.stop + 500] = False
    if not free.any():
        return None
    return round(float(np.mean(spindle.rotation_hz[free])) * 60, 2)


def _vacuum(rendering: Rendering) -> dict[str, Any]:
    found: dict[str, Any] = {"present": False}
    for machine, spindle in zip(rendering.plan.machines, rendering.others, strict=True):
        on = (spindle.state == State.STARTING) | (spindle.state == State.RUNNING)
        running = spindle.rotation_hz[spindle.state == State.RUNNING] * 60
        entry = {
            "present": True,
            "role": machine.role,
            "level_db": round(machine.level_db, 2),
            "rpm": [round(float(running.min()), 1), round(float(running.max()), 1)]
            if running.size
            else None,
            "on": _times(_spans(on), 0.0),
        }
        if machine.role == "vacuum":
            found = found | entry
        else:
            found.setdefault("others", []).append(entry)
    return found


def _plateaus(rendering: Rendering) -> list[dict[str, Any]]:
    """Steady stretches at one setting: after the dial has stopped and the motor has settled."""
    spindle, drive = rendering.spindle, rendering.schedule.drive
    turns = drive.turns
    until = [*(turn.time_s for turn in turns[1:]), rendering.schedule.timebase.duration_s]
    found = []
    for turn, end_s in zip(turns, until, strict=True):
        first = max(0, round((turn.time_s + turn.ramp_s) * CONTROL_HZ))
        running = spindle.state[first : round(end_s * CONTROL_HZ)] == State.RUNNING
        for start, stop in _spans(running):
            if stop - start > 0.5 * CONTROL_HZ:
                rpm = float(np.mean(spindle.rotation_hz[first + start : first + stop])) * 60
                found.append(
                    {
                        "setting": turn.setting,
                        "start_s": round((first + start) / CONTROL_HZ, 3),
                        "end_s": round((first + stop) / CONTROL_HZ, 3),
                        "rpm": round(rpm, 2),
                    }
                )
    return found


def truth(rendering: Rendering, *, step_s: float = 0.01) -> dict[str, Any]:
    """The truth of a rendering as plain values, ready for JSON (schema 1)."""
    plan = rendering.plan
    count = rendering.schedule.timebase.control_count
    visible = [p for p in rendering.schedule.placed if p.first < count - 1 and p.exit_s > 0]
    return {
        "schema": 1,
        "invented": True,
        "name": plan.name,
        "kind": plan.kind,
        "split": plan.split,
        "difficulty": plan.difficulty,
        "seed": plan.seed,
        "duration_s": round(rendering.samples.size / plan.sample_rate_hz, 6),
        "sample_rate_hz": plan.sample_rate_hz,
        "clock_ppm": round(plan.clock_ppm, 2),
        "setup": {
            "edge_length_mm": plan.work.edge_length_mm,
            "bit_diameter_mm": plan.bit.diameter_mm,
            "flutes": plan.bit.flutes,
            "trim_allowance_mm": plan.work.trim_allowance_mm,
            "material": plan.work.material.name,
            "plate_range_rpm": list(plan.plate_range_rpm),
        },
        "run_mode": plan.run_mode,
        "regulation": plan.drive.regulation,
        "contact_travel_mm": round(travel_mm(plan), 4),
        "runout_mm": [round(r, 4) for r in plan.bit.stand_out_mm],
        "spindle": _course(rendering.spindle, step_s),
        "idle_rpm": _idle_rpm(rendering),
        "passes": [_pass(rendering, place) for place in visible],
        "vacuum": _vacuum(rendering),
        "faults": list(rendering.faults),
        "plateaus": _plateaus(rendering) if plan.kind == "plateaus" else [],
    }
