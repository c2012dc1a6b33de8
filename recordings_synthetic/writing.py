"""Write a rendering: its sound in some coding, its truth as JSON beside it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from recordings_synthetic.codecs import CODINGS, encode
from recordings_synthetic.drawing import DIFFICULTIES, SPLITS, draw_take, seed_of
from recordings_synthetic.render import render
from recordings_synthetic.steady import draw_steady, render_steady, steady_truth
from recordings_synthetic.truth import truth

# What is rendered when nothing is chosen: kind, how many of each difficulty and split.
FULL_SET = (("passes", 7), ("two machines", 1), ("plateaus", 1), ("steady", 1))


def rendered(
    split: str, kind: str, difficulty: str, seed: int, *, step_s: float = 0.01
) -> tuple[NDArray[np.int16], dict[str, Any]]:
    """Samples and truth of one take, without writing anything."""
    if kind == "steady":
        plan = draw_steady(split, seed)
        return render_steady(plan), steady_truth(plan, step_s=step_s)
    rendering = render(draw_take(split, kind, difficulty, seed))
    return rendering.samples, truth(rendering, step_s=step_s)


def write(
    samples: NDArray[np.int16], facts: dict[str, Any], folder: Path, *, coding: str = "wav"
) -> Path:
    """Write sound and truth under the take's name; return the sound's path."""
    chosen = CODINGS[coding]
    path = folder / f"{facts['name']}{chosen.suffix}"
    encode(samples, facts["sample_rate_hz"], path, chosen)
    facts = facts | {"coding": coding}
    path.with_suffix(".json").write_text(json.dumps(facts), encoding="utf-8")
    return path


def full_set(seed: int) -> list[tuple[str, str, str, int]]:
    """Split, kind, difficulty and seed of each of the 60 takes of the documented set."""
    chosen = []
    for split in SPLITS:
        index = 0
        for kind, each in FULL_SET:
            for difficulty in DIFFICULTIES:
                for _ in range(each):
                    chosen.append((split, kind, difficulty, seed_of(split, seed, index)))
                    index += 1
    return chosen
