"""What live coaching costs, and how soon it speaks: one row for each take.

Run `python tests/benchmarks/live_cost.py [TAKE ...]`; without takes, the practice takes that
come with it. Each take is fed in blocks of 2,048 samples as fast as it goes; a verdict's
latency is the sound that had to be heard after the exit, plus the time the block took. Times of
computing are this process's own CPU seconds, so that a busy machine does not count.

With `--hours H` the takes follow one another again and again for H hours of sound, coached and
kept as `toothbeat listen` does it, FLAC and events included, but for the ear, which is in this
process instead of its own; told every ten minutes of sound: the
share of a core, the longest block, how late the verdicts were, the process's memory.
"""

from __future__ import annotations

import argparse
import itertools
import json
import resource
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

import recordings_synthetic
from listen.decoding import open_take
from listen.live.coach import Coach
from listen.live.ear import live_ear
from listen.live.frames import Samples
from listen.live.intake import Piece
from listen.live.memory import EVERY_S, give_back
from listen.live.recording import Order, Recording
from listen.live.shelf import Shelf
from listen.live.told import PassTold, PassWithdrawn, Speed
from listen.setup import Bench, bench_of

BLOCK = 2048
TAKES = Path(recordings_synthetic.__file__).parent / "takes"


@dataclass
class Measured:
    """Figures of one take, seconds."""

    core: float
    latencies_s: list[float] = field(default_factory=list)
    ages_s: list[float] = field(default_factory=list)
    blocks_s: list[float] = field(default_factory=list)
    withdrawn: int = 0


def read(path: Path) -> tuple[Bench, int, Samples]:
    """A take with the bench that its truth tells."""
    bench = bench_of(json.loads(path.with_suffix(".json").read_text())["setup"])
    with open_take(path) as take:
        return bench, take.sample_rate_hz, np.concatenate(list(take.blocks()))


def measure(bench: Bench, rate_hz: int, sound: Samples) -> Measured:
    """Coach a take as fast as it goes."""
    coach = Coach(live_ear(bench, rate_hz), bench=bench, sample_rate_hz=rate_hz)
    measured = Measured(0.0)
    started_s = time.process_time()
    for first in range(0, len(sound), BLOCK):
        begun_s = time.process_time()
        for news in coach.hear(Piece(sound[first : first + BLOCK])):
            spent_s = time.process_time() - begun_s
            if isinstance(news, Speed):
                measured.ages_s.append(news.age_s + spent_s)
            elif isinstance(news, PassTold) and not news.again:
                measured.latencies_s.append(coach.now_s - news.reading.exit_s + spent_s)
            elif isinstance(news, PassWithdrawn):
                measured.withdrawn += 1
        measured.blocks_s.append(time.process_time() - begun_s)
    measured.core = (time.process_time() - started_s) / (len(sound) / rate_hz)
    return measured


def memory_mb() -> float:
    """Memory in use now."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * resource.getpagesize() / 1e6


def long_run(paths: list[Path], hours: float, home: Path) -> None:
    """Record the takes over and over as one, and tell cost and memory."""
    takes = [read(path) for path in paths]
    bench, rate_hz, _ = takes[0]
    sound = np.concatenate([sound for _, other_hz, sound in takes if other_hz == rate_hz])
    recording = Recording(
        shelf=Shelf(home), make_ear=live_ear, order=Order(bench, rate_hz), about={"setup": {}}
    )
    told, blocks_s, latencies_s = 0, list[float](), list[float]()
    at_s = tidy_s = 0.0
    for first in itertools.count(0, BLOCK):
        block = sound.take(range(first, first + BLOCK), mode="wrap")
        begun_s = time.process_time()
        for news in recording.hear(Piece(block)):
            if isinstance(news, PassTold) and not news.again:
                told += 1
                late_s = recording.duration_s - news.reading.exit_s
                latencies_s.append(late_s + time.process_time() - begun_s)
        if recording.duration_s - tidy_s >= EVERY_S:
            tidy_s = recording.duration_s
            give_back()
        blocks_s.append(time.process_time() - begun_s)
        if recording.duration_s - at_s >= 600:
            core = sum(blocks_s) / (recording.duration_s - at_s)
            at_s = recording.duration_s
            print(
                f"{at_s / 60:4.0f} min of sound  {100 * core:4.1f} % of a core  longest block "
                f"{max(blocks_s):4.2f} s  {told:4} verdicts, p95 "
                f"{np.percentile(latencies_s, 95):4.2f} s  {memory_mb():4.0f} MB",
                flush=True,
            )
            blocks_s, latencies_s = [], []
            if at_s >= 3600 * hours:
                break
    begun_s = time.process_time()
    for _ in recording.finish():
        pass
    print(f"the end took {time.process_time() - begun_s:.1f} s, then {memory_mb():.0f} MB")


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("takes", nargs="*", type=Path, default=sorted(TAKES.glob("[1-4]*.m4a")))
    parser.add_argument("--hours", type=float)
    asked = parser.parse_args()
    if asked.hours:
        with tempfile.TemporaryDirectory() as home:
            long_run(asked.takes, asked.hours, Path(home))
        return
    print(f"{'take':32} {'core':>6} {'verdict p50':>12} {'p95':>6} {'rpm age p95':>12} "
          f"{'block max':>10} {'withdrawn':>10}")  # fmt: skip
    latencies_s: list[float] = []
    for path in asked.takes:
        measured = measure(*read(path))
        latencies_s += measured.latencies_s
        told = measured.latencies_s or [float("nan")]
        print(
            f"{path.name:32} {100 * measured.core:5.1f}% {np.percentile(told, 50):10.2f} s "
            f"{np.percentile(told, 95):4.2f} s {np.percentile(measured.ages_s, 95):10.2f} s "
            f"{max(measured.blocks_s):8.2f} s {measured.withdrawn:>10}"
        )
    print(f"all verdicts: p95 {np.percentile(latencies_s, 95):.2f} s of {len(latencies_s)}")
    print(f"memory {memory_mb():.0f} MB")


if __name__ == "__main__":
    main()
