"""From takes and settings to a calibration, or to a refusal that shows what was found."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from analysis.dial.calibration import Calibration, calibrate, plateaus_heard
from analysis.dial.explaining import cuts_matter, explain
from analysis.dial.listening import FreeHearing, Sound, hear_cuts, hear_running_free
from analysis.dial.matching import Mismatch
from analysis.dial.plateaus import Plateau
from analysis.dial.settings import Setting
from analysis.errors import InputError, ToothbeatError
from analysis.hearing.listener import Hearing
from listen.decoding import TakeError
from listen.dial.takes import read_sound
from listen.dial.text import plateaus_drawn, refusal, wrapped


class RefusedError(ToothbeatError):
    """Plateaus and settings that don't fit; the message shows what was found."""


@dataclass(frozen=True, slots=True, eq=False)
class Heard:
    """The takes of a calibration: their sound, what was heard in it, and their names."""

    names: tuple[str, ...]
    sounds: tuple[Sound, ...]
    free: FreeHearing
    plateaus: tuple[Plateau, ...]
    plate_range_rpm: tuple[float, float] | None
    notes: tuple[str, ...]


def hear_takes(paths: tuple[Path, ...], *, plate_range_rpm: tuple[float, float] | None) -> Heard:
    """Decode the takes and find their plateaus.

    Raises
    ------
    TakeError
        If a file is no take, or all together are too long.
    """
    read = [read_sound(path) for path in paths]
    sounds = tuple(sound for sound, _ in read)
    try:
        free = hear_running_free(sounds, plate_range_rpm=plate_range_rpm)
    except InputError:
        raise TakeError(
            "These takes are too long together for a calibration. Let each setting run for 4 to "
            "6 s, and give at most ten minutes."
        ) from None
    return Heard(
        names=tuple(path.name for path in paths),
        sounds=sounds,
        free=free,
        plateaus=plateaus_heard(free),
        plate_range_rpm=plate_range_rpm,
        notes=tuple(note for _, notes in read for note in notes),
    )


def match_takes(
    heard: Heard,
    settings: tuple[Setting, ...],
    *,
    on_refusal: Callable[[tuple[Plateau, ...], str], None],
) -> Calibration:
    """Match and calibrate.

    Parameters
    ----------
    on_refusal : callable
        Called with what was found and a title before the refusal is raised, to draw it.

    Raises
    ------
    RefusedError
        If they don't fit.
    """
    made = _calibrate(heard, heard.plateaus, settings)
    if isinstance(made, Calibration):
        return made
    cuts: tuple[Hearing, ...] = ()
    if cuts_matter(made, heard.free):
        # Running free explains it not: listen again for cuts, which part what is one plateau.
        cuts = hear_cuts(heard.sounds, heard.free, plate_range_rpm=heard.plate_range_rpm)
        plateaus = plateaus_heard(heard.free, cuts)
        if len(plateaus) != len(heard.plateaus):
            again = _calibrate(heard, plateaus, settings)
            if isinstance(again, Calibration):
                return again
            made = again
    sentences = explain(made, heard.free, cuts)
    on_refusal(made.plateaus, sentences[0])
    first = refusal(f"{sentences[0]} Nothing was stored.")
    drawn = plateaus_drawn(made.plateaus, takes=heard.names)
    raise RefusedError("\n".join([first, drawn, *map(wrapped, sentences[1:])]))


def _calibrate(
    heard: Heard, plateaus: tuple[Plateau, ...], settings: tuple[Setting, ...]
) -> Calibration | Mismatch:
    return calibrate(
        plateaus, settings=settings, heard=heard.free, plate_range_rpm=heard.plate_range_rpm
    )
