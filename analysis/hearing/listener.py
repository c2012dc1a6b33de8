"""The one engine: blocks of sound in, a hearing out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.errors import InputError
from analysis.hearing.contact import band_levels
from analysis.hearing.faults import Fault, SoundLevel, faults_of
from analysis.hearing.frames import Frames, as_frames
from analysis.hearing.overview import Overview, OverviewMaker
from analysis.hearing.passes import HeardPass, find_passes
from analysis.hearing.spectra import (
    Framer,
    SpectrumGrid,
    log_power,
    spectrum,
)
from analysis.hearing.spindle import SpindleTrack, spindle_track
from analysis.hearing.touching import hear_contact
from analysis.hearing.trace import Trace, chosen, joined
from analysis.hearing.turning import trace_of
from analysis.hearing.voice import Voices
from analysis.hearing.weighing import hear_turning, voices_surely_heard

# Long takes are heard in sections, each with a margin of its neighbours' sound, so that
# memory stays flat; a usual take is one section.
SECTION_S = 112.0  # both margins are part of it
MARGIN_S = 4.0
BATCH = 64  # frames


@dataclass(frozen=True, slots=True, eq=False)
class Hearing:
    """All that was heard in one take."""

    duration_s: float
    sample_rate_hz: float
    track: SpindleTrack
    passes: tuple[HeardPass, ...]
    faults: tuple[Fault, ...]
    overview: Overview
    voices: Voices | None


class Listener:
    """Takes blocks of one-channel sound of any size and tells what it hears.

    Parameters
    ----------
    sample_rate_hz : float
        8,000 to 192,000.
    flutes : int or None
        Cutting edges on the bit, if known.
    plate_range_rpm : (float, float) or None
        No-load speed range on the router's plate; under load it may be a third below.
    known_voices : Voices or None
        The router's voices from its calibration.

    Raises
    ------
    InputError
        If a value is out of range.
    """

    def __init__(
        self,
        *,
        sample_rate_hz: float,
        flutes: int | None = None,
        plate_range_rpm: tuple[float, float] | None = None,
        known_voices: Voices | None = None,
    ) -> None:
        if flutes is not None and not 1 <= flutes <= 12:
            raise InputError("flutes", flutes, "a whole number from 1 to 12")
        if plate_range_rpm is not None and not 0 < plate_range_rpm[0] <= plate_range_rpm[1]:
            raise InputError("speed range (rpm)", plate_range_rpm, "a low and a higher speed")
        self.grid = SpectrumGrid(float(sample_rate_hz))
        self._flutes = flutes
        self._plate_range_rpm = plate_range_rpm
        self._voices: Voices | None = None
        self._taught = known_voices
        self._framer = Framer(self.grid)
        self._samples = 0
        self._level = SoundLevel()
        self._overview = OverviewMaker(self.grid)
        self._section_frames, self._margin_frames = (
            round(seconds / self.grid.step_s) for seconds in (SECTION_S, MARGIN_S)
        )
        # Besides a section: a batch not yet looked at, and the take's rest.
        self._section = _Section(self.grid, most=self._section_frames + 3 * BATCH)
        self._kept: list[Trace] = []
        self._sureness: list[npt.NDArray[np.float64]] = []
        self._first = 0  # frame number of the section's first frame
        self._told = 0  # frames already kept

    def feed(self, samples: npt.NDArray[np.float32]) -> None:
        """Take in samples, shape (n,), full scale +-1."""
        self._samples += len(samples)
        self._level.add(samples)
        frames = self._framer.frames(samples, multiple=BATCH)
        for first in range(0, len(frames), BATCH):
            self._add(frames[first : first + BATCH])
            if self._section.count >= self._section_frames:
                self._hear(margin=self._margin_frames)
                # The next section starts a margin before what is not yet told; whole steps.
                start = (self._told - self._margin_frames) // 2 * 2
                self._section.drop(start - self._first)
                self._first = start

    def finish(self) -> Hearing:
        """End the take and return all that was heard."""
        rest = self._framer.rest()
        if not self._first + self._section.count + len(rest):
            rest = np.zeros((1, self.grid.length), np.float32)  # a take without any sound
        self._add(rest)
        self._hear(margin=0)
        self._section = _Section(self.grid, most=0)  # the sound has been heard: make room
        trace, sureness = joined(*self._kept), np.concatenate(self._sureness)
        self._kept.clear()
        contact = hear_contact(trace)
        passes = find_passes(trace, contact)
        return Hearing(
            duration_s=self._samples / self.grid.sample_rate_hz,
            sample_rate_hz=self.grid.sample_rate_hz,
            track=spindle_track(
                rotation_hz=trace.rotation_hz,
                deviation_hz=trace.deviation_hz,
                sureness=sureness,
                contact=contact.mask,
                step_s=self.grid.step_s,
            ),
            passes=passes,
            faults=faults_of(
                self._level, trace=trace, contact=contact.mask, passes=passes, grid=self.grid
            ),
            overview=self._overview.made(),
            voices=self._voices,
        )

    def _add(self, frames: npt.NDArray[np.float32]) -> None:
        spectra = spectrum(frames, grid=self.grid)
        levels = log_power(spectra[:, : self.grid.bins])
        self._overview.add(levels)
        self._section.add(spectra, levels)

    def _hear(self, *, margin: int) -> None:
        """Hear the section and tell all of it but a margin of so many frames at its end."""
        frames = self._section.frames()
        flutes, plate, taught = self._flutes, self._plate_range_rpm, self._taught
        if self._voices is None and margin:
            # A search is dear and recognising cheap: a long take's router is mostly sure before
            # a third of the section is over.
            begun = frames.until(len(frames.spectra) // 6 * 2)
            self._voices = voices_surely_heard(
                begun, flutes=flutes, plate_range_rpm=plate, taught=taught
            )
        turning = hear_turning(
            frames, flutes=flutes, plate_range_rpm=plate, known=self._voices, taught=taught
        )
        self._voices = turning.voices or self._voices
        end = self._first + self._section.count - margin
        keep = slice(self._told - self._first, end - self._first)
        # Joined, copied that is: the section goes on to other sound.
        self._kept.append(joined(chosen(trace_of(frames, turning), keep)))
        self._sureness.append(turning.sureness[keep].copy())
        self._told = end


class _Section:
    """Spectra of the section being collected; room for all of it is made once."""

    def __init__(self, grid: SpectrumGrid, *, most: int) -> None:
        self._grid = grid
        self._spectra = np.empty((most, grid.bins), np.complex64)
        self._levels = np.empty((most, grid.bins), np.float32)
        self._bands = np.empty((most, 0), np.float32)
        self.count = 0

    def add(self, spectra: npt.NDArray[np.complex64], levels: npt.NDArray[np.float32]) -> None:
        bands = band_levels(spectra, levels, grid=self._grid)
        if not self.count and self._bands.shape[1] != bands.shape[1]:
            self._bands = np.empty((len(self._levels), bands.shape[1]), np.float32)
        new = slice(self.count, self.count + len(levels))
        self._spectra[new], self._levels[new] = spectra[:, : self._grid.bins], levels
        self._bands[new] = bands
        self.count += len(levels)

    def frames(self) -> Frames:
        """All frames, as a view."""
        held = slice(self.count)
        return as_frames(
            self._spectra[held], self._levels[held], self._bands[held], grid=self._grid
        )

    def drop(self, count: int) -> None:
        """Forget the first `count` frames."""
        for kept in (self._spectra, self._levels, self._bands):
            kept[: self.count - count] = kept[count : self.count].copy()
        self.count -= count
