"""The window against a brute-force search that knows nothing of lines or polygons."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.coaching.plan import job_band
from analysis.cutting.bands import HAND_FEED_MM_S
from analysis.cutting.bending import BODIES
from analysis.cutting.figures import cut_figures
from analysis.cutting.limits import (
    DEFLECTION_LIMIT_MM,
    RIM_LIMIT_M_S,
    Bound,
    Limit,
    all_limits,
    usual_top_speed,
)
from analysis.cutting.tools import BitBody, Grain, Job, Sharpness
from analysis.cutting.window import Window, open_window
from tests.analysis.cutting.jobs import job

JOBS: dict[str, dict[str, Any]] = {
    "trim": {},
    "small bit": {"bit": {"diameter_mm": 6.35, "shank_mm": 6.35}},
    "buried": {
        "bit": {"diameter_mm": 6.35, "shank_mm": 6.35},
        "work": {"trim_allowance_mm": 6.35, "material": "beech"},
    },
    "snapping": {
        "bit": {
            "diameter_mm": 3.175,
            "shank_mm": 6.35,
            "stick_out_mm": 45.0,
            "cutting_length_mm": 30.0,
            "sharpness": Sharpness.DULL,
        },
        "work": {"trim_allowance_mm": 2.0, "grain": Grain.END},
    },
    "weak motor": {
        "router": {"input_power_w": 350.0},
        "work": {"trim_allowance_mm": 6.0, "thickness_mm": 30.0, "material": "white oak"},
    },
    "profile": {
        "bit": {
            "diameter_mm": 45.0,
            "max_rpm": 16_000.0,
            "body": BitBody.BRAZED,
            "cutting_length_mm": 20.0,
        },
        "work": {"trim_allowance_mm": 4.0, "thickness_mm": 16.0},
        "router": {"plate_range_rpm": (10_000.0, 22_000.0), "input_power_w": 1800.0},
    },
}


def window_of(job_: Job) -> Window:
    return open_window(all_limits(job_, job_band(job_)), flutes=job_.bit.flutes)


def keeps_every_limit(job_: Job, *, spindle_rpm: float, feed_mm_s: float) -> bool:
    """Work the cut out and hold each physical quantity against its own limit."""
    band = job_band(job_)
    cut = cut_figures(job_, spindle_rpm=spindle_rpm, feed_mm_s=feed_mm_s)
    plate = job_.router.plate_range_rpm
    assert plate is not None
    assert cut.bending_stress_n_mm2 is not None
    assert cut.deflection_mm is not None
    assert cut.power_w is not None
    assert cut.motor_power_w is not None
    body = BODIES[job_.bit.body]
    top_rpm = job_.bit.max_rpm or usual_top_speed(bit_diameter_mm=job_.bit.diameter_mm)
    return (
        band.low_mm <= cut.chip_thickness_mm <= band.high_mm
        and cut.bending_stress_n_mm2 <= body.strength_n_mm2 / body.safety
        and cut.deflection_mm <= DEFLECTION_LIMIT_MM
        and cut.power_w <= cut.motor_power_w
        and cut.rim_speed_m_s <= RIM_LIMIT_M_S
        and spindle_rpm <= top_rpm
        and plate[0] <= spindle_rpm <= plate[1]
        and HAND_FEED_MM_S[0] <= feed_mm_s <= HAND_FEED_MM_S[1]
    )


def inside(corners: tuple[tuple[float, float], ...], x: float, y: float) -> bool:
    """Even-odd rule, the textbook test for a point in a polygon."""
    crossings = 0
    for (x1, y1), (x2, y2) in zip(corners, corners[1:] + corners[:1], strict=True):
        if (y1 > y) != (y2 > y) and x < x1 + (y - y1) / (y2 - y1) * (x2 - x1):
            crossings += 1
    return crossings % 2 == 1


@pytest.mark.parametrize("name", JOBS)
def test_window_agrees_with_a_search_over_a_grid(name: str) -> None:
    """60 x 60 points, off any round number so that none falls on a line."""
    job_ = job(**JOBS[name])
    window = window_of(job_)
    open_points = 0
    for rpm in np.linspace(7_013.7, 27_011.3, 60).tolist():
        for feed in np.linspace(8.137, 131.71, 60).tolist():
            expected = keeps_every_limit(job_, spindle_rpm=rpm, feed_mm_s=feed)
            assert window.contains(feed_mm_s=feed, spindle_rpm=rpm) is expected
            assert inside(window.corners, rpm, feed) is expected
            feeds = window.feeds_at(rpm)
            assert (feeds is not None and feeds[0] <= feed <= feeds[1]) is expected
            open_points += expected
    assert (open_points > 0) is window.is_open


@pytest.mark.parametrize(
    ("name", "limit"), [("snapping", "breaking the bit"), ("weak motor", "motor power")]
)
def test_the_limit_that_should_bind_does(name: str, limit: str) -> None:
    """A long dull 1/8 in bit on end grain snaps; 350 W do not drive a 6 mm trim in oak."""
    tightest = window_of(job(**JOBS[name])).tightest(Bound.MOST_FEED_PER_TOOTH)
    assert tightest is not None
    assert tightest.name == limit


@pytest.mark.parametrize(
    ("changes", "names"),
    [
        # Two limits that allow nothing at all: only both together would open it.
        (JOBS["snapping"], ["breaking the bit", "bending the bit"]),
        ({"router": {"input_power_w": 10.0}}, ["motor power"]),
        # 0.05 mm chips at 12,000 rpm or more from eight flutes: no hand is so fast.
        (
            {"bit": {"flutes": 8}, "router": {"plate_range_rpm": (20_000.0, 24_000.0)}},
            ["rubbing", "router's slowest", "fastest steady hand"],
        ),
    ],
)
def test_a_closed_window_says_what_is_in_the_way(changes: dict[str, Any], names: list[str]) -> None:
    closed = window_of(job(**changes))
    assert not closed.is_open
    in_the_way = closed.in_the_way()
    assert [limit.name for limit in in_the_way] == names
    without = tuple(limit for limit in closed.limits if limit not in in_the_way)
    assert open_window(without, flutes=closed.flutes).is_open


@pytest.mark.parametrize("name", ["trim", "small bit", "buried", "weak motor", "profile"])
@pytest.mark.parametrize("spindle_rpm", [11_000.0, 15_000.0])
def test_on_a_limits_line_its_own_quantity_stands_at_the_limit(
    name: str, spindle_rpm: float
) -> None:
    """Each line put back through the physics it came from."""
    job_ = job(**JOBS[name])
    body = BODIES[job_.bit.body]
    for limit in all_limits(job_, job_band(job_)):
        feed = limit.feed_at(spindle_rpm=spindle_rpm, flutes=job_.bit.flutes)
        at_rpm = limit.value if feed is None else spindle_rpm
        cut = cut_figures(job_, spindle_rpm=at_rpm, feed_mm_s=feed or 40.0)
        if limit.value == 0.0:
            continue
        quantity, stands_at = {
            "rubbing": (cut.chip_thickness_mm, limit.nature),
            "overloading": (cut.chip_thickness_mm, limit.nature),
            "breaking the bit": (cut.bending_stress_n_mm2, body.strength_n_mm2 / body.safety),
            "bending the bit": (cut.deflection_mm, DEFLECTION_LIMIT_MM),
            "motor power": (cut.power_w, cut.motor_power_w),
            "rim speed": (cut.rim_speed_m_s, RIM_LIMIT_M_S),
        }.get(limit.name, (limit.value, limit.nature))
        assert quantity == pytest.approx(stands_at, rel=1e-9), limit.name


def test_a_closed_window_has_no_feeds() -> None:
    assert window_of(job(**JOBS["snapping"])).feeds_at(15_000) is None


@given(spindle_rpm=st.floats(8_000, 24_000), feed_mm_s=st.floats(15, 120))
def test_the_nearest_limit_has_the_least_room(spindle_rpm: float, feed_mm_s: float) -> None:
    window = window_of(job())
    nearest = window.nearest(feed_mm_s=feed_mm_s, spindle_rpm=spindle_rpm)

    def room(limit: Limit) -> float:
        return limit.room(feed_mm_s=feed_mm_s, spindle_rpm=spindle_rpm, flutes=2)

    assert room(nearest) == min(room(limit) for limit in window.limits)
    assert (room(nearest) >= 0) is window.contains(feed_mm_s=feed_mm_s, spindle_rpm=spindle_rpm)


def test_limits_that_the_job_does_not_tell_are_left_out() -> None:
    told = {limit.name for limit in all_limits(job(), job_band(job()))}
    bare = replace(
        job(),
        bit=replace(job().bit, shank_mm=None),
        router=replace(job().router, input_power_w=None, plate_range_rpm=None),
    )
    left = {limit.name for limit in all_limits(bare, job_band(bare))}
    assert told - left == {
        "breaking the bit",
        "bending the bit",
        "motor power",
        "router's slowest",
        "router's fastest",
    }
