"""Takes for a calibration, decoded whole: they are short."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from analysis.dial.listening import LONGEST_S, Sound
from listen.decoding import TakeError, open_take

SHORTEST_S = 3.0


def read_sound(path: Path) -> tuple[Sound, tuple[str, ...]]:
    """Decode a take; return its sound, and what was odd about the file.

    Raises
    ------
    TakeError
        If it is no take, too short to hold a steady speed, or too long for a calibration.
    """
    blocks = []
    with open_take(path) as take:
        for block in take.blocks():
            blocks.append(block)
            if take.position_s > LONGEST_S:
                raise TakeError(
                    f'"{path.name}" is longer than {LONGEST_S / 60:.0f} minutes. For a '
                    "calibration let each setting run for 4 to 6 s."
                )
        notes = tuple(take.notes)
        length_s = take.position_s
        rate_hz = float(take.sample_rate_hz)
    if length_s < SHORTEST_S:
        raise TakeError(
            f'"{path.name}" lasts only {length_s:.1f} s. Let each setting run for 4 to 6 s.'
        )
    return Sound(np.concatenate(blocks), rate_hz), notes
