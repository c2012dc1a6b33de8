"""The takes of the demonstration: practice on the edge of an invented shelf.

One invented router, one bit, one edge of 600 mm in hardwood. The hands begin slow and
hesitant with the dial too high, turn it down, overdo it, and find the pace.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from pathlib import Path

from recordings_synthetic.calibration import plateaus_from
from recordings_synthetic.codecs import CODINGS, encode
from recordings_synthetic.drawing import MATERIALS, draw_take
from recordings_synthetic.drive import Switching, Turn
from recordings_synthetic.hands import Grain, Pause, Stroke
from recordings_synthetic.machines import vacuum
from recordings_synthetic.plan import TakePlan
from recordings_synthetic.ranges import MODERATE
from recordings_synthetic.render import render
from recordings_synthetic.teeth import Bit
from recordings_synthetic.truth import truth

EDGE_MM, BIT_MM, TRIM_MM = 600.0, 12.7, 1.6
CODING = "aac-64k"
_SEED = 3_000_000  # outside both splits


@dataclass(frozen=True, slots=True)
class Chapter:
    """One take of the story, and what happens in it."""

    name: str
    story: str
    rpm: float
    feeds_mm_s: tuple[float, ...]
    feed_wander: float
    pauses: tuple[tuple[Pause, ...], ...]
    with_vacuum: bool


CHAPTERS = (
    Chapter(
        "1-first-tries",
        "The dial stands near the top because that felt safe. The hands go slowly and stop "
        "twice to look: the edge comes out dark and polished.",
        22_300.0,
        (33.0, 36.0),
        0.22,
        ((Pause(0.45, 1.3, 0.1, False),), (Pause(0.7, 0.9, 0.1, False),)),
        False,
    ),
    Chapter(
        "2-dial-turned-down",
        "The dial is turned down and the hands go a little faster. The first pass still "
        "dawdles; in the second the router comes away from the edge for a moment.",
        16_600.0,
        (34.0, 58.0, 62.0),
        0.16,
        ((), (Pause(0.55, 0.4, 0.1, True),), ()),
        False,
    ),
    Chapter(
        "3-in-a-hurry",
        "Somebody is waiting for the shelf. The hands rush, the motor audibly bends, and the "
        "far corner tears.",
        16_600.0,
        (158.0, 172.0, 165.0),
        0.1,
        ((), (), ()),
        True,
    ),
    Chapter(
        "4-finding-the-pace",
        "The same dial, nine seconds to the edge, the shop vacuum running. Even pressure, no "
        "stops.",
        16_600.0,
        (72.0, 68.0, 70.0),
        0.1,
        ((), (), ()),
        True,
    ),
)
DIAL_NAME = "5-what-the-dial-does"
DIAL_STORY = (
    "The router runs free at one number of the dial after the other, five seconds each, so "
    "that its unmarked dial can be read in revolutions from now on."
)


def _base() -> TakePlan:
    import numpy as np

    drawn = draw_take("dev", "passes", "clean", _SEED)
    rng = np.random.default_rng([_SEED, 5])
    return replace(
        drawn,
        sample_rate_hz=44100,
        plate_range_rpm=(8000.0, 24000.0),
        clock_ppm=0.0,
        dial_turned_before=None,
        bit=Bit(BIT_MM, (0.0, 0.501), (0.0, -0.008)),
        drive=replace(
            drawn.drive,
            regulation="electronic",
            sag_fraction=0.02,
            droop_share=0.6,
            regulator_hz=1.2,
            regulator_damping=0.5,
            soft_start_s=0.8,
            coast_s=1.6,
        ),
        work=replace(
            drawn.work,
            edge_length_mm=EDGE_MM,
            trim_allowance_mm=TRIM_MM,
            material=MATERIALS["hardwood"],
            reference_feed_mm_s=80.0,
            grain=Grain(0.1, 25.0, ((0.62, 7.0, 1.6),)),
        ),
        machines=(replace(vacuum(rng, MODERATE, 40.0), level_db=-7.0),),
    )


def chapter_plan(chapter: Chapter) -> TakePlan:
    """The take of one chapter."""
    base = _base()
    strokes = tuple(
        Stroke(feed, chapter.feed_wander, 0.8, pauses, 2.2)
        for feed, pauses in zip(chapter.feeds_mm_s, chapter.pauses, strict=True)
    )
    running = replace(
        base.machines[0],
        drive=replace(base.machines[0].drive, switchings=(Switching(-20.0, on=True),)),
    )
    return replace(
        base,
        name=chapter.name,
        seed=_SEED + int(chapter.name[0]),
        run_mode="switched on and off",
        reference_rpm=18_000.0,
        lead_s=0.6,
        tail_s=3.5,
        cut_end_s=0.0,
        drive=replace(
            base.drive,
            switchings=(Switching(0.6, on=True),),
            turns=(Turn(-30.0, chapter.rpm, 1.0),),
        ),
        work=replace(base.work, strokes=strokes, sets_off_at_s=4.2),
        machines=(running,) if chapter.with_vacuum else (),
    )


def dial_plan() -> TakePlan:
    """The take that reads the dial."""
    drawn = plateaus_from(_base(), seed=_SEED + 9, order="rising")
    return replace(drawn, name=DIAL_NAME, machines=())


def write_shelf(folder: Path) -> None:
    """Render the story into a folder: sound, and truth in steps of 50 ms."""
    folder.mkdir(parents=True, exist_ok=True)
    stories = [(chapter_plan(chapter), chapter.story) for chapter in CHAPTERS]
    for plan, story in [*stories, (dial_plan(), DIAL_STORY)]:
        rendering = render(plan)
        coding = CODINGS[CODING]
        path = folder / f"{plan.name}{coding.suffix}"
        encode(rendering.samples, plan.sample_rate_hz, path, coding)
        facts = truth(rendering, step_s=0.05) | {"story": story, "coding": CODING}
        text = json.dumps(facts, separators=(",", ":"))
        path.with_suffix(".json").write_text(text, encoding="utf-8")
