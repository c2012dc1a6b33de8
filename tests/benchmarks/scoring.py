"""A rendered take, heard and held against its truth: what the benchmarks count and how.

*Running* frames are those whose true state is "running". A take is locked if a fifth of its
running frames or more lie on a simple ratio of the true speed or on another machine. Passes
match if they share more than half of their joint length. Chip load and verdict come from the
functions that a review uses; the true verdict is the true chip thickness against the same band.
"""

from __future__ import annotations

import json
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from analysis.coaching.reading import CutSetup, PassReading, read_pass, working_band
from analysis.coaching.verdict import Verdict
from analysis.cutting.bands import Band
from analysis.hearing.listener import Hearing, Listener
from analysis.hearing.passes import HeardPass
from listen.decoding import open_take
from listen.setup import bench_of

Floats = npt.NDArray[np.float64]
Truth = dict[str, Any]
Pair = tuple[float, float]

NEAR, GROSS = 0.005, 0.05
LOCKED_SHARE = 0.2
ON_RATIO = 0.02  # of the ratio or of the other machine's speed
RATIOS = tuple(map(Fraction, ("1/4", "1/3", "1/2", "2/3", "3/4", "4/3", "3/2", "2", "3", "4")))
LEAST_DWELL_S = 0.4
DWELL_SHARE = 0.3  # of a dwell that must be covered for it to be found
TAKES_WITH_PASSES = ("passes", "two machines")


@dataclass(frozen=True, slots=True)
class Found:
    """How many of the true ones were found, and how many of the found ones are true."""

    true: int
    true_found: int
    told: int
    told_true: int


@dataclass(frozen=True, slots=True, eq=False)
class SpeedScore:
    """The speed track against the truth.

    Attributes
    ----------
    errors : array
        |heard / true - 1| of each running frame; NaN where no speed is stated.
    off_frames, off_stated : int
        Frames in which the router is truly off, and those of them with a speed.
    locked_on : str or None
        What a locked take is locked on.
    """

    errors: Floats
    off_frames: int
    off_stated: int
    locked_on: str | None


@dataclass(frozen=True, slots=True, eq=False)
class TakeScore:
    """One take, heard and held against its truth. Relative chip errors, times in seconds."""

    name: str
    difficulty: str
    speed: SpeedScore
    passes: Found
    dwells: Found
    entry_errors_s: list[float]
    exit_errors_s: list[float]
    chip_errors: list[float]
    covered: list[bool]
    verdicts: list[tuple[Verdict, Verdict]]
    sound_s: float
    core_s: float


def running_errors(truth: Truth, *, time_s: Floats, spindle_rpm: Floats) -> Floats:
    """|heard / true - 1| at the times at which the router truly runs; NaN stays NaN."""
    true_rpm, state = true_course(truth, time_s)
    errors: Floats = np.abs(spindle_rpm / true_rpm - 1)[state == "running"]
    return errors


def true_course(truth: Truth, time_s: Floats) -> tuple[Floats, npt.NDArray[np.str_]]:
    """True speed (rpm, NaN where off) and state nearest to each time."""
    spindle = truth["spindle"]
    grid_s = np.array(spindle["time_s"])
    place = np.clip(np.rint(time_s / (grid_s[1] - grid_s[0])).astype(int), 0, len(grid_s) - 1)
    rpm = np.array([np.nan if value is None else value for value in spindle["rpm"]], float)
    return rpm[place], np.array(spindle["state"])[place]


def speed_score(truth: Truth, hearing: Hearing) -> SpeedScore:
    """Hold the speed track against the truth."""
    track = hearing.track
    true_rpm, state = true_course(truth, track.time_s)
    off = state == "off"
    running = state == "running"
    return SpeedScore(
        errors=running_errors(truth, time_s=track.time_s, spindle_rpm=track.spindle_rpm),
        off_frames=int(off.sum()),
        off_stated=int(np.isfinite(track.spindle_rpm[off]).sum()),
        locked_on=locked_on(track.spindle_rpm[running], true_rpm[running], truth["vacuum"]),
    )


def locked_on(heard_rpm: Floats, true_rpm: Floats, vacuum: Truth) -> str | None:
    """What a fifth of the frames or more are locked on, if on anything but the router's speed.

    >>> true = np.full(10, 20_000.0)
    >>> locked_on(np.where(np.arange(10) < 3, 10_020.0, true), true, {"present": False})
    '1/2'
    >>> locked_on(true * 1.01, true, {"present": False}) is None
    True
    """
    ratio = heard_rpm / true_rpm
    wrong = np.abs(ratio - 1) > GROSS
    shares = {
        str(r): float(np.mean(wrong & (np.abs(ratio / float(r) - 1) < ON_RATIO))) for r in RATIOS
    }
    for machine in (vacuum, *vacuum.get("others", [])):
        if machine.get("rpm"):
            low, high = machine["rpm"]
            on_it = (heard_rpm > low * (1 - ON_RATIO)) & (heard_rpm < high * (1 + ON_RATIO))
            shares[machine["role"]] = float(np.mean(wrong & on_it))
    where, share = max(shares.items(), key=lambda item: item[1])
    return where if share >= LOCKED_SHARE else None


def matched(true: Sequence[Truth], heard: Sequence[HeardPass]) -> list[tuple[Truth, HeardPass]]:
    """True and heard passes that share more than half of their joint length."""
    pairs = []
    for t in true:
        for h in heard:
            shared = min(t["exit_s"], h.exit_s) - max(t["entry_s"], h.entry_s)
            joint = max(t["exit_s"], h.exit_s) - min(t["entry_s"], h.entry_s)
            if shared > joint / 2:  # more than half: no pass can match two
                pairs.append((t, h))
    return pairs


def dwells_found(true: Sequence[Truth], heard: Sequence[HeardPass]) -> Found:
    """Dwells of 0.4 s and longer; in part overlapped by a dwell of any length is found."""
    every_true = [(d["start_s"], d["end_s"]) for p in true for d in p["dwells"]]
    wanted = [(d["start_s"], d["end_s"]) for p in true if p["complete"] for d in p["dwells"]]
    every_told = [(d.start_s, d.end_s) for p in heard for d in p.dwells]
    wanted, told = ([d for d in ds if d[1] - d[0] >= LEAST_DWELL_S] for ds in (wanted, every_told))
    return Found(
        true=len(wanted),
        true_found=sum(_is_met(dwell, every_told) for dwell in wanted),
        told=len(told),
        told_true=sum(_is_met(dwell, every_true) for dwell in told),
    )


def _is_met(span: Pair, others: Sequence[Pair]) -> bool:
    least_s = DWELL_SHARE * (span[1] - span[0])
    return any(min(span[1], o[1]) - max(span[0], o[0]) >= least_s for o in others)


def true_verdict(chip_thickness_mm: float, band: Band) -> Verdict:
    """What the true chip earns."""
    if chip_thickness_mm < band.low_mm:
        return Verdict.RUBBING
    return Verdict.OVERLOADING if chip_thickness_mm > band.high_mm else Verdict.IN_THE_BAND


def score_take(path: Path, truth: Truth, *, with_range: bool) -> TakeScore:
    """Hear one take and hold it against its truth."""
    cut = bench_of(truth["setup"]).cut
    begun_s = time.process_time()
    hearing = _heard(path, cut, with_range=with_range)
    core_s = time.process_time() - begun_s
    true = [p for p in truth["passes"] if p["complete"]]
    told = [p for p in hearing.passes if p.complete]
    pairs = matched(true, told)
    readings = [(t, read_pass(h, cut)) for t, h in pairs]
    judged = [(t, r) for t, r in readings if r.chip_load_mm is not None]
    chip_errors = [_chip_error(t, r) for t, r in judged]
    return TakeScore(
        name=truth["name"],
        difficulty=truth["difficulty"],
        speed=speed_score(truth, hearing),
        passes=Found(len(true), len(pairs), len(told), len(pairs)),
        dwells=dwells_found(truth["passes"], hearing.passes),
        entry_errors_s=[abs(h.entry_s - t["entry_s"]) for t, h in pairs],
        exit_errors_s=[abs(h.exit_s - t["exit_s"]) for t, h in pairs],
        chip_errors=chip_errors,
        covered=[e <= _u95(r) / t["chip_load_mm"]
                 for e, (t, r) in zip(chip_errors, judged, strict=True)],
        verdicts=list(_verdicts(judged, working_band(cut))),
        sound_s=truth["duration_s"],
        core_s=core_s,
    )  # fmt: skip


def _heard(path: Path, cut: CutSetup, *, with_range: bool) -> Hearing:
    with open_take(path) as take:
        listener = Listener(
            sample_rate_hz=take.sample_rate_hz,
            flutes=cut.flutes,
            plate_range_rpm=cut.plate_range_rpm if with_range else None,
        )
        for block in take.blocks():
            listener.feed(block)
        return listener.finish()


def _chip_error(true: Truth, reading: PassReading) -> float:
    assert reading.chip_load_mm is not None
    return abs(reading.chip_load_mm / float(true["chip_load_mm"]) - 1)


def _u95(reading: PassReading) -> float:
    assert reading.chip_load_u95_mm is not None
    return reading.chip_load_u95_mm


def _verdicts(
    judged: Sequence[tuple[Truth, PassReading]], band: Band | None
) -> Iterator[tuple[Verdict, Verdict]]:
    """Yield the true verdict and the told one."""
    for true, reading in judged:
        if band is not None and reading.verdict is not None:
            yield true_verdict(true["chip_thickness_mm"], band), reading.verdict


def f1(parts: Sequence[Found]) -> float:
    """Harmonic mean of the share found and the share true.

    >>> f1([Found(true=10, true_found=9, told=9, told_true=9)])
    0.9473684210526316
    """
    true, told = sum(p.true for p in parts), sum(p.told for p in parts)
    if not true and not told:
        return float("nan")
    found = sum(p.true_found for p in parts) / max(true, 1)
    right = sum(p.told_true for p in parts) / max(told, 1)
    return 2 * found * right / (found + right) if found + right else 0.0


def takes_in(folder: Path) -> Iterator[tuple[Path, Truth]]:
    """Yield each take's sound and truth, for takes in which passes are made."""
    for path in sorted(folder.glob("*.json")):
        truth = json.loads(path.read_text(encoding="utf-8"))
        sounds = [p for p in path.parent.glob(f"{path.stem}.*") if p.suffix != ".json"]
        if truth["kind"] in TAKES_WITH_PASSES and sounds:
            yield sounds[0], truth
