"""How well takes are heard, measured on rendered ones and held against the targets.

    python -m tests.benchmarks.accuracy FOLDER
    python -m tests.benchmarks.accuracy --render 45 --split held_out

FOLDER holds takes with their truth beside them, as `python -m recordings_synthetic` writes them.
One column for each difficulty; a figure with an asterisk misses its target. Below the table stand
the takes that are behind it, by name. What is counted and how: `tests/benchmarks/scoring.py`.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import click
import numpy as np

from analysis.coaching.verdict import Verdict
from recordings_synthetic.drawing import DIFFICULTIES, SPLITS, seed_of
from recordings_synthetic.writing import rendered, write
from tests.benchmarks.scoring import GROSS, NEAR, Floats, TakeScore, f1, score_take, takes_in


@dataclass(frozen=True, slots=True)
class Measure:
    """A row of the table: its figure, and the target that the figure is held against."""

    name: str
    figure: Callable[[list[TakeScore]], float]
    low: float = -np.inf
    high: float = np.inf
    hard_low: float | None = None
    target: str = ""

    def cell(self, scores: list[TakeScore], difficulty: str, *, slack: float) -> str:
        """The figure, with an asterisk if it misses."""
        value = self.figure(scores)
        low = self.hard_low if difficulty == "hard" and self.hard_low is not None else self.low
        missed = value < low - slack or value > self.high
        shown = "–" if np.isnan(value) else f"{value:.4g}"
        return f"{shown:>10}{'*' if missed else ' '}"


def _errors(scores: list[TakeScore]) -> Floats:
    return np.concatenate([s.speed.errors for s in scores])


def _percentile(name: str, share: float, scale: float) -> Callable[[list[TakeScore]], float]:
    def figure(scores: list[TakeScore]) -> float:
        values = [value for s in scores for value in getattr(s, name)]
        return scale * float(np.percentile(values, share)) if values else float("nan")

    return figure


def _verdict_share(
    counts: Callable[[Verdict, Verdict], bool],
) -> Callable[[list[TakeScore]], float]:
    def figure(scores: list[TakeScore]) -> float:
        verdicts = [pair for s in scores for pair in s.verdicts]
        return 100 * float(np.mean([counts(*v) for v in verdicts])) if verdicts else float("nan")

    return figure


def _off_stated(scores: list[TakeScore]) -> float:
    frames = sum(s.speed.off_frames for s in scores)
    return 100 * sum(s.speed.off_stated for s in scores) / frames if frames else float("nan")


def _covered(scores: list[TakeScore]) -> float:
    covered = [value for s in scores for value in s.covered]
    return 100 * float(np.mean(covered)) if covered else float("nan")


MEASURES = (
    Measure("takes", lambda s: len(s)),
    Measure("speed: median error, %", lambda s: 100 * float(np.nanmedian(_errors(s))),
            high=0.05, target="<= 0.05"),
    Measure("speed: within 0.5 %, % of running frames",
            lambda s: 100 * float(np.mean(_errors(s) <= NEAR)),
            low=99, hard_low=96, target=">= 99, hard 96"),
    Measure("speed: gross or unheard, %",
            lambda s: 100 * float(np.mean(~(_errors(s) <= GROSS))), high=0.3, target="<= 0.3"),
    Measure("speed: unheard, %",
            lambda s: 100 * float(np.mean(np.isnan(_errors(s))))),
    Measure("speed stated while off, % of off frames", _off_stated),
    Measure("takes locked on a ratio or a machine",
            lambda s: sum(t.speed.locked_on is not None for t in s), high=0, target="0"),
    Measure("passes, true", lambda s: sum(t.passes.true for t in s)),
    Measure("passes: F1, %", lambda s: 100 * f1([t.passes for t in s]), low=98, target=">= 98"),
    Measure("entry: median, ms", _percentile("entry_errors_s", 50, 1e3), high=60, target="<= 60"),
    Measure("entry: 90 %, ms", _percentile("entry_errors_s", 90, 1e3), high=150, target="<= 150"),
    Measure("exit: median, ms", _percentile("exit_errors_s", 50, 1e3), high=60, target="<= 60"),
    Measure("exit: 90 %, ms", _percentile("exit_errors_s", 90, 1e3), high=150, target="<= 150"),
    Measure("dwells of 0.4 s and more, true", lambda s: sum(t.dwells.true for t in s)),
    Measure("dwells: F1, %", lambda s: 100 * f1([t.dwells for t in s]), low=90, target=">= 90"),
    Measure("chip load: median error, %", _percentile("chip_errors", 50, 100),
            high=1.5, target="<= 1.5"),
    Measure("chip load: 95 %, %", _percentile("chip_errors", 95, 100), high=5, target="<= 5"),
    Measure("stated intervals cover, % of passes", _covered, low=92, high=99, target="92 to 99"),
    Measure("verdicts wrong, %",
            _verdict_share(lambda true, told: told not in (true, Verdict.UNSURE)),
            high=1, target="<= 1"),
    Measure("verdicts unsure, %", _verdict_share(lambda _, told: told is Verdict.UNSURE),
            high=10, target="<= 10"),
    Measure("seconds of sound per core second",
            lambda s: sum(t.sound_s for t in s) / sum(t.core_s for t in s)),
)  # fmt: skip


def print_table(scores: list[TakeScore], *, with_range: bool) -> None:
    """One column for each difficulty, and the target; asterisks mark what misses it."""
    slack = 0.0 if with_range else 2.0
    print(f"{'':<42}" + "".join(f"{d:>10} " for d in DIFFICULTIES) + "  target")
    for measure in MEASURES:
        cells = []
        for difficulty in DIFFICULTIES:
            part = [s for s in scores if s.difficulty == difficulty]
            cells.append(measure.cell(part, difficulty, slack=slack) if part else f"{'–':>10} ")
        print(f"{measure.name:<42}" + "".join(cells) + f"  {measure.target}")


def print_worst(scores: list[TakeScore]) -> None:
    """Tell the takes that are behind what the table misses."""
    for s in scores:
        near = float(np.mean(s.speed.errors <= NEAR)) if len(s.speed.errors) else 1.0
        wrong = [f"{told.value}, truly {true.value}" for true, told in s.verdicts
                 if told not in (true, Verdict.UNSURE)]  # fmt: skip
        said = [
            f"within 0.5 % {100 * near:.1f} %" if near < (0.96 if s.difficulty == "hard" else 0.99)
            else "",
            f"locked on {s.speed.locked_on}" if s.speed.locked_on else "",
            f"passes {s.passes.true_found} of {s.passes.true}, told {s.passes.told}"
            if s.passes.true_found != max(s.passes.true, s.passes.told) else "",
            f"dwells {s.dwells.true_found} of {s.dwells.true}, true {s.dwells.told_true} of "
            f"{s.dwells.told} told"
            if (s.dwells.true_found, s.dwells.told_true) != (s.dwells.true, s.dwells.told) else "",
            f"chip load off by {100 * max(s.chip_errors):.1f} %"
            if max(s.chip_errors, default=0) > 0.05 else "",
            f"wrong verdicts: {'; '.join(wrong)}" if wrong else "",
        ]  # fmt: skip
        if any(said):
            print(f"{s.name}: {', '.join(filter(None, said))}")


@contextmanager
def rendered_folder(count: int, split: str, seed: int) -> Iterator[Path]:
    """Render `count` takes of passes, the three difficulties in turn, and drop them afterwards."""
    with tempfile.TemporaryDirectory() as name:
        for index in range(count):
            level = DIFFICULTIES[index % len(DIFFICULTIES)]
            write(*rendered(split, "passes", level, seed_of(split, seed, index)), Path(name))
        yield Path(name)


def print_scores(folder: Path, *, with_range: bool) -> None:
    """Hear every take in the folder and print what came of it."""
    scores = [score_take(path, truth, with_range=with_range) for path, truth in takes_in(folder)]
    if not scores:
        raise click.UsageError(f'"{folder}" holds no rendered takes of passes.')
    print_table(scores, with_range=with_range)
    print()
    print_worst(scores)


@click.command()
@click.argument("folder", required=False, type=click.Path(exists=True, path_type=Path))
@click.option("--render", type=click.IntRange(1, 1000), help="Render so many takes instead.")
@click.option("--split", type=click.Choice(SPLITS), default="held_out", show_default=True)
@click.option("--seed", type=click.IntRange(0, 999), default=7, show_default=True)
@click.option("--no-range", is_flag=True, help="Listen without the plate's speed range.")
def main(folder: Path | None, render: int | None, split: str, seed: int, *, no_range: bool) -> None:
    """Print the accuracy table of the takes in FOLDER, or of takes rendered for it."""
    if (folder is None) == (render is None):
        raise click.UsageError("Name a folder of rendered takes, or ask for some with --render.")
    if folder is not None:
        print_scores(folder, with_range=not no_range)
    elif render is not None:
        with rendered_folder(render, split, seed) as made:
            print_scores(made, with_range=not no_range)


if __name__ == "__main__":
    main()
