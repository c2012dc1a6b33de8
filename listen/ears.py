"""A recording through the engine: file in, hearing out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from analysis.errors import ToothbeatError
from analysis.hearing.faults import FaultKind
from analysis.hearing.listener import Hearing, Listener
from analysis.hearing.voice import Voices
from listen.decoding import TakeError, open_take
from listen.faults import fault_sentence

SHORTEST_TAKE_S = 1.0


class NoRouterError(ToothbeatError):
    """The take holds sound, but no router."""


@dataclass(frozen=True, slots=True, eq=False)
class HeardTake:
    """A take by name, what was heard in it, and what to know about the recording."""

    name: str
    hearing: Hearing
    notes: tuple[str, ...]


def hear_take(
    path: Path,
    *,
    flutes: int | None,
    plate_range_rpm: tuple[float, float] | None,
    known_voices: Voices | None = None,
    on_progress: Callable[[float, float | None], None] | None = None,
) -> HeardTake:
    """Decode a take and listen to it.

    Parameters
    ----------
    known_voices : Voices or None
        The router's voices from its calibration.
    on_progress : callable or None
        Called after each block with the seconds done, and all seconds if known.

    Raises
    ------
    TakeError
        If the file is no take, or shorter than a second.
    NoRouterError
        If no router is heard anywhere in it.
    """
    with open_take(path) as take:
        listener = Listener(
            sample_rate_hz=take.sample_rate_hz,
            flutes=flutes,
            plate_range_rpm=plate_range_rpm,
            known_voices=known_voices,
        )
        for block in take.blocks():
            listener.feed(block)
            if on_progress is not None:
                on_progress(take.position_s, take.declared_s)
    if take.position_s < SHORTEST_TAKE_S:
        raise TakeError(
            f'"{path.name}" lasts only {take.position_s:.1f} s. Record at least one whole pass, '
            "with a second or two before and after it."
        )
    hearing = listener.finish()
    _require_router(path.name, hearing)
    return HeardTake(
        name=path.name,
        hearing=hearing,
        notes=(*take.notes, *map(fault_sentence, hearing.faults)),
    )


def _require_router(name: str, hearing: Hearing) -> None:
    absent = [fault for fault in hearing.faults if fault.kind is FaultKind.NO_ROUTER]
    if absent:
        raise NoRouterError(f"{name}: {fault_sentence(absent[0])}")
    if not np.isfinite(hearing.track.spindle_rpm).any():
        raise AssertionError("a hearing without a running router must carry the NO_ROUTER fault")
