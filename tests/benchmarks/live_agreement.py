"""How well the live form agrees with the review, how soon it says so, and what it costs.

    python -m recordings_synthetic takes --split dev --kind passes
    python tests/benchmarks/live_agreement.py takes/*.wav

Every take is fed in blocks of a fiftieth of a second. A pass agrees if a live pass, after what
was resumed is merged, has the same moving time and speed as the review's within the
uncertainties the two state. Latency is counted in sound: from the true exit, by the take's
truth, to the block with which the pass was ended; computing time is told beside it.
"""

from __future__ import annotations

import json
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from scipy.io import wavfile

from analysis.hearing.listener import Listener
from analysis.hearing.live import (
    DwellHeard,
    LiveListener,
    PassEnded,
    PassEntered,
    PassResumed,
    SpeedHeard,
)
from analysis.hearing.passes import HeardPass

BLOCK_S = 0.02


@dataclass
class Score:
    """Figures of one take or many."""

    review: int = 0
    agreed: int = 0
    extra: int = 0
    resumed: int = 0
    truth: int = 0
    seconds: float = 0.0
    cost_s: float = 0.0
    latency_s: list[float] = field(default_factory=list)
    compute_s: list[float] = field(default_factory=list)
    entry_age_s: list[float] = field(default_factory=list)
    dwell_age_s: list[float] = field(default_factory=list)
    dwells: int = 0
    dwells_true: int = 0
    speed_age_s: list[float] = field(default_factory=list)

    def add(self, other: Score) -> None:
        for name in self.__dataclass_fields__:
            setattr(self, name, getattr(self, name) + getattr(other, name))

    def __str__(self) -> str:
        def at(values: list[float], share: float) -> float:
            return float(np.percentile(values, share)) if values else float("nan")

        return (
            f"agreed {self.agreed}/{self.review} extra {self.extra} resumed {self.resumed}"
            f" (truth {self.truth}) | exit to end {at(self.latency_s, 50):.2f}"
            f" p95 {at(self.latency_s, 95):.2f} n{len(self.latency_s)}, of which computing"
            f" p95 {at(self.compute_s, 95):.3f} max {at(self.compute_s, 100):.3f}"
            f" | entry {at(self.entry_age_s, 50):.2f} p95 {at(self.entry_age_s, 95):.2f}"
            f" | dwells {self.dwells}/{self.dwells_true} {at(self.dwell_age_s, 50):.2f}"
            f" p95 {at(self.dwell_age_s, 95):.2f}"
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


def score_take(wav: Path, *, talk: bool) -> Score:
    rate_hz, samples = wavfile.read(wav)
    samples = (samples / 32768).astype(np.float32)
    truth = json.loads(wav.with_suffix(".json").read_text())
    setup = truth["setup"]
    ear = {
        "sample_rate_hz": float(rate_hz),
        "flutes": setup["flutes"],
        "plate_range_rpm": tuple(setup["plate_range_rpm"]),
    }
    review = Listener(**ear)
    review.feed(samples)
    reviewed = review.finish().passes

    live = LiveListener(**ear)
    score = Score(seconds=len(samples) / rate_hz, truth=len(truth["passes"]))
    ended: list[tuple[float, HeardPass]] = []
    block = round(BLOCK_S * rate_hz)
    said: list[str] = []
    dwells = [d for p in truth["passes"] for d in p["dwells"] if d["end_s"] - d["start_s"] >= 0.5]
    score.dwells_true = len(dwells)
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
                near = [p for p in truth["passes"] if abs(p["entry_s"] - event.entry_s) < 0.3]
                score.entry_age_s += [now_s - p["entry_s"] for p in near]
                said.append(f"{now_s:.1f} entered {event.entry_s:.2f}")
            elif isinstance(event, PassResumed):
                score.resumed += 1
                ended = [one for one in ended if abs(one[1].entry_s - event.entry_s) > 0.5]
                said.append(f"{now_s:.1f} resumed {event.entry_s:.2f}")
            elif isinstance(event, DwellHeard):
                near = [d for d in dwells if abs(d["start_s"] - event.start_s) < 0.3]
                score.dwells += bool(near)
                score.dwell_age_s += [now_s - d["start_s"] for d in near]
                said.append(f"{now_s:.1f} dwell {event.start_s:.2f}")
            elif isinstance(event, PassEnded):
                ended.append((now_s, event.heard))
                score.compute_s.append(took_s)
                said.append(
                    f"{now_s:.1f} ended {event.heard.entry_s:.2f}-{event.heard.exit_s:.2f}"
                    f" moving {event.heard.moving_time_s:.2f} {event.heard.spindle_rpm:.0f} rpm"
                )
    begun = time.process_time()
    live.finish()
    score.cost_s += time.process_time() - begun
    for now_s, heard in ended:
        near = [p for p in truth["passes"] if abs(p["exit_s"] - heard.exit_s) < 0.3]
        score.latency_s += [now_s - p["exit_s"] for p in near]
    reviewed = tuple(p for p in reviewed if p.complete)
    score.review = len(reviewed)
    for one in reviewed:
        match = [h for _, h in ended if abs(h.entry_s - one.entry_s) < 0.5]
        if any(agrees(h, one) for h in match):
            score.agreed += 1
        else:
            said.append(
                f"NOT AGREED {one.entry_s:.2f}-{one.exit_s:.2f} moving {one.moving_time_s:.2f}"
                f" ±{one.moving_time_u95_s:.2f} {one.spindle_rpm:.1f} ±{one.spindle_rpm_u95:.1f}:"
                f" {[(round(h.moving_time_s, 2), round(h.spindle_rpm, 1)) for h in match]}"
            )
    score.extra = sum(
        all(abs(h.entry_s - one.entry_s) > 0.5 for one in reviewed) for _, h in ended if h.complete
    )
    print(wav.stem, score, flush=True)
    if talk:
        truths = [
            (p["entry_s"], p["exit_s"], [(d["start_s"], d["end_s"]) for d in p["dwells"]])
            for p in truth["passes"]
        ]
        print("   truth", truths)
        print("\n".join("   " + line for line in said))
    return score


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
