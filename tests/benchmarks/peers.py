"""General pitch trackers on the same takes, in one run: what hearing a router adds to them.

    pip install --editable '.[peers]'
    python -m tests.benchmarks.peers FOLDER --takes 6

FOLDER holds rendered takes with their truth; of each, the first 25 s from a second before the
router runs are heard by all. Every tracker looks among the same speeds, the plate's range with a
third below it for a loaded motor, in steps of 25 ms, and is set as finely as it goes and as
willing to name a pitch as it can be told to be. Where the usual settings, made for voices, favour
half and third speeds, others were chosen on takes of this kind, held-out ones among them: a choice
in the tracker's favour. Median error and gross errors are of the frames in which a tracker names
a pitch; the share within 0.5 % is of all running frames. Each is warmed up first, so that no
compiling is timed.
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")

import time
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import click
import numpy as np
import numpy.typing as npt

from analysis.hearing.listener import Listener
from analysis.hearing.plate import candidate_range_hz
from listen.decoding import open_take
from recordings_synthetic.drawing import DIFFICULTIES
from tests.benchmarks.scoring import GROSS, NEAR, Floats, Truth, running_errors, takes_in

CUT_S = 25.0
BEFORE_S = 1.0
STEP_S = 0.025


@dataclass(frozen=True, slots=True, eq=False)
class Cut:
    """A stretch of a take. `samples` float32, shape (n,)."""

    samples: npt.NDArray[np.float32]
    sample_rate_hz: int
    start_s: float
    truth: Truth

    @property
    def length_s(self) -> float:
        return len(self.samples) / self.sample_rate_hz

    @property
    def plate_range_rpm(self) -> tuple[float, float]:
        low, high = self.truth["setup"]["plate_range_rpm"]
        return low, high

    @property
    def range_hz(self) -> tuple[float, float]:
        return candidate_range_hz(self.plate_range_rpm)


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """What a tracker says: times, s, and rotation frequencies, Hz, NaN where it names none."""

    time_s: Floats
    rotation_hz: Floats


Tracker = Callable[[Cut], Course]


def toothbeat(cut: Cut) -> Course:
    """This project."""
    listener = Listener(
        sample_rate_hz=cut.sample_rate_hz,
        flutes=cut.truth["setup"]["flutes"],
        plate_range_rpm=cut.plate_range_rpm,
    )
    listener.feed(cut.samples)
    track = listener.finish().track
    return Course(track.time_s, track.spindle_rpm / 60)


def pyin(cut: Cut) -> Course:
    """Probabilistic YIN of librosa, in twentieths of a semitone."""
    import librosa

    low, high = cut.range_hz
    hop = round(STEP_S * cut.sample_rate_hz)
    hertz, _, _ = librosa.pyin(
        cut.samples, fmin=low, fmax=high, sr=cut.sample_rate_hz, hop_length=hop,
        frame_length=8192, resolution=0.05, fill_na=None,
        beta_parameters=(2, 6), boltzmann_parameter=4,
    )  # fmt: skip
    return Course(np.arange(len(hertz)) * hop / cut.sample_rate_hz, hertz)


def praat_autocorrelation(cut: Cut) -> Course:
    """Praat's autocorrelation method, its accurate setting, no frame called unvoiced."""
    import parselmouth

    low, high = cut.range_hz
    sound = parselmouth.Sound(cut.samples.astype(float), cut.sample_rate_hz)
    pitch = sound.to_pitch_ac(
        time_step=STEP_S, pitch_floor=low, pitch_ceiling=high, max_number_of_candidates=15,
        very_accurate=True, silence_threshold=0.0, voicing_threshold=0.0,
        octave_cost=0.1, octave_jump_cost=1.5,
    )  # fmt: skip
    hertz = pitch.selected_array["frequency"]
    return Course(np.asarray(pitch.xs()), np.where(hertz > 0, hertz, np.nan))


def world_harvest(cut: Cut) -> Course:
    """Harvest of the WORLD vocoder, refined by its StoneMask."""
    import pyworld

    low, high = cut.range_hz
    samples = cut.samples.astype(float)
    hertz, time_s = pyworld.harvest(
        samples, cut.sample_rate_hz, f0_floor=low, f0_ceil=high, frame_period=1e3 * STEP_S
    )
    hertz = pyworld.stonemask(samples, hertz, time_s, cut.sample_rate_hz)
    return Course(time_s, np.where(hertz > 0, hertz, np.nan))


def swipe(cut: Cut) -> Course:
    """SWIPE′ of SPTK, no frame called unvoiced."""
    import pysptk

    low, high = cut.range_hz
    hop = round(STEP_S * cut.sample_rate_hz)
    hertz = pysptk.swipe(
        32_768.0 * cut.samples, cut.sample_rate_hz, hop, threshold=0.0, min=low, max=high
    )
    return Course(
        np.arange(len(hertz)) * hop / cut.sample_rate_hz, np.where(hertz > 0, hertz, np.nan)
    )


TRACKERS: dict[str, Tracker] = {
    "toothbeat": toothbeat,
    "pYIN (librosa)": pyin,
    "autocorrelation (Praat)": praat_autocorrelation,
    "Harvest (WORLD)": world_harvest,
    "SWIPE′ (SPTK)": swipe,
}


@dataclass(frozen=True, slots=True, eq=False)
class Score:
    """Errors over the running frames of all cuts, by difficulty, and the time they took."""

    errors: dict[str, Floats]
    sound_s: float
    core_s: float

    def row(self, name: str) -> str:
        """One row of the table."""
        pooled = np.concatenate(list(self.errors.values()))
        named = pooled[np.isfinite(pooled)]
        shares = [100 * float(np.mean(e <= NEAR)) for e in (pooled, *self.errors.values())]
        return (
            f"{name:<24}"
            + "".join(f"{share:>10.1f}" for share in shares)
            + f"{100 * float(np.median(named)):>10.4f}{100 * float(np.mean(named > GROSS)):>9.2f}"
            + f"{100 * float(np.mean(np.isnan(pooled))):>9.2f}{self.sound_s / self.core_s:>9.1f}"
        )


def cut_of(path: Path, truth: Truth) -> Cut | None:
    """The first stretch in which the router runs; None where it never does."""
    spindle = truth["spindle"]
    if "running" not in spindle["state"]:
        return None
    start_s = max(0.0, spindle["time_s"][spindle["state"].index("running")] - BEFORE_S)
    with open_take(path) as take:
        rate_hz = take.sample_rate_hz
        samples = np.concatenate(list(take.blocks()))
    first, last = (round(t * rate_hz) for t in (start_s, start_s + CUT_S))
    return Cut(samples[first:last], rate_hz, start_s, truth)


def measure(tracker: Tracker, cuts: list[Cut]) -> Score:
    """Hear every cut and hold what the tracker says against the truth."""
    errors: dict[str, list[Floats]] = {}
    core_s = 0.0
    warm = cuts[0]
    tracker(Cut(warm.samples[: 2 * warm.sample_rate_hz], warm.sample_rate_hz, 0.0, warm.truth))
    for cut in cuts:
        begun_s = time.process_time()
        course = tracker(cut)
        core_s += time.process_time() - begun_s
        kept = running_errors(
            cut.truth,
            time_s=cut.start_s + course.time_s,
            spindle_rpm=60 * course.rotation_hz,
        )
        errors.setdefault(cut.truth["difficulty"], []).append(kept)
    return Score(
        errors={d: np.concatenate(errors[d]) for d in DIFFICULTIES if d in errors},
        sound_s=sum(cut.length_s for cut in cuts),
        core_s=core_s,
    )


def chosen(folder: Path, count: int) -> list[Cut]:
    """Cuts of `count` takes, the difficulties in turn."""
    by_difficulty: dict[str, list[tuple[Path, Truth]]] = {d: [] for d in DIFFICULTIES}
    for path, truth in takes_in(folder):
        by_difficulty[truth["difficulty"]].append((path, truth))
    each = -(-count // len(DIFFICULTIES))
    taken = [take for takes in by_difficulty.values() for take in takes[:each]]
    return [cut for path, truth in taken if (cut := cut_of(path, truth)) is not None]


@click.command()
@click.argument("folder", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option("--takes", default=6, show_default=True, type=click.IntRange(1, 1000))
def main(folder: Path, takes: int) -> None:
    """Print the table of trackers over the takes in FOLDER."""
    cuts = chosen(folder, takes)
    if not cuts:
        raise click.UsageError(f'"{folder}" holds no rendered takes of passes.')
    warnings.simplefilter("ignore")  # of the other libraries' own making
    present = [d for d in DIFFICULTIES if any(cut.truth["difficulty"] == d for cut in cuts)]
    print(f"{len(cuts)} takes, {sum(cut.length_s for cut in cuts):.0f} s of sound")
    print(f"{'':<24}{'within 0.5 % of running frames, %':^{10 * (len(present) + 1)}}"
          f"{'median':>10}{'gross':>9}{'unnamed':>9}{'sound s':>9}")  # fmt: skip
    print(f"{'':<24}" + "".join(f"{d:>10}" for d in ("all", *present))
          + f"{'error, %':>10}{'%':>9}{'%':>9}{'/core s':>9}")  # fmt: skip
    for name, tracker in TRACKERS.items():
        try:
            score = measure(tracker, cuts)
        except ModuleNotFoundError as missing:
            print(f"{name:<24}  {missing.name} is not installed")
            continue
        print(score.row(name), flush=True)


if __name__ == "__main__":
    main()
