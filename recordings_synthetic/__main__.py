"""Render takes into a folder: sound, and the truth beside each."""

from __future__ import annotations

from pathlib import Path

import click

from recordings_synthetic.codecs import CODINGS
from recordings_synthetic.drawing import DIFFICULTIES, KINDS, SPLITS, seed_of
from recordings_synthetic.writing import full_set, rendered, write


@click.command()
@click.argument("folder", required=False, type=click.Path(file_okay=False, path_type=Path))
@click.option("--out", type=click.Path(file_okay=False, path_type=Path), hidden=True)
@click.option("--split", type=click.Choice(SPLITS), help="Development or held-out takes.")
@click.option("--kind", type=click.Choice(KINDS), help="What happens in the takes.")
@click.option("--difficulty", type=click.Choice(DIFFICULTIES), help="All in turn if not given.")
@click.option("--count", type=click.IntRange(1, 1000), default=30, show_default=True)
@click.option("--seed", type=click.IntRange(0, 999), default=0, show_default=True)
@click.option(
    "--format", "coding", type=click.Choice(list(CODINGS)), default="wav", show_default=True
)
def main(
    folder: Path | None,
    out: Path | None,
    split: str | None,
    kind: str | None,
    difficulty: str | None,
    count: int,
    seed: int,
    coding: str,
) -> None:
    """Render invented takes of a router at work into FOLDER, each with its exact truth.

    With neither split, kind nor difficulty it renders the full set of 60 takes, in both splits.

    \b
    Example:
      python -m recordings_synthetic takes
      python -m recordings_synthetic takes --split dev --difficulty hard --count 5
      python -m recordings_synthetic takes --kind plateaus --format aac-64k
    """
    target = folder or out
    if target is None:
        raise click.UsageError("Name the folder to render into.")
    target.mkdir(parents=True, exist_ok=True)
    chosen = full_set(seed)
    if split or kind or difficulty:
        levels = (difficulty,) if difficulty else DIFFICULTIES
        chosen = [
            (
                split or "dev",
                kind or "passes",
                levels[i % len(levels)],
                seed_of(split or "dev", seed, i),
            )
            for i in range(count)
        ]
    for number, take in enumerate(chosen, start=1):
        samples, facts = rendered(*take)
        path = write(samples, facts, target, coding=coding)
        click.echo(f"{number}/{len(chosen)}  {path.name}  {facts['duration_s']:.0f} s")


if __name__ == "__main__":
    main()
