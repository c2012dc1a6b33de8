"""The takes of the demonstration: small, invented, and what their truth says."""

import json

import pytest

from recordings_synthetic import ShippedTake, shipped_takes
from recordings_synthetic.drive import spin
from recordings_synthetic.schedule import lay_out
from recordings_synthetic.shelf import CHAPTERS, Chapter, chapter_plan

TAKES = shipped_takes()


def test_they_are_small_and_tell_one_story() -> None:
    assert 3 <= len(TAKES) <= 6
    size = sum(t.path.stat().st_size + t.truth_path.stat().st_size for t in TAKES)
    assert size < 2_000_000
    assert [t.name for t in TAKES] == sorted(t.name for t in TAKES)


@pytest.mark.parametrize("take", TAKES, ids=lambda t: t.name)
def test_each_says_that_it_is_invented(take: ShippedTake) -> None:
    facts = json.loads(take.truth_path.read_text())
    assert facts["invented"] is True
    assert facts["story"] == take.story
    assert facts["passes"] or facts["plateaus"]


@pytest.mark.parametrize("chapter", CHAPTERS, ids=lambda c: c.name)
def test_the_truth_is_that_of_the_plan(chapter: Chapter) -> None:
    import numpy as np

    plan = chapter_plan(chapter)
    rng = np.random.default_rng([plan.seed, 1])
    schedule = lay_out(plan, rng)
    spindle = spin(schedule.drive, schedule.timebase, schedule.load, rng)
    facts = json.loads(next(t for t in TAKES if t.name == chapter.name).truth_path.read_text())
    for made, placed in zip(facts["passes"], schedule.placed, strict=True):
        assert made["entry_s"] == pytest.approx(placed.entry_s, abs=2e-3)
        assert made["exit_s"] == pytest.approx(placed.exit_s, abs=2e-3)
        there, _ = placed.window(schedule.timebase.control_count)
        assert made["rpm"] == pytest.approx(spindle.rotation_hz[there].mean() * 60, rel=1e-5)


def test_the_hands_learn() -> None:
    # Half a turn of chip thickness a tooth: rubbing at first, far too much, then between.
    chips = [
        [p["chip_thickness_mm"] for p in json.loads(t.truth_path.read_text())["passes"]]
        for t in TAKES
    ]
    assert max(chips[0]) < 0.04
    assert min(chips[2]) > 0.16
    assert all(0.06 < chip < 0.12 for chip in chips[3])
