"""Render takes into a folder: sound, and the truth beside each."""

from __future__ import annotations

import json
from pathlib import Path

import click
import numpy as np

from recordings_synthetic.render import Rendering, render
from recordings_synthetic.takes import DIFFICULTIES, KINDS, SPLITS, draw_take, seed_of
from recordings_synthetic.truth import truth


def write(rendering: Rendering, folder: Path) -> Path:
    """Write one rendering as a WAV file with its truth beside it."""
    from scipy.io import wavfile

    path = folder / f"{rendering.plan.name}.wav"
    wavfile.write(path, rendering.plan.sample_rate_hz, np.asarray(rendering.samples))
    path.with_suffix(".json").write_text(json.dumps(truth(rendering)), encoding="utf-8")
    return path


@click.command()
@click.option("--out", type=click.Path(file_okay=False, path_type=Path), required=True)
@click.option("--split", type=click.Choice(SPLITS), default="dev", show_default=True)
@click.option("--kind", type=click.Choice(KINDS), default="passes", show_default=True)
@click.option(
    "--difficulty", type=click.Choice(DIFFICULTIES), help="One only; all in turn if absent."
)
@click.option("--count", type=click.IntRange(1, 1000), default=30, show_default=True)
@click.option("--seed", type=click.IntRange(0, 999), default=0, show_default=True)
def main(out: Path, split: str, kind: str, difficulty: str | None, count: int, seed: int) -> None:
    """Render invented takes of a router at work, each with its exact truth."""
    out.mkdir(parents=True, exist_ok=True)
    levels = (difficulty,) if difficulty else DIFFICULTIES
    for index in range(count):
        plan = draw_take(split, kind, levels[index % len(levels)], seed_of(split, seed, index))
        path = write(render(plan), out)
        click.echo(f"{index + 1}/{count} {path.name}")


if __name__ == "__main__":
    main()
