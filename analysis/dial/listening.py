"""Takes of a router running free, through the one engine: its voice first, then its course."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.dial.free_voice import FreeVoice, learn_free_voice
from analysis.errors import InputError
from analysis.hearing.course import Search
from analysis.hearing.listener import Hearing, Listener
from analysis.hearing.orders import Candidates
from analysis.hearing.spectra import Framer, SpectrumGrid, log_floor, log_power, spectrum
from analysis.hearing.spindle import candidate_range_hz

BATCH = 256  # frames
LONGEST_S = 900.0


@dataclass(frozen=True, slots=True, eq=False)
class Sound:
    """One take in memory: `samples` of shape (n,), full scale +-1."""

    samples: npt.NDArray[np.float32]
    sample_rate_hz: float

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return len(self.samples) / self.sample_rate_hz


@dataclass(frozen=True, slots=True, eq=False)
class FreeHearing:
    """What was heard in the takes of one calibration, in their order."""

    hearings: tuple[Hearing, ...]
    voice: FreeVoice | None


def hear_running_free(
    sounds: tuple[Sound, ...], *, plate_range_rpm: tuple[float, float] | None
) -> FreeHearing:
    """Hear takes of one router running free at different dial settings.

    The router's voice is learned from all takes together that share the longest one's sample
    rate; then each is heard by the engine that knows the voice.

    Parameters
    ----------
    sounds : tuple of Sound
        One or more, together at most 15 minutes.
    plate_range_rpm : (float, float) or None
        No-load speeds on the router's plate.

    Raises
    ------
    InputError
        If there is no take or too much of it.
    """
    if not sounds:
        raise InputError("takes", 0, "one or more")
    total_s = sum(sound.duration_s for sound in sounds)
    if total_s > LONGEST_S:
        raise InputError("length of all takes (s)", round(total_s), f"at most {LONGEST_S:g}")
    longest = max(sounds, key=lambda sound: sound.duration_s)
    grid = SpectrumGrid(longest.sample_rate_hz)
    alike = [sound for sound in sounds if sound.sample_rate_hz == longest.sample_rate_hz]
    search = Search(
        np.concatenate([_excess(sound.samples, grid=grid) for sound in alike]),
        grid,
        Candidates.between(*candidate_range_hz(plate_range_rpm)),
        None,
    )
    voice = learn_free_voice(search)
    return FreeHearing(
        tuple(_hear(sound, plate_range_rpm=plate_range_rpm, voice=voice) for sound in sounds), voice
    )


def _hear(
    sound: Sound, *, plate_range_rpm: tuple[float, float] | None, voice: FreeVoice | None
) -> Hearing:
    listener = Listener(
        sample_rate_hz=sound.sample_rate_hz,
        plate_range_rpm=plate_range_rpm,
        known_voices=voice.voices if voice is not None else None,
    )
    listener.feed(sound.samples)
    return listener.finish()


def _excess(samples: npt.NDArray[np.float32], *, grid: SpectrumGrid) -> npt.NDArray[np.float32]:
    """ln(power / floor) in steps of two frames, shape (steps, bins)."""
    framer = Framer(grid)
    steps = []
    for frames in (framer.frames(samples, multiple=2), framer.rest()):
        for first in range(0, len(frames), BATCH):
            batch = spectrum(frames[first : first + BATCH], grid=grid)[:, : grid.bins]
            excess = log_power(batch)
            excess -= log_floor(excess, grid=grid)
            pairs = len(excess) // 2 * 2
            steps.append((excess[0:pairs:2] + excess[1:pairs:2]) / 2)
    return np.concatenate(steps) if steps else np.zeros((0, grid.bins), np.float32)
