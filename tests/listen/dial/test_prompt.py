"""The settings asked for at a real terminal: a child process behind a pseudo-terminal."""

import os
import re
import select
import signal
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import pytest
from scipy.io import wavfile

from tests.analysis.dial.free_running import SAMPLE_RATE_HZ, row_of_speeds, sound_of

pty = pytest.importorskip("pty", reason="pseudo-terminals are not found on this system")

ROOT = Path(__file__).parents[3]
LONGEST_S = 120.0
ASKED = re.compile(rb"in this order \(4\): (\^C)*$")  # the terminal shows a Ctrl-C itself


@dataclass(frozen=True)
class Session:
    """What a terminal showed, and how the program ended."""

    shown: str
    status: int


@pytest.fixture(scope="module")
def take(tmp_path_factory: pytest.TempPathFactory) -> Path:
    speeds_rpm = [10_130.0, 12_210.0, 14_500.0, 17_230.0]
    corners, _ = row_of_speeds(speeds_rpm, held_s=4, between_s=0.6, off_between=False)
    path = tmp_path_factory.mktemp("terminal") / "dial.wav"
    wavfile.write(path, SAMPLE_RATE_HZ, sound_of(corners, noise=0.05))
    return path


def at_the_terminal(take: Path, home: Path, *typed: bytes) -> Session:
    """Calibrate without settings, and type an answer whenever they are asked for."""
    arguments = ["-m", "listen", "calibrate", str(take), "--router", "bench"]
    environment = os.environ | {"TOOTHBEAT_HOME": str(home), "PYTHONPATH": str(ROOT)}
    pid, terminal = pty.fork()
    if pid == 0:
        os.execve(sys.executable, [sys.executable, *arguments], environment)
    shown, asked_at, answers, last = b"", 0, list(typed), b""
    end = time.monotonic() + LONGEST_S
    while time.monotonic() < end:
        if not select.select([terminal], [], [], 1.0)[0]:
            # A key pressed while the line editor was still starting may be lost: press again.
            if last and ASKED.search(shown):
                os.write(terminal, last)
            continue
        try:
            more = os.read(terminal, 4096)
        except OSError:  # how Linux says that the other side has closed it
            break
        if not more:
            break
        shown += more
        if answers and ASKED.search(shown[asked_at:]):
            asked_at, last = len(shown), answers.pop(0)
            os.write(terminal, last)
    else:
        os.kill(pid, signal.SIGKILL)
    _, status = os.waitpid(pid, 0)
    os.close(terminal)
    return Session(shown.decode().replace("\r\n", "\n"), os.waitstatus_to_exitcode(status))


def kept(home: Path) -> bool:
    """Whether anything of this router was stored."""
    return any(b"bench" in path.read_bytes() for path in home.rglob("*") if path.is_file())


def test_the_speeds_are_shown_and_what_is_typed_names_them(take: Path, tmp_path: Path) -> None:
    session = at_the_terminal(take, tmp_path, b"fast\n", b"1, 2, 3 4\n", b"1..4\n")
    assert session.status == 0
    shown_first = session.shown.split("Which settings")[0]
    assert re.findall(r"#\d.* ([\d,]+) rpm", shown_first) == [
        "10,130", "12,210", "14,500", "17,230",
    ]  # fmt: skip
    assert '"fast" is not a dial setting' in session.shown
    assert session.shown.count("in this order (4):") == 3
    assert re.search(r"\n +4 .*17,230", session.shown)
    assert kept(tmp_path)


@pytest.mark.parametrize(
    ("typed", "status", "says"),
    [
        (b"1,2,3\n", 2, "4 steady speeds are heard, but 3 settings are given. Nothing was stored."),
        (b"4,3,2,1\n", 2, "They would rise as 1, 2, 3, 4"),
        (b"\x03", 130, "Stopped."),  # Ctrl-C
        (b"\x04", 130, "Stopped."),  # Ctrl-D
    ],
)
def test_a_wrong_answer_or_none_stores_nothing(
    take: Path, tmp_path: Path, typed: bytes, status: int, says: str
) -> None:
    session = at_the_terminal(take, tmp_path, typed)
    assert session.status == status
    assert says in " ".join(session.shown.split())
    assert "\nStopped" in session.shown or status == 2
    assert "Traceback" not in session.shown
    assert not kept(tmp_path)
