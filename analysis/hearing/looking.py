"""A look at all that is kept: by voices that are known, or by a search; told when it is due.

A look takes as long as some seconds of following. So it may be worked out beside what goes on,
and is told at a moment of the sound that is fixed beforehand: only on a machine that is too busy
to be done by then does what is heard depend on how busy it is.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from functools import partial

from analysis.hearing.answer import spindle_answer
from analysis.hearing.frames import Frames
from analysis.hearing.turning import Turning, is_one_machine
from analysis.hearing.voice import Mask, Voices
from analysis.hearing.weighing import hear_turning

RECOGNISING = 0.2  # what a look costs by known voices, of one that searches
SURELY_ANSWERED = 9.0  # deviations


@dataclass(frozen=True, slots=True)
class Asked:
    """What is known before a look.

    `known` are voices that do instead of a search, unless one `is_due`: and even then if, by
    them, a spindle of one piece surely answers the cuts told. `told_cut`, shape (frames,), are
    those cuts; it ends with the newest frame and may begin sooner than what is looked at.
    """

    flutes: int | None
    plate_range_rpm: tuple[float, float] | None
    taught: Voices | None
    known: Voices | None
    is_due: bool
    told_cut: Mask


@dataclass(frozen=True, slots=True)
class Seen:
    """What turned, whether it was searched for, and the cost in frames of a search."""

    turning: Turning
    searched: bool
    cost: int


@dataclass(frozen=True, slots=True)
class Look:
    """A look that was begun at so many `kept` frames before frame `end`.

    It is to be told at frame `due`, or as soon after as it is ready, at `latest` in any case;
    `seen` waits for it.
    """

    end: int
    kept: int
    due: int
    latest: int
    is_ready: Callable[[], bool]
    seen: Callable[[], Seen]


def begin_look(
    frames: Frames,
    asked: Asked,
    *,
    kept: int,
    end: int,
    due: int,
    latest: int,
    beside: Executor | None,
) -> Look:
    """Begin a look; without anything to work it out beside, it is worked out when asked for."""
    seen = partial(_seen, frames, asked)
    if beside is None:
        return Look(end, kept, due, latest, lambda: True, seen)
    working = beside.submit(seen)
    return Look(end, kept, due, latest, working.done, working.result)


def _seen(frames: Frames, asked: Asked) -> Seen:
    cost = 0
    if asked.known is not None:
        turning = _turning(frames, asked)
        cost = round(RECOGNISING * len(frames.spectra))
        if not asked.is_due or _surely_cuts(frames, turning, asked.told_cut):
            return Seen(turning, searched=False, cost=cost)
    turning = _turning(frames, replace(asked, known=None))
    return Seen(turning, searched=True, cost=cost + len(frames.spectra))


def _turning(frames: Frames, asked: Asked) -> Turning:
    return hear_turning(
        frames,
        flutes=asked.flutes,
        plate_range_rpm=asked.plate_range_rpm,
        known=asked.known,
        taught=asked.taught,
    )


def _surely_cuts(frames: Frames, turning: Turning, told_cut: Mask) -> bool:
    told = told_cut[-len(turning.lead) :]
    answer = spindle_answer(turning.rotation_hz, told, step_s=frames.grid.step_s)
    return answer > SURELY_ANSWERED and is_one_machine(turning)
