"""An ear in a process of its own: what it says, what waits for it, and when it ends."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from listen.live.ear import PATIENCE_S, EarApart, EarError, EarsAtHand
from listen.live.intake import Piece
from listen.live.recording import Order, Recording
from listen.live.shelf import Shelf
from listen.live.told import Ended, News, Notice, PassTold
from listen.page.bench_form import read_form
from listen.setup import Bench
from tests.listen.live.stub_engine import StubEngine, cuts
from tests.listen.page.serving import SETUP

RATE_HZ = 48_000
BLOCK = 2048
STARTS_S = 10.0


def stub(_bench: Bench, sample_rate_hz: float) -> StubEngine:
    """Make the ear of these tests; the other process imports it."""
    return StubEngine(sample_rate_hz)


class FailingEngine(StubEngine):
    """Meets a bug at its first sound."""

    def feed(self, samples: np.ndarray) -> list[object]:
        raise RuntimeError(len(samples))


def failing(_bench: Bench, sample_rate_hz: float) -> FailingEngine:
    return FailingEngine(sample_rate_hz)


@pytest.fixture
def ear() -> Iterator[EarApart]:
    ear = EarApart(stub, read_form(SETUP), RATE_HZ)
    yield ear
    ear.close()


def blocks(sound: np.ndarray) -> list[np.ndarray]:
    return [sound[first : first + BLOCK] for first in range(0, len(sound), BLOCK)]


def gone(pid: int, *, within_s: float) -> bool:
    """Whether the process of that number ends in time."""
    until_s = time.monotonic() + within_s
    while time.monotonic() < until_s:
        try:
            os.kill(pid, 0)
        except ProcessLookupError:
            return True
        if Path(f"/proc/{pid}/stat").exists():
            state = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0]
            if state == "Z":  # ended; nobody has asked after it yet
                return True
        time.sleep(0.05)
    return False


def test_it_says_what_the_same_ear_says_here(ear: EarApart) -> None:
    here = StubEngine(RATE_HZ)
    expected, said = [], []
    for block in blocks(cuts(2.0, 3.0)):
        expected += here.feed(block)
        said += ear.feed(block)
    until_s = time.monotonic() + STARTS_S
    nothing = np.zeros(0, np.float32)
    while len(said) < len(expected) and time.monotonic() < until_s:
        said += ear.feed(nothing)
    assert said == expected
    assert ear.finish().passes == here.finish().passes
    assert gone(ear.pid, within_s=1.0)


def test_an_ear_that_stands_still_holds_nothing_up_and_catches_up(tmp_path: Path) -> None:
    """The process is stopped in the middle of a pass, as a long look back would hold it."""
    shelf = Shelf(tmp_path / "takes")
    made: list[EarApart] = []

    def make_ear(bench: Bench, rate_hz: float) -> EarApart:
        made.append(EarApart(stub, bench, rate_hz))
        return made[-1]

    recording = Recording(
        shelf=shelf, make_ear=make_ear, order=Order(read_form(SETUP), RATE_HZ), about={}
    )
    (ear,) = made
    sound = cuts(3.0)
    told: list[News] = []
    os.kill(ear.pid, signal.SIGSTOP)
    try:
        begun_s = time.monotonic()
        for block in blocks(sound):
            told += recording.hear(Piece(block))
        took_s = time.monotonic() - begun_s
        assert not [news for news in told if isinstance(news, PassTold)]
        # Each block waits its patience at most; writing takes a few milliseconds beside that.
        assert took_s < len(blocks(sound)) * (PATIENCE_S + 0.01)
        assert recording.take is not None
        assert shelf.kept_samples(recording.take) > len(sound) - RATE_HZ
    finally:
        os.kill(ear.pid, signal.SIGCONT)
    told += recording.finish()
    assert [news.number for news in told if isinstance(news, PassTold)] == [1]


@pytest.mark.parametrize("how", ["killed", "failing"])
def test_without_its_ear_a_take_is_kept_to_its_end(tmp_path: Path, how: str) -> None:
    made: list[EarApart] = []

    def make_ear(bench: Bench, rate_hz: float) -> EarApart:
        made.append(EarApart(failing if how == "failing" else stub, bench, rate_hz))
        return made[-1]

    shelf = Shelf(tmp_path / "takes")
    recording = Recording(
        shelf=shelf, make_ear=make_ear, order=Order(read_form(SETUP), RATE_HZ), about={}
    )
    sound = cuts(2.0, 2.0)
    told: list[News] = []
    for number, block in enumerate(blocks(sound)):
        if number == len(sound) // BLOCK // 2:
            if how == "killed":
                os.kill(made[0].pid, signal.SIGKILL)
            assert gone(made[0].pid, within_s=STARTS_S)
            time.sleep(0.2)  # for the thread that reads to see the end
        told += recording.hear(Piece(block))
    told += recording.finish()
    (notice,) = [news for news in told if isinstance(news, Notice)]
    assert notice.text.startswith("Listening stopped. The recording goes on")
    assert isinstance(told[-1], Ended)
    assert recording.take is not None
    (kept,) = shelf.takes()
    assert kept.ended
    assert told[-1].duration_s == pytest.approx(len(sound) / RATE_HZ)


def test_an_ear_far_behind_is_given_up(ear: EarApart, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("listen.live.ear.MOST_BEHIND_S", 0.1)
    os.kill(ear.pid, signal.SIGSTOP)
    assert ear.feed(np.zeros(BLOCK, np.float32)) == []
    with pytest.raises(EarError, match=r"too busy to keep up\. The recording goes on"):
        ear.feed(np.zeros(RATE_HZ, np.float32))


PARENT = """
import sys, time
from listen.live.ear import EarApart
from listen.page.bench_form import read_form
from tests.listen.live.test_ear import BLOCK, RATE_HZ, blocks, stub
from tests.listen.live.stub_engine import cuts
from tests.listen.page.serving import SETUP
ears = [EarApart(stub, read_form(SETUP), RATE_HZ) for _ in range(2)]
print(*(ear.pid for ear in ears), flush=True)
for block in blocks(cuts(60.0)):
    for ear in ears:
        ear.feed(block)
"""


@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGINT, signal.SIGTERM])
def test_no_ear_outlives_its_program(number: signal.Signals) -> None:
    """However the program ends; Ctrl-C goes to all of its group."""
    with subprocess.Popen(
        [sys.executable, "-c", PARENT], stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        text=True, start_new_session=True,
    ) as program:  # fmt: skip
        assert program.stdout is not None
        pids = [int(pid) for pid in program.stdout.readline().split()]
        assert len(pids) == 2
        os.killpg(program.pid, number)
        program.wait(10)
        assert all(gone(pid, within_s=STARTS_S) for pid in pids)
        assert program.stderr is not None
        assert "listen_apart" not in program.stderr.read()  # they go without a word


def test_ctrl_c_leaves_the_ear_its_last_pass() -> None:
    """In a terminal the whole group gets it: the ear must be none of that group."""
    ear = EarApart(stub, read_form(SETUP), RATE_HZ)
    try:
        assert os.getpgid(ear.pid) != os.getpgid(0)
    finally:
        ear.close()


def test_the_next_ear_has_its_program_before_it_is_asked_for(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    started: list[subprocess.Popen[bytes]] = []
    popen = subprocess.Popen

    def noted(*how: Any, **named: Any) -> subprocess.Popen[bytes]:
        started.append(popen(*how, **named))
        return started[-1]

    monkeypatch.setattr("listen.live.ear.subprocess.Popen", noted)
    bench = read_form(SETUP)
    with EarsAtHand() as ears:
        assert len(started) == 1
        ear = ears(bench, RATE_HZ)
        assert ear.pid == started[0].pid
        assert len(started) == 2
        started[1].kill()  # whatever ended it
        started[1].wait()
        another = ears(bench, RATE_HZ)
        assert another.pid == started[2].pid
        assert another.finish().duration_s == 0
        ear.close()
    assert [gone(program.pid, within_s=1.0) for program in started] == [True] * 4


def test_an_ear_that_cannot_be_started_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    def no_room(*_arguments: object, **_options: object) -> None:
        raise BlockingIOError

    monkeypatch.setattr("listen.live.ear.subprocess.Popen", no_room)
    with pytest.raises(EarError, match=r"^Listening could not begin: this computer is too busy\.$"):
        EarApart(stub, read_form(SETUP), RATE_HZ)
