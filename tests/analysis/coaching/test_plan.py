"""The plan: what it advises keeps every limit, and its advice before the cut."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.coaching.explaining import say_conflict
from analysis.coaching.guidance import Weight
from analysis.coaching.plan import Plan, make_plan
from analysis.coaching.wording import Units
from analysis.cutting.materials import material_named
from analysis.cutting.tools import BitStyle, Grain, Mounting, Sharpness
from tests.analysis.cutting.jobs import job


def topics(plan: Plan) -> dict[str, Weight]:
    return {note.topic: note.weight for note in plan.notes}


@given(
    diameter_mm=st.floats(3, 60),
    share=st.floats(0.02, 1.0),
    flutes=st.integers(1, 4),
    thickness_mm=st.floats(2, 32),
    edge_length_mm=st.floats(30, 3_000),
    low_rpm=st.floats(5_000, 12_000),
    high_rpm=st.floats(16_000, 35_000),
    power_w=st.floats(300, 2_500),
    max_rpm=st.none() | st.floats(12_000, 30_000),
    name=st.sampled_from(["hardwood", "spruce", "MDF", "acrylic", "oak"]),
    grain=st.sampled_from([Grain.ALONG, Grain.END]),
    sharpness=st.sampled_from(Sharpness),
)
def test_whatever_is_advised_keeps_every_limit(
    diameter_mm: float,
    share: float,
    flutes: int,
    thickness_mm: float,
    edge_length_mm: float,
    low_rpm: float,
    high_rpm: float,
    power_w: float,
    max_rpm: float | None,
    name: str,
    grain: Grain,
    sharpness: Sharpness,
) -> None:
    plan = make_plan(
        job(
            bit={
                "diameter_mm": diameter_mm,
                "flutes": flutes,
                "max_rpm": max_rpm,
                "sharpness": sharpness,
            },
            router={"plate_range_rpm": (low_rpm, high_rpm), "input_power_w": power_w},
            work={
                "trim_allowance_mm": share * diameter_mm,
                "thickness_mm": thickness_mm,
                "edge_length_mm": edge_length_mm,
                "material": name,
                "grain": grain,
            },
        )
    )
    if not plan.fits:
        assert plan.start is None
        assert say_conflict(plan.in_the_way, Units.MM)
        return
    assert plan.start is not None
    assert plan.work_up_to is not None
    assert plan.start.spindle_rpm <= plan.work_up_to.spindle_rpm
    # A rounding error at a corner of the window is no breach.
    slack = -1e-9
    for row in (plan.start, plan.work_up_to, *plan.pace):
        if row.aim is None:
            continue
        for feed_mm_s in (row.aim.low_mm_s, row.aim.high_mm_s):
            assert all(
                limit.room(feed_mm_s=feed_mm_s, spindle_rpm=row.spindle_rpm, flutes=flutes) >= slack
                for limit in plan.window.limits
            )
    assert plan.beat_s is not None
    assert plan.start.low_s is not None
    assert plan.start.high_s is not None
    assert plan.start.low_s - 1e-9 <= plan.beat_s <= plan.start.high_s + 1e-9
    assert all(room.share >= slack for room in plan.rooms)


def test_what_is_in_the_way_is_told_with_what_helps() -> None:
    plan = make_plan(job(router={"input_power_w": 10.0}))
    assert say_conflict(plan.in_the_way, Units.MM) == (
        "In the way: motor power (6 W at top speed). What helps: take less depth in one pass, "
        "or a sharper bit."
    )


def test_the_advised_cut_in_figures_by_hand() -> None:
    """61.42 mm/s at 15,500 rpm, two flutes: 0.118877 mm a tooth, 0.237755 mm a turn.

    Cusp 0.237755**2/(4 x 12.7) = 1.1128 um; 25/0.237755 = 105.15 marks; 1.5875 x 19 x 61.42 mm3/s.
    """
    figures = make_plan(job()).figures
    assert figures is not None
    assert figures.feed_per_tooth_mm == pytest.approx(0.118877, abs=5e-7)
    assert figures.cusp_height_mm == pytest.approx(1.1128e-3, rel=1e-3)
    assert figures.marks_per_25_mm == pytest.approx(105.15, abs=0.01)
    assert figures.removal_mm3_s == pytest.approx(1852.58, abs=0.05)
    assert figures.mean_chip_thickness_mm == pytest.approx(0.118877 * 0.34591, rel=1e-5)


def test_quarter_marks_by_hand() -> None:
    """10 s for 610 + 4.2 mm: the first quarter (152.5 mm) is passed at (4.2 + 152.5)/61.42 s."""
    plan = make_plan(job())
    assert plan.beat_s == 10.0
    assert plan.quarters_s == pytest.approx((2.551, 5.034, 7.517, 10.0), abs=5e-4)


def test_a_speed_that_is_asked_for_is_planned_for() -> None:
    plan = make_plan(job(), speed_rpm=20_000)
    assert plan.start is not None
    assert plan.start.spindle_rpm == 20_000
    assert make_plan(job(), speed_rpm=26_000).fits is False


@pytest.mark.parametrize(
    ("changes", "topic", "weight"),
    [
        ({"bit": {"style": BitStyle.UP_CUT}}, "lift", Weight.CAUTION),
        (
            {"bit": {"diameter_mm": 6.35}, "router": {"input_power_w": 1800.0}},
            "small bit",
            Weight.CAUTION,
        ),
        ({"bit": {"diameter_mm": 41.0}}, "large bit", Weight.STOP),
        ({"bit": {"diameter_mm": 28.0}}, "large bit", Weight.CAUTION),
        ({"work": {"trim_allowance_mm": 12.7}}, "buried bit", Weight.CAUTION),
        ({"work": {"trim_allowance_mm": 5.0}}, "thick trim", Weight.CAUTION),
        ({"work": {"grain": Grain.END}}, "end grain", Weight.CAUTION),
        ({"work": {"grain": Grain.AGAINST}}, "grain", Weight.CAUTION),
        ({"bit": {"sharpness": Sharpness.DULL}}, "dull edge", Weight.CAUTION),
        ({"bit": {"max_rpm": 18_000.0}}, "marked maximum", Weight.CAUTION),
        ({"bit": {"diameter_mm": 60.0}}, "speed", Weight.CAUTION),
        ({"work": {"inside_radius_mm": 5.0}}, "inside corners", Weight.STOP),
        ({"work": {"inside_radius_mm": 6.35}}, "inside corners", Weight.TIP),
        ({}, "feed direction", Weight.CAUTION),
        (
            {"bit": {"diameter_mm": 6.35}, "work": {"trim_allowance_mm": 6.35}},
            "narrow window",
            Weight.CAUTION,
        ),
    ],
)
def test_what_to_watch_out_for(changes: dict[str, Any], topic: str, weight: Weight) -> None:
    assert topics(make_plan(job(**changes)))[topic] is weight


@pytest.mark.parametrize(
    ("mains_hz", "speed_rpm", "told"),
    [(50.0, 18_000, True), (60.0, 18_000, True), (50.0, 17_000, False), (60.0, 15_000, False)],
)
def test_speeds_on_the_hum_of_the_mains(mains_hz: float, speed_rpm: float, told: bool) -> None:
    """18,000 rpm is 300 Hz, 6 x 50 and 5 x 60; 17,000 is 283.3 and 15,000 is 250 Hz."""
    plan = make_plan(job(router={"mains_hz": mains_hz}), speed_rpm=speed_rpm)
    assert ("recording" in topics(plan)) is told


def test_boards_have_no_grain_to_mind() -> None:
    assert "grain" not in topics(make_plan(job(work={"material": material_named("MDF")})))


@pytest.mark.parametrize(
    ("style", "mounting", "side"),
    [
        (BitStyle.UP_CUT, Mounting.HAND, "on top"),
        (BitStyle.UP_CUT, Mounting.TABLE, "underneath"),
        (BitStyle.DOWN_CUT, Mounting.HAND, "underneath"),
        (BitStyle.DOWN_CUT, Mounting.TABLE, "on top"),
    ],
)
def test_a_template_backs_the_fibres_that_are_pushed(
    style: BitStyle, mounting: Mounting, side: str
) -> None:
    """Up-cut flutes carry chips to the shank: up when hand-held, down in a table."""
    plan = make_plan(job(bit={"style": style}, router={"mounting": mounting}))
    (note,) = (note for note in plan.notes if note.topic == "fibres and template")
    assert f"A template {side} backs the fibres" in note.text


@pytest.mark.parametrize(
    ("mounting", "words"),
    [(Mounting.HAND, "left to right"), (Mounting.TABLE, "right to left")],
)
def test_which_way_to_feed(mounting: Mounting, words: str) -> None:
    """Common practice: against the bit's turn."""
    (note,) = (
        note
        for note in make_plan(job(router={"mounting": mounting})).notes
        if note.topic == "feed direction"
    )
    assert words in note.text
    assert "climb cut" in note.text
