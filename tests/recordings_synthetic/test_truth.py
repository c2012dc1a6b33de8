"""The truth hangs together, and is the same every time."""

import hashlib
import json

import numpy as np
import pytest

from recordings_synthetic.drawing import DIFFICULTIES, SPLITS, draw_take, seed_of
from recordings_synthetic.render import Rendering, render
from recordings_synthetic.truth import truth

CHOSEN = [
    ("dev", "passes", "clean", seed_of("dev", 7, 0)),
    ("dev", "passes", "moderate", seed_of("dev", 7, 1)),
    ("held_out", "passes", "hard", seed_of("held_out", 7, 2)),
    ("held_out", "two machines", "hard", seed_of("held_out", 7, 3)),
]


@pytest.fixture(scope="module", params=CHOSEN, ids=lambda c: f"{c[1]}-{c[2]}")
def rendering(request: pytest.FixtureRequest) -> Rendering:
    return render(draw_take(*request.param))


def test_passes_hang_together(rendering: Rendering) -> None:
    facts = truth(rendering)
    setup = facts["setup"]
    diameter, trim = setup["bit_diameter_mm"], setup["trim_allowance_mm"]
    travel = setup["edge_length_mm"] + np.sqrt(trim * (diameter - trim))
    assert facts["passes"]
    before = -1.0
    for made in facts["passes"]:
        assert before < made["entry_s"] < made["exit_s"] <= facts["duration_s"] + 0.002
        before = made["exit_s"]
        pauses = made["dwells"] + made["liftoffs"]
        stood = sum(p["end_s"] - p["start_s"] for p in pauses)
        assert made["moving_time_s"] == pytest.approx(
            made["exit_s"] - made["entry_s"] - stood, abs=2e-3
        )
        for pause in pauses:
            assert made["entry_s"] <= pause["start_s"] < pause["end_s"] <= made["exit_s"] + 1e-3
        assert made["feed_mm_s"] * made["moving_time_s"] == pytest.approx(
            made["travel_mm"], rel=1e-4
        )
        assert made["chip_load_mm"] * made["rpm"] * setup["flutes"] == pytest.approx(
            made["feed_mm_s"] * 60, rel=1e-4
        )
        assert made["sag_percent"] == pytest.approx(
            100 * (1 - made["rpm"] / made["idle_rpm"]), abs=0.01
        )
        if made["complete"]:
            assert made["travel_mm"] == pytest.approx(travel, abs=1e-3)
        else:
            assert made["entry_s"] == 0 or made["exit_s"] > facts["duration_s"] - 0.01
            assert made["pass_feed_mm_s"] is None


def test_speeds_lie_on_the_plate_and_are_null_when_off(rendering: Rendering) -> None:
    facts = truth(rendering)
    low, high = facts["setup"]["plate_range_rpm"]
    course = facts["spindle"]
    assert course["time_s"][-1] == pytest.approx(facts["duration_s"], abs=0.011)
    for rpm, state in zip(course["rpm"], course["state"], strict=True):
        assert (rpm is None) == (state == "off")
        if state == "running":
            assert 0.6 * low < rpm < 1.1 * high


def test_it_is_plain_json_and_says_that_it_is_invented(rendering: Rendering) -> None:
    facts = truth(rendering)
    assert json.loads(json.dumps(facts)) == facts
    assert facts["invented"] is True
    assert facts["schema"] == 1


def test_a_plan_renders_to_the_same_samples_every_time() -> None:
    chosen = ("dev", "plateaus", "moderate", seed_of("dev", 8, 0))
    digests = {
        hashlib.sha256(render(draw_take(*chosen)).samples.tobytes()).hexdigest() for _ in range(2)
    }
    assert len(digests) == 1


def test_plateaus_are_as_steady_as_they_say() -> None:
    rendering = render(draw_take("dev", "plateaus", "clean", seed_of("dev", 8, 1)))
    facts = truth(rendering)
    assert len(facts["plateaus"]) >= 5
    for plateau in facts["plateaus"]:
        inside = rendering.spindle.rotation_hz[
            round(plateau["start_s"] * 1000) : round(plateau["end_s"] * 1000)
        ]
        assert inside.mean() * 60 == pytest.approx(plateau["rpm"], rel=1e-4)
        assert np.std(inside) < 0.01 * inside.mean()
        assert plateau["end_s"] - plateau["start_s"] > 3.0
        assert plateau["setting"] in range(1, 8)


def test_the_splits_share_no_seed() -> None:
    first, last = seed_of("dev", 0, 0), seed_of("dev", 999, 999)
    assert first < last < seed_of("held_out", 0, 0)


@pytest.mark.parametrize("split", SPLITS)
@pytest.mark.parametrize("difficulty", DIFFICULTIES)
def test_plans_are_varied(split: str, difficulty: str) -> None:
    plans = [draw_take(split, "passes", difficulty, seed_of(split, 9, i)) for i in range(40)]
    assert len({p.bit.flutes for p in plans}) >= 3
    assert len({p.run_mode for p in plans}) == 4
    assert len({p.plate_range_rpm for p in plans}) >= 5
    speeds = [p.reference_rpm for p in plans]
    assert min(speeds) < 13_000
    assert max(speeds) > 21_000
