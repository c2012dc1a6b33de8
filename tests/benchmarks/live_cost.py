"""What live coaching costs, and how soon it speaks: one row for each take.

Run `python tests/benchmarks/live_cost.py [TAKE ...]`; without takes, the practice takes that
come with it. Each take is fed in blocks of 2,048 samples as fast as it goes; a verdict's
latency is the sound that had to be heard after the exit, plus the time the block took. Times of
computing are this process's own CPU seconds, so that a busy machine does not count. With `--hours
H`, the first take is heard again and again for H hours of sound, and the process's
memory is told every ten minutes of it.
"""

from __future__ import annotations

import argparse
import json
import resource
import time
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

import recordings_synthetic
from listen.decoding import open_take
from listen.live.coach import Coach
from listen.live.frames import Samples
from listen.live.intake import Piece
from listen.live.recording import live_ear
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


def long_run(path: Path, hours: float) -> None:
    """Hear one take over and over, and tell the memory."""
    bench, rate_hz, sound = read(path)
    coach = Coach(live_ear(bench, rate_hz), bench=bench, sample_rate_hz=rate_hz)
    told_s = -600.0
    while coach.now_s < 3600 * hours:
        for first in range(0, len(sound), BLOCK):
            for _ in coach.hear(Piece(sound[first : first + BLOCK])):
                pass
        if coach.now_s - told_s >= 600:
            told_s = coach.now_s
            print(f"{coach.now_s / 60:6.0f} min of sound  {memory_mb():6.0f} MB", flush=True)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("takes", nargs="*", type=Path, default=sorted(TAKES.glob("[1-4]*.m4a")))
    parser.add_argument("--hours", type=float)
    asked = parser.parse_args()
    if asked.hours:
        long_run(asked.takes[0], asked.hours)
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
