"""The engine while the router runs: the same hearing, on a sliding window.

Sound is taken in steps of a fixed number of frames, so that nothing depends on the blocks it
came in. Between two full looks at what is kept, the router is followed by the voices the last
look taught; what is newer than the look-ahead is heard again with the next step.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from analysis.hearing.contact import band_levels
from analysis.hearing.faults import CLIP_NEAR, CLIPPED_SHARE
from analysis.hearing.following import Follower
from analysis.hearing.listener import Hearing, Listener
from analysis.hearing.passes import HeardPass, Span, Trace, find_passes, hear_contact
from analysis.hearing.spectra import Framer, SpectrumGrid, log_power, spectrum
from analysis.hearing.spindle import TEETH, Frames, Turning, as_frames, hear_turning
from analysis.hearing.voice import Voices

FloatArray = npt.NDArray[np.float64]

TICK = 8  # frames
LOOK_S = 40.0
TRACE_S = 90.0
FOLLOW_S = 2.5
FIRST_LOOK_S = 3.0
LOOK_GROWTH = 1.4
LOST_S = 0.3
SAME_ENTRY_S = 0.5
DWELL_S = 0.4


@dataclass(frozen=True, slots=True)
class SpeedHeard:
    """The spindle speed at a moment; None while the router is off or not recognised."""

    time_s: float
    spindle_rpm: float | None


@dataclass(frozen=True, slots=True)
class LevelHeard:
    """How loud the last fifth of a second was: dB against full scale, and the largest sample."""

    time_s: float
    level_db: float
    peak: float
    clipped: bool


@dataclass(frozen=True, slots=True)
class PassEntered:
    """The bit has gone into the wood."""

    entry_s: float


@dataclass(frozen=True, slots=True)
class DwellHeard:
    """The bit stands still in the wood."""

    start_s: float


@dataclass(frozen=True, slots=True)
class PassEnded:
    """A pass is over."""

    heard: HeardPass


@dataclass(frozen=True, slots=True)
class PassResumed:
    """Contact came back so soon that the last `PassEnded` was not the end of its pass."""

    entry_s: float


Event = SpeedHeard | LevelHeard | PassEntered | DwellHeard | PassEnded | PassResumed


class LiveListener:
    """Takes blocks of one-channel sound of any size and says at once what it hears.

    Parameters
    ----------
    sample_rate_hz : float
        8,000 to 192,000.
    flutes : int or None
        Cutting edges on the bit, if known.
    plate_range_rpm : (float, float) or None
        No-load speed range on the router's plate.
    known_voices : Voices or None
        The router's voices from its calibration.
    look_ahead_s : float
        How long a moment stays provisional.

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
        look_ahead_s: float = 0.35,
    ) -> None:
        self._review = Listener(
            sample_rate_hz=sample_rate_hz,
            flutes=flutes,
            plate_range_rpm=plate_range_rpm,
            known_voices=known_voices,
        )
        self.grid = self._review.grid
        self._flutes = flutes
        self._plate_range_rpm = plate_range_rpm
        self._known = known_voices
        self._look_ahead = round(look_ahead_s / self.grid.step_s)
        self._framer = Framer(self.grid)
        self._waiting = np.zeros(0, np.float32)
        self._taken = 0  # samples
        self._sound = _Sound(self.grid, round(LOOK_S / self.grid.step_s))
        self._course = _Course(round(TRACE_S / self.grid.step_s))
        self._follower = Follower(flutes=flutes, plate_range_rpm=plate_range_rpm)
        if known_voices is not None:
            self._follower.learn(known_voices, None)
        self._next_look = round(FIRST_LOOK_S / self.grid.step_s)
        self._ledger = _Ledger()

    def feed(self, samples: npt.NDArray[np.float32]) -> list[Event]:
        """Take in samples, shape (n,), full scale +-1; say what is new."""
        self._waiting = np.concatenate([self._waiting, samples])
        step = TICK * self.grid.hop
        events: list[Event] = []
        for first in range(0, len(self._waiting) - step + 1, step):
            events += self._tick(self._waiting[first : first + step])
        self._waiting = self._waiting[len(self._waiting) // step * step :].copy()
        return events

    def finish(self) -> Hearing:
        """End the take and return the review of all of it."""
        self._review.feed(self._waiting)
        self._waiting = self._waiting[:0]
        return self._review.finish()

    def _tick(self, samples: npt.NDArray[np.float32]) -> list[Event]:
        self._review.feed(samples)
        self._taken += len(samples)
        events: list[Event] = [_level(samples, self._taken / self.grid.sample_rate_hz)]
        frames = self._framer.frames(samples, multiple=1)
        if not len(frames):
            return events
        self._course.grow(self._sound.add(frames))
        self._follow()
        self._look()
        events.append(self._speed())
        events += self._passes()
        return events

    def _follow(self) -> None:
        end = self._sound.end
        last = self._sound.frames(round(FOLLOW_S / self.grid.step_s))
        turning = self._follower.follow(last)
        if turning is None:
            return
        first = max(end - len(last.spectra), end - self._look_ahead - 2 * TICK, 0)
        self._course.splice(turning, first=end - len(last.spectra), keep_from=first)

    def _look(self) -> None:
        end = self._sound.end
        if end < self._next_look:
            return
        frames = self._sound.frames(round(LOOK_S / self.grid.step_s))
        count = len(frames.spectra)
        self._next_look = end + max(
            round(FIRST_LOOK_S / self.grid.step_s), round((LOOK_GROWTH - 1) * count)
        )
        turning = hear_turning(
            frames, flutes=self._flutes, plate_range_rpm=self._plate_range_rpm, known=self._known
        )
        if turning.voices is None:
            return
        self._course.splice(turning, first=end - count, keep_from=end - count)
        self._follower.learn(turning.voices, turning.rotation_hz)

    def _speed(self) -> SpeedHeard:
        newest = self._course.trace(self.grid.step_s).rotation_hz[-TICK // 2 :]
        time_s = (self._sound.end - 1) * self.grid.step_s
        running = np.isfinite(newest).all()
        return SpeedHeard(time_s, 60 * float(np.mean(newest)) if running else None)

    def _passes(self) -> list[Event]:
        trace = self._course.trace(self.grid.step_s)
        if not trace.running.any():
            return []
        passes = find_passes(trace, hear_contact(trace))
        from_s = self._course.first * self.grid.step_s
        now_s = self._sound.end * self.grid.step_s
        return self._ledger.told([_moved(heard, from_s) for heard in passes], now_s=now_s)


def _level(samples: npt.NDArray[np.float32], time_s: float) -> LevelHeard:
    size = np.abs(samples)
    level_db = 10 * float(np.log10(float(np.dot(samples, samples)) / len(samples) + 1e-20))
    clipped = np.count_nonzero(size >= CLIP_NEAR) > CLIPPED_SHARE * len(samples)
    return LevelHeard(time_s, level_db, float(size.max()), bool(clipped))


@dataclass(slots=True)
class _Told:
    entry_s: float
    exit_s: float
    ended: bool
    dwells_s: list[float]


class _Ledger:
    """What was said of which pass."""

    def __init__(self) -> None:
        self._told: list[_Told] = []

    def told(self, passes: list[HeardPass], *, now_s: float) -> list[Event]:
        """News in what is heard now of the last passes."""
        events: list[Event] = []
        for heard in passes:
            lost = heard.exit_s <= now_s - LOST_S
            told = self._same(heard)
            if told is None:
                if self._told and heard.exit_s <= self._told[-1].exit_s + LOST_S:
                    continue
                told = _Told(heard.entry_s, heard.exit_s, False, [])
                self._told = [*self._told[-20:], told]
                events.append(PassEntered(heard.entry_s))
            elif told.ended and heard.exit_s > told.exit_s + LOST_S:
                told.ended = False
                events.append(PassResumed(told.entry_s))
            events += self._dwells(told, heard)
            if not told.ended:
                told.exit_s = heard.exit_s
                if lost:
                    told.ended = True
                    events.append(PassEnded(heard))
        return events

    def _same(self, heard: HeardPass) -> _Told | None:
        for told in self._told:
            if (
                abs(told.entry_s - heard.entry_s) < SAME_ENTRY_S
                or heard.entry_s <= told.entry_s < heard.exit_s
            ):
                return told
        return None

    def _dwells(self, told: _Told, heard: HeardPass) -> list[Event]:
        events: list[Event] = []
        for dwell in heard.dwells:
            if dwell.length_s >= DWELL_S and all(
                abs(dwell.start_s - at) > SAME_ENTRY_S for at in told.dwells_s
            ):
                told.dwells_s.append(dwell.start_s)
                events.append(DwellHeard(dwell.start_s))
        return events


def _moved(heard: HeardPass, by_s: float) -> HeardPass:
    return replace(
        heard,
        entry_s=heard.entry_s + by_s,
        exit_s=heard.exit_s + by_s,
        dwells=tuple(Span(s.start_s + by_s, s.end_s + by_s) for s in heard.dwells),
        liftoffs=tuple(Span(s.start_s + by_s, s.end_s + by_s) for s in heard.liftoffs),
    )


class _Sound:
    """Spectra of the last stretch of sound."""

    def __init__(self, grid: SpectrumGrid, most: int) -> None:
        self._grid = grid
        self._most = most
        self._parts: deque[tuple[npt.NDArray[np.complex64], npt.NDArray[np.float32]]] = deque()
        self._bands: deque[npt.NDArray[np.float32]] = deque()
        self._kept = 0
        self.end = 0  # frame number after the newest

    def add(self, frames: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
        """Take in frames of samples; returns their band levels."""
        spectra = spectrum(frames, grid=self._grid)
        levels = log_power(spectra[:, : self._grid.bins])
        bands = band_levels(spectra, levels, grid=self._grid)
        self._parts.append((spectra[:, : self._grid.bins].copy(), levels))
        self._bands.append(bands)
        self.end += len(frames)
        self._kept += len(frames)
        while self._kept - len(self._bands[0]) >= self._most:
            self._parts.popleft()
            self._kept -= len(self._bands.popleft())
        return bands

    def frames(self, most: int) -> Frames:
        """The last parts that hold `most` frames, or all there is."""
        count, parts = 0, 0
        while parts < len(self._bands) and count < most:
            parts += 1
            count += len(self._bands[-parts])
        chosen = [self._parts[i] for i in range(-parts, 0)]
        return as_frames(
            np.concatenate([spectra for spectra, _ in chosen]),
            np.concatenate([levels for _, levels in chosen]),
            np.concatenate([self._bands[i] for i in range(-parts, 0)]),
            grid=self._grid,
        )


class _Course:
    """What was heard frame by frame, over the last stretch of the take."""

    def __init__(self, most: int) -> None:
        self._most = most
        self.first = 0
        self._bands = np.zeros((0, 0), np.float32)
        self._rotation_hz = np.zeros(0)
        self._deviation_hz = np.zeros(0)
        self._lead = np.zeros(0)
        self._cutting = np.zeros(0, bool)
        self._teeth = np.zeros((0, TEETH), np.float32)

    def grow(self, bands: npt.NDArray[np.float32]) -> None:
        """Make room for new frames, not heard yet."""
        if not len(self._bands):
            self._bands = np.zeros((0, bands.shape[1]), np.float32)
        drop = max(0, len(self._lead) + len(bands) - self._most)
        nothing = np.full(len(bands), np.nan)
        self.first += drop
        self._bands = np.concatenate([self._bands[drop:], bands])
        self._rotation_hz = np.concatenate([self._rotation_hz[drop:], nothing])
        self._deviation_hz = np.concatenate([self._deviation_hz[drop:], nothing])
        self._lead = np.concatenate([self._lead[drop:], np.zeros(len(bands))])
        self._cutting = np.concatenate([self._cutting[drop:], np.zeros(len(bands), bool)])
        silent = np.full((len(bands), TEETH), -0.6, np.float32)
        self._teeth = np.concatenate([self._teeth[drop:], silent])

    def splice(self, turning: Turning, *, first: int, keep_from: int) -> None:
        """Put in what was heard of the frames from `first`, but for those before `keep_from`."""
        keep_from = max(keep_from, self.first)
        source = slice(keep_from - first, None)
        place = slice(keep_from - self.first, first + len(turning.lead) - self.first)
        self._rotation_hz[place] = turning.rotation_hz[source]
        self._deviation_hz[place] = turning.deviation_hz[source]
        self._lead[place] = turning.lead[source]
        self._cutting[place] = turning.cutting[source]
        self._teeth[place] = turning.teeth[source]

    def trace(self, step_s: float) -> Trace:
        """All that is kept."""
        return Trace(
            step_s=step_s,
            bands=self._bands,
            rotation_hz=self._rotation_hz,
            deviation_hz=self._deviation_hz,
            lead=self._lead,
            cutting=self._cutting,
            teeth=self._teeth,
        )
