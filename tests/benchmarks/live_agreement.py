"""How well the live form agrees with the review, how soon it says so, and what it costs.

    python -m recordings_synthetic takes --split dev --kind passes
    python tests/benchmarks/live_agreement.py [-v] takes/*.wav

Every take is fed in blocks of a fiftieth of a second, and at its end is reviewed. Told for each
pass that the review holds complete: whether the live verdict was the review's, and whether time
and speed were the same within what the two say they know; as first said, and as it stood when the
take ended, with all that was heard again by then. The latter is what the target is held against.
What stands after the end is the review itself (`tests/listen/page/test_sound.py`). Latency is
counted in sound: from the true exit, by the take's truth, to the block with which the pass was
ended; computing time is told beside it, in CPU seconds, and added for the first pass of each take,
before which a cut was never heard.
"""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable
from concurrent.futures import Executor, Future
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from scipy.io import wavfile

from analysis.coaching.reading import read_pass
from analysis.hearing.events import (
    DwellHeard,
    PassEnded,
    PassEntered,
    PassesRevised,
    PassResumed,
    SpeedHeard,
)
from analysis.hearing.live import LiveListener
from analysis.hearing.passes import HeardPass
from listen.setup import Bench, bench_of

BLOCK_S = 0.02
NEAR_S = 0.5


@dataclass
class Score:
    """Figures of one take or many."""

    review: int = 0
    first_verdict: int = 0
    first_agreed: int = 0
    verdict: int = 0
    agreed: int = 0
    extra: int = 0
    resumed: int = 0
    revised: int = 0
    truth: int = 0
    seconds: float = 0.0
    cost_s: float = 0.0
    latency_s: list[float] = field(default_factory=list)
    first_s: list[float] = field(default_factory=list)
    compute_s: list[float] = field(default_factory=list)
    entry_age_s: list[float] = field(default_factory=list)
    dwell_age_s: list[float] = field(default_factory=list)
    dwells: int = 0
    dwells_true: int = 0
    dwells_wrong: int = 0
    speed_age_s: list[float] = field(default_factory=list)

    def add(self, other: Score) -> None:
        for name in self.__dataclass_fields__:
            setattr(self, name, getattr(self, name) + getattr(other, name))

    def __str__(self) -> str:
        def at(values: list[float], share: float) -> float:
            return float(np.percentile(values, share)) if values else float("nan")

        return (
            f"verdict {self.first_verdict} then {self.verdict}, figures {self.first_agreed} then"
            f" {self.agreed}, of {self.review}; extra {self.extra} resumed {self.resumed}"
            f" revised {self.revised} (truth {self.truth}) | exit to end"
            f" {at(self.latency_s, 50):.2f} p95 {at(self.latency_s, 95):.2f}"
            f" n{len(self.latency_s)}, computing p95 {at(self.compute_s, 95):.3f}"
            f" max {at(self.compute_s, 100):.3f}, both for the first of a take"
            f" {at(self.first_s, 50):.2f} p95 {at(self.first_s, 95):.2f} n{len(self.first_s)}"
            f" | entry {at(self.entry_age_s, 50):.2f} p95 {at(self.entry_age_s, 95):.2f}"
            f" | dwells {self.dwells}/{self.dwells_true} wrong {self.dwells_wrong}"
            f" {at(self.dwell_age_s, 50):.2f} p95 {at(self.dwell_age_s, 95):.2f}"
            f" | speed p95 {at(self.speed_age_s, 95):.2f}"
            f" | {1e3 * self.cost_s / max(self.seconds, 1e-9):.1f} ms/s"
        )


def agrees(one: HeardPass, other: HeardPass) -> bool:
    """Whether two hearings of a pass are the same within what they say they know."""
    time_u95_s = float(np.hypot(one.moving_time_u95_s, other.moving_time_u95_s))
    rpm_u95 = float(np.hypot(one.spindle_rpm_u95, other.spindle_rpm_u95))
    return (
        abs(one.moving_time_s - other.moving_time_s) <= time_u95_s
        and abs(one.spindle_rpm - other.spindle_rpm) <= rpm_u95 + 1e-3 * one.spindle_rpm
    )


@dataclass
class Told:
    """What was said of passes: first, and by now."""

    first: list[HeardPass] = field(default_factory=list)
    now: list[HeardPass] = field(default_factory=list)

    def ended(self, heard: HeardPass) -> None:
        self.first.append(heard)
        self.now.append(heard)

    def resumed(self, entry_s: float) -> None:
        self.first, self.now = (
            [one for one in passes if abs(one.entry_s - entry_s) > NEAR_S]
            for passes in (self.first, self.now)
        )

    def revised(self, news: PassesRevised) -> None:
        kept = [p for p in self.now if p.entry_s < news.from_s or p.exit_s > news.until_s]
        self.now = sorted([*kept, *news.passes], key=lambda heard: heard.entry_s)


def near(passes: list[HeardPass], heard: HeardPass) -> HeardPass | None:
    """The pass that began when this one did."""
    return next((p for p in passes if abs(p.entry_s - heard.entry_s) < NEAR_S), None)


def score_take(wav: Path, *, talk: bool) -> Score:
    rate_hz, samples = wavfile.read(wav)
    samples = (samples / 32768).astype(np.float32)
    truth = json.loads(wav.with_suffix(".json").read_text())
    bench: Bench = bench_of(truth["setup"])
    live = LiveListener(
        sample_rate_hz=float(rate_hz),
        flutes=bench.cut.flutes,
        plate_range_rpm=bench.cut.plate_range_rpm,
        beside=_AtOnce(),
    )
    score = Score(seconds=len(samples) / rate_hz, truth=len(truth["passes"]))
    told, ends_s = Told(), list[tuple[float, HeardPass]]()
    block = round(BLOCK_S * rate_hz)
    said: list[str] = []
    dwells = [d for p in truth["passes"] for d in p["dwells"] if d["end_s"] - d["start_s"] >= 0.5]
    score.dwells_true = len(dwells)
    pauses = [d for p in truth["passes"] for d in p["dwells"] + p["liftoffs"]]
    for first in range(0, len(samples), block):
        begun = time.process_time()
        events = live.feed(samples[first : first + block])
        took_s = time.process_time() - begun
        score.cost_s += took_s
        now_s = min(first + block, len(samples)) / rate_hz
        for event in events:
            if isinstance(event, SpeedHeard):
                score.speed_age_s.append(now_s - event.time_s)
                continue
            if isinstance(event, PassEntered):
                true = [p for p in truth["passes"] if abs(p["entry_s"] - event.entry_s) < 0.3]
                score.entry_age_s += [now_s - p["entry_s"] for p in true]
                said.append(f"{now_s:.1f} entered {event.entry_s:.2f}")
            elif isinstance(event, PassResumed):
                score.resumed += 1
                told.resumed(event.entry_s)
                ends_s = [one for one in ends_s if abs(one[1].entry_s - event.entry_s) > NEAR_S]
                said.append(f"{now_s:.1f} resumed {event.entry_s:.2f}")
            elif isinstance(event, DwellHeard):
                stood = [d for d in dwells if abs(d["start_s"] - event.start_s) < 0.3]
                score.dwells += bool(stood)
                score.dwells_wrong += not any(_during(d, event.start_s) for d in pauses)
                score.dwell_age_s += [now_s - d["start_s"] for d in stood]
                said.append(f"{now_s:.1f} dwell {event.start_s:.2f}")
            elif isinstance(event, PassEnded):
                told.ended(event.heard)
                ends_s.append((now_s, event.heard))
                score.compute_s.append(took_s)
                said.append(f"{now_s:.1f} ended {_figures(event.heard)}")
            elif isinstance(event, PassesRevised):
                told.revised(event)
                score.revised += 1
                said.append(f"{now_s:.1f} revised {[_figures(heard) for heard in event.passes]}")
    begun = time.process_time()
    reviewed = [heard for heard in live.finish().passes if heard.complete]
    score.cost_s += time.process_time() - begun
    for now_s, heard in ends_s:
        true = [p for p in truth["passes"] if abs(p["exit_s"] - heard.exit_s) < 0.3]
        score.latency_s += [now_s - p["exit_s"] for p in true]
        if heard is ends_s[0][1]:
            score.first_s += [now_s - p["exit_s"] + score.compute_s[0] for p in true]
    score.review = len(reviewed)
    for one in reviewed:
        verdict = read_pass(one, bench.cut).verdict
        begun_as, last = near(told.first, one), near(told.now, one)
        alike = [
            heard is not None and read_pass(heard, bench.cut).verdict is verdict
            for heard in (begun_as, last)
        ]
        score.first_verdict += alike[0]
        score.verdict += alike[1]
        if not all(alike) and verdict:
            said.append(f"VERDICT {verdict.value} {_figures(one)}: told first, last {alike}")
        score.first_agreed += begun_as is not None and agrees(begun_as, one)
        if last is not None and agrees(last, one):
            score.agreed += 1
        else:
            said.append(f"NOT AGREED {_figures(one)}: {_figures(last) if last else None}")
    score.extra = sum(near(reviewed, heard) is None for heard in told.now if heard.complete)
    print(wav.stem, score, flush=True)
    if talk:
        truths = [
            (p["entry_s"], p["exit_s"], [(d["start_s"], d["end_s"]) for d in p["dwells"]])
            for p in truth["passes"]
        ]
        print("   truth", truths)
        print("\n".join("   " + line for line in said))
    return score


class _AtOnce(Executor):
    """Works as soon as it is asked to: what is told later then costs nothing more."""

    def submit(self, work: Callable[..., Any], /, *args: object, **named: object) -> Future[Any]:
        done: Future[Any] = Future()
        done.set_result(work(*args, **named))
        return done


def _during(pause: dict[str, float], time_s: float) -> bool:
    return pause["start_s"] - NEAR_S < time_s < pause["end_s"]


def _figures(heard: HeardPass) -> str:
    return (
        f"{heard.entry_s:.2f}-{heard.exit_s:.2f} moving {heard.moving_time_s:.2f}"
        f" ±{heard.moving_time_u95_s:.2f} {heard.spindle_rpm:.1f} ±{heard.spindle_rpm_u95:.1f}"
    )


def main(names: list[str]) -> None:
    talk = "-v" in names
    totals: dict[str, Score] = {}
    for name in sorted(n for n in names if n != "-v"):
        score = score_take(Path(name), talk=talk)
        difficulty = json.loads(Path(name).with_suffix(".json").read_text())["difficulty"]
        totals.setdefault(difficulty, Score()).add(score)
    for difficulty, total in totals.items():
        print(difficulty.upper(), total)


if __name__ == "__main__":
    main(sys.argv[1:])
