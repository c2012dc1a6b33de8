"""What a review costs: core time for an hour, memory for two, and how soon help is there.

    python -m tests.benchmarks.cost FOLDER

FOLDER holds rendered takes. They are coded end to end, again and again, as AAC at 64 kb/s into a
one-hour and a two-hour .m4a. `toothbeat review` then runs on each as a person would start it;
decoding alone and a bare python are measured beside it in the same run, so that
the ratios hold on a busy machine too. Linux and macOS.
"""

from __future__ import annotations

import itertools
import multiprocessing
import os
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import click

# Nothing heavy is imported here: a child's peak memory starts from that of its parent.

HOUR_S = 3600
BIT_RATE = 64_000
STARTS = 7
PYTHON = sys.executable
DECODE = (
    "import sys, pathlib; from listen.decoding import open_take\n"
    "with open_take(pathlib.Path(sys.argv[1])) as take:\n"
    "    for block in take.blocks(): pass\n"
)
CUT = ("--edge", "600mm", "--bit", "12.7mm", "--flutes", "2", "--trim", "1.6mm",
       "--material", "hardwood", "--range", "8000-24000", "--json", "-q")  # fmt: skip


@dataclass(frozen=True, slots=True)
class Spent:
    """What one run of a command took."""

    core_s: float
    peak_mb: float


def run(*command: str) -> Spent:
    """Run a command to its end, its output dropped.

    Raises
    ------
    click.ClickException
        If it fails.
    """
    environment = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    child = subprocess.Popen(command, stdout=subprocess.DEVNULL, env=environment)
    _, status, used = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode:
        raise click.ClickException(f"exit status {child.returncode} of: {' '.join(command)}")
    unit = 1 if sys.platform == "darwin" else 1024  # bytes there, KiB elsewhere
    return Spent(used.ru_utime + used.ru_stime, used.ru_maxrss * unit / 1e6)


def lay_out(folder: Path, target: Path, length_s: float) -> None:
    """Code takes of one sampling rate, again and again until `length_s`, as AAC."""
    from fractions import Fraction

    import av
    import numpy as np

    from listen.decoding import open_take
    from tests.benchmarks.scoring import takes_in

    sounds = itertools.cycle(path for path, _ in takes_in(folder))
    with open_take(next(sounds)) as take:
        rate_hz = take.sample_rate_hz
    with av.open(str(target), "w", format="ipod") as file:
        track = file.add_stream("aac", rate=rate_hz, layout="mono")
        assert isinstance(track, av.AudioStream)
        track.bit_rate = BIT_RATE
        resampler = av.AudioResampler("fltp", "mono", rate_hz, track.frame_size or 1024)
        done = 0
        while done < length_s * rate_hz:
            with open_take(next(sounds)) as take:
                for block in take.blocks() if take.sample_rate_hz == rate_hz else ():
                    frame = av.AudioFrame.from_ndarray(
                        np.ascontiguousarray(block[None, :]), format="fltp", layout="mono"
                    )
                    frame.sample_rate, frame.time_base = rate_hz, Fraction(1, rate_hz)
                    frame.pts, done = done, done + len(block)
                    for piece in resampler.resample(frame):
                        file.mux(track.encode(piece))
        file.mux(track.encode(None))


def start_s(*command: str) -> float:
    """Wall time of one run, s."""
    begun_s = time.perf_counter()
    run(*command)
    return time.perf_counter() - begun_s


def print_start() -> None:
    """How long help takes against a bare python: the quickest of several, taken in turn."""
    bare_s, help_s = [], []
    for _ in range(STARTS):
        bare_s.append(start_s(PYTHON, "-c", "pass"))
        help_s.append(start_s(PYTHON, "-m", "listen", "--help"))
    soonest_s, bare = min(help_s), min(bare_s)
    print(
        f"toothbeat --help           {soonest_s:6.2f} s, bare python {bare:.2f} s, ratio "
        f"{soonest_s / bare:.1f}, {soonest_s - bare:.2f} s more   target <= 0.3"
    )


@click.command()
@click.argument("folder", type=click.Path(exists=True, file_okay=False, path_type=Path))
def main(folder: Path) -> None:
    """Print what reviewing costs, with the takes in FOLDER as sound."""
    print_start()
    with tempfile.TemporaryDirectory() as name:
        made = Path(name)
        os.environ["TOOTHBEAT_HOME"] = name
        spawned = multiprocessing.get_context("spawn")
        hour, two = made / "hour.m4a", made / "two-hours.m4a"
        with ProcessPoolExecutor(1, mp_context=spawned) as apart:
            for target, length_s in ((hour, HOUR_S), (two, 2 * HOUR_S)):
                apart.submit(lay_out, folder, target, length_s).result()
        decoded = run(PYTHON, "-c", DECODE, str(hour))
        heard = run(PYTHON, "-m", "listen", "review", str(hour), *CUT)
        print(f"decoding an hour of .m4a   {decoded.core_s:6.1f} core s")
        print(
            f"reviewing it               {heard.core_s:6.1f} core s, "
            f"{heard.core_s / decoded.core_s:.1f} times decoding, "
            f"{HOUR_S / heard.core_s:.0f} s of sound per core second   target >= 250"
        )
        print(f"  its peak memory          {heard.peak_mb:6.0f} MB")
        longer = run(PYTHON, "-m", "listen", "review", str(two), *CUT)
        print(
            f"reviewing two hours        {longer.core_s:6.1f} core s, peak memory "
            f"{longer.peak_mb:.0f} MB, {longer.peak_mb / heard.peak_mb:.2f} times an hour's"
            "   target < 300"
        )


if __name__ == "__main__":
    main()
