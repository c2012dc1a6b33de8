"""The engine that listens, and the same in a process of its own: nothing else waits for it there.

Now and then an ear looks back over all that it keeps, which takes seconds. Apart, it holds up
neither the recording nor the ear of another take.
"""

from __future__ import annotations

import os
import pickle
import queue
import signal
import subprocess
import sys
import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from concurrent.futures import Executor, ThreadPoolExecutor
from contextlib import suppress
from typing import TYPE_CHECKING, Any, Protocol

from analysis.errors import ToothbeatError
from listen.live.memory import EVERY_S, give_back

if TYPE_CHECKING:
    from analysis.hearing.events import Event
    from analysis.hearing.listener import Hearing
    from listen.live.frames import Samples
    from listen.setup import Bench

PATIENCE_S = 0.03
"""Less than a block lasts: mostly an ear has answered by then, and is heard at once."""
MOST_BEHIND_S = 120.0
_LONGEST_END_S = 600.0
_STILL = "The recording goes on: review it when the take is over."
_PROGRAM = "import analysis.hearing.live; from listen.live.ear import listen_apart; listen_apart()"
_ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")


class Ear(Protocol):
    """What a coach needs of the listening engine."""

    def feed(self, samples: Samples) -> Sequence[Event]: ...
    def finish(self) -> Hearing: ...


MakeEar = Callable[["Bench", float], Ear]
Program = subprocess.Popen[bytes]


class EarError(ToothbeatError):
    """An ear that hears no more, or none at all."""


def live_ear(bench: Bench, sample_rate_hz: float, *, beside: Executor | None = None) -> Ear:
    """A fresh listening engine for this bench, in this process; it looks back `beside` the rest."""
    from analysis.hearing.live import LiveListener

    return LiveListener(
        sample_rate_hz=sample_rate_hz,
        flutes=bench.cut.flutes,
        plate_range_rpm=bench.cut.plate_range_rpm,
        known_voices=bench.voices,
        beside=beside,
    )


def _ear_with_a_thread(bench: Bench, sample_rate_hz: float) -> Ear:
    return live_ear(bench, sample_rate_hz, beside=ThreadPoolExecutor(1))


def ear_apart(bench: Bench, sample_rate_hz: float) -> EarApart:
    """A fresh listening engine for this bench, in a process of its own."""
    return EarApart(_ear_with_a_thread, bench, sample_rate_hz)


class EarsAtHand:
    """Makes ears in processes of their own; the next one's program is started beforehand.

    So a take need not wait until a program has started. It is a context, which ends the spare.
    """

    def __init__(self) -> None:
        self._spare: Program | None = None

    def __enter__(self) -> EarsAtHand:
        self._start()
        return self

    def __exit__(self, *_: object) -> None:
        self._end_spare()

    def __call__(self, bench: Bench, sample_rate_hz: float) -> EarApart:
        """A fresh listening engine for this bench."""
        if self._spare is not None and self._spare.poll() is not None:
            self._end_spare()
        spare, self._spare = self._spare, None
        ear = EarApart(_ear_with_a_thread, bench, sample_rate_hz, program=spare)
        self._start()
        return ear

    def _end_spare(self) -> None:
        if self._spare is not None:
            with self._spare:  # its pipes are closed
                self._spare.kill()
            self._spare = None

    def _start(self) -> None:
        with suppress(EarError):  # told when an ear is asked for
            self._spare = _started()


class EarApart:
    """An ear in a process of its own, which ends with this one, however this one ends.

    Parameters
    ----------
    make_ear : callable
        Makes the ear there; a function that can be imported there.
    program : Program or None
        One that has been started for it.

    Raises
    ------
    EarError
        If the process cannot be started.
    """

    def __init__(
        self,
        make_ear: MakeEar,
        bench: Bench,
        sample_rate_hz: float,
        *,
        program: Program | None = None,
    ) -> None:
        self._rate_hz = sample_rate_hz
        self._orders: queue.SimpleQueue[Any] = queue.SimpleQueue()
        self._answers: queue.SimpleQueue[Any] = queue.SimpleQueue()
        self._unanswered: deque[int] = deque()  # samples in each block
        self._process = _started() if program is None else program
        for work in (self._send, self._receive):
            threading.Thread(target=work, name="to the ear", daemon=True).start()
        self._orders.put((make_ear, bench, sample_rate_hz))

    @property
    def pid(self) -> int:
        """The process's number."""
        return self._process.pid

    def feed(self, samples: Samples) -> list[Event]:
        """Pass on sound; what was heard by now, of this or of earlier sound.

        Raises
        ------
        EarError
            If the process is gone, or too far behind ever to be of use.
        """
        self._orders.put(samples)
        self._unanswered.append(len(samples))
        if sum(self._unanswered) > MOST_BEHIND_S * self._rate_hz:
            raise EarError(f"Listening stopped: this computer is too busy to keep up. {_STILL}")
        events: list[Event] = []
        until_s = time.monotonic() + PATIENCE_S
        while self._unanswered:
            try:
                events += self._answer(max(0.0, until_s - time.monotonic()))
            except queue.Empty:
                break
            self._unanswered.popleft()
        return events

    def finish(self) -> Hearing:
        """End the take and return the review of all of it; this is waited for.

        Raises
        ------
        EarError
            If the process is gone, or does not come to an end.
        """
        self._orders.put("end")
        until_s = time.monotonic() + _LONGEST_END_S
        try:
            while self._unanswered:
                self._answer(until_s - time.monotonic())
                self._unanswered.popleft()
            hearing: Hearing = self._answer(until_s - time.monotonic())
        except queue.Empty:
            raise EarError(f"The end of the take took too long to hear. {_STILL}") from None
        finally:
            self.close()
        return hearing

    def close(self) -> None:
        """End the process."""
        self._orders.put(None)
        self._process.kill()
        self._process.wait()

    def _answer(self, patience_s: float) -> Any:
        answer = self._answers.get(timeout=max(0.0, patience_s))
        if answer is None:
            self._answers.put(None)
            raise EarError(f"Listening stopped. {_STILL}")
        return answer

    def _send(self) -> None:
        assert self._process.stdin is not None
        with suppress(OSError), self._process.stdin as pipe:  # if it is gone, the answers tell
            while (order := self._orders.get()) is not None:
                pickle.dump(order, pipe)
                pipe.flush()

    def _receive(self) -> None:
        assert self._process.stdout is not None
        with suppress(EOFError, OSError, pickle.UnpicklingError), self._process.stdout as pipe:
            while True:
                self._answers.put(pickle.load(pipe))
        self._answers.put(None)


def _started() -> Program:
    """A program that waits for the order to listen."""
    try:
        # Ctrl-C is for the program that the person sees: in a group of its own, the ear
        # lives on for the last pass and the summary, until its input ends.
        return subprocess.Popen(
            [sys.executable, "-c", _PROGRAM],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env=_ONE_THREAD | os.environ,
            start_new_session=True,
            creationflags=getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0),
        )
    except OSError:
        raise EarError("Listening could not begin: this computer is too busy.") from None


def listen_apart() -> None:
    """What the other process does: blocks come on standard input, answers go to standard output.

    It ends with its input.
    """
    orders, answers = sys.stdin.buffer, os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # whatever else is printed is no answer
    if hasattr(signal, "SIGPIPE"):
        signal.signal(signal.SIGPIPE, signal.SIG_DFL)  # nobody is left to answer
    with suppress(EOFError, pickle.UnpicklingError):  # the input ended, in a block perhaps
        make_ear, bench, sample_rate_hz = pickle.load(orders)
        ear: Ear = make_ear(bench, sample_rate_hz)
        tidy_at = count = 0
        while not isinstance(samples := pickle.load(orders), str):
            _say(ear.feed(samples), answers)
            count += len(samples)
            if count >= tidy_at:
                tidy_at = count + round(EVERY_S * sample_rate_hz)
                give_back()
        _say(ear.finish(), answers)


def _say(answer: object, pipe: Any) -> None:
    pickle.dump(answer, pipe)
    pipe.flush()
