"""The real `toothbeat listen` in a process of its own."""

from __future__ import annotations

import os
import queue
import re
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path
from types import TracebackType
from typing import Self

REPOSITORY = Path(__file__).parents[2]
CUT = [
    "--edge=600mm", "--bit=12.7mm", "--flutes=2", "--trim=1.6mm", "--material=hardwood",
]  # fmt: skip
STUB = (
    "import sys, listen.live.ear as r; from tests.listen.live.stub_engine import StubEngine; "
    "r.ear_apart = lambda bench, rate_hz: StubEngine(rate_hz); "
    "from listen.cli import run; sys.exit(run(sys.argv[1:]))"
)


class Listening:
    """`toothbeat listen` under way. `stub`: with the stub for an engine."""

    def __init__(
        self, *arguments: str, environment: dict[str, str], home: Path, stub: bool = False
    ) -> None:
        program = ["-c", STUB] if stub else ["-m", "listen"]
        self.process = subprocess.Popen(
            [sys.executable, *program, "listen", *arguments],
            env={
                **environment,
                "TOOTHBEAT_HOME": str(home),
                "PYTHONPATH": os.pathsep.join([os.environ.get("PYTHONPATH", ""), str(REPOSITORY)]),
                "PYTHONUNBUFFERED": "1",
            },
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        self.lines: list[str] = []
        self._new: queue.Queue[str] = queue.Queue()
        threading.Thread(target=self._read, daemon=True).start()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()
        for pipe in (self.process.stdout, self.process.stderr):
            if pipe is not None:
                pipe.close()

    def wait_for(self, pattern: str, *, seconds: float) -> str:
        """Wait for a line that fits; return it."""
        until_s = time.monotonic() + seconds
        while True:
            try:
                line = self._new.get(timeout=max(0.01, until_s - time.monotonic()))
            except queue.Empty:
                raise AssertionError(f"no line with {pattern!r} in {self.lines}") from None
            if re.search(pattern, line):
                return line

    def interrupt(self, *, seconds: float = 20) -> int:
        """Press Ctrl-C; return the exit status."""
        self.process.send_signal(signal.SIGINT)
        return self.process.wait(seconds)

    def _read(self) -> None:
        if self.process.stdout is None:
            return
        for line in self.process.stdout:
            self.lines.append(line.rstrip("\n"))
            self._new.put(line)
