"""What is kept of the last stretch of a take: its sound, and what was heard frame by frame."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from analysis.hearing.contact import band_levels
from analysis.hearing.frames import Frames, as_frames
from analysis.hearing.spectra import SpectrumGrid, log_power, spectrum
from analysis.hearing.trace import Trace, chosen, joined
from analysis.hearing.turning import TEETH, Turning

FloatArray = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

REFERENCE_S = 8.0
SPARE = 8  # a part of the frames kept: room to write on before they are moved
FAR_BELOW = 3.5  # nepers under the quietest it ran at: not running
LARGEST_PART = 64  # frames taken in at once


class RecentSound:
    """Spectra of the last stretch of sound.

    Their room is made once: small pieces that come and go for hours between the large ones of
    a look leave holes in memory that nothing fits into.

    Parameters
    ----------
    grid : SpectrumGrid
    most : int
        Frames kept.
    """

    def __init__(self, grid: SpectrumGrid, *, most: int) -> None:
        self._grid = grid
        self._most = most
        rows = most + max(most // SPARE, LARGEST_PART)
        self._spectra = np.empty((rows, grid.bins), np.complex64)
        self._levels = np.empty((rows, grid.bins), np.float32)
        self._bands = np.empty((rows, 0), np.float32)
        self._parts: deque[int] = deque()  # frames in each
        self._stop = 0  # row after the newest frame
        self.kept = 0
        self.end = 0
        """Number of the frame after the newest."""

    def add(self, frames: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
        """Take in LARGEST_PART frames of samples at most, shape (n, length); their band levels."""
        spectra = spectrum(frames, grid=self._grid)
        levels = log_power(spectra[:, : self._grid.bins])
        bands = band_levels(spectra, levels, grid=self._grid)
        self._parts.append(len(frames))
        self.end += len(frames)
        self.kept += len(frames)
        while self.kept - self._parts[0] >= self._most:
            self.kept -= self._parts.popleft()
        new = self._room_for(len(frames), bands.shape[1])
        self._spectra[new], self._levels[new] = spectra[:, : self._grid.bins], levels
        self._bands[new] = bands
        return bands

    def frames(self, most: int, *, still_for: int = 0) -> Frames:
        """The last parts that hold `most` frames, or all that is kept; as a view.

        It stays as it is until so many frames more were taken in; at most an eighth of all.
        """
        self._make_room(still_for)
        count = 0
        for part in reversed(self._parts):
            if count >= most:
                break
            count += part
        chosen = slice(self._stop - count, self._stop)
        return as_frames(
            self._spectra[chosen], self._levels[chosen], self._bands[chosen], grid=self._grid
        )

    def newest(self, frames: int) -> tuple[npt.NDArray[np.complex64], npt.NDArray[np.float32]]:
        """Spectra and log powers of so many frames, as views; no more than are kept."""
        chosen = slice(self._stop - min(frames, self.kept), self._stop)
        return self._spectra[chosen], self._levels[chosen]

    def _room_for(self, count: int, bands: int) -> slice:
        """Rows for new frames, behind those that are kept."""
        if not self._bands.shape[1]:
            self._bands = np.empty((len(self._spectra), bands), np.float32)
        self._make_room(count, kept=self.kept - count)
        self._stop += count
        return slice(self._stop - count, self._stop)

    def _make_room(self, count: int, *, kept: int | None = None) -> None:
        """Have rows for so many frames behind those kept."""
        kept = self.kept if kept is None else kept
        if self._stop + count > len(self._spectra):
            for rows in (self._spectra, self._levels, self._bands):
                _move_down(rows, self._stop - kept, self._stop)
            self._stop = kept


def _move_down(rows: npt.NDArray[Any], first: int, stop: int) -> None:
    """Put these rows at the beginning, in pieces that don't overlap their new place."""
    for at in range(first, stop, first):
        rows[at - first : min(at, stop - first)] = rows[at : min(at + first, stop)]


def is_quiet(trace: Trace, *, newest: int) -> bool:
    """Whether so many newest frames are far below those in which the router runs."""
    # One frame in a few tells what it was like as well as all of them.
    running = trace.running[::newest]
    if not running.any():
        return False
    now = trace.bands[-newest:].mean(axis=1).max()
    usual = trace.bands[::newest][running].mean(axis=1)
    return bool(now < np.percentile(usual, 20) - FAR_BELOW)


class RecentCourse:
    """What was heard in each frame of the last stretch of the take.

    Frames are numbered from the start of the take; the first kept is `first`.
    """

    def __init__(self, *, step_s: float, bands: int, most: int) -> None:
        self._most = most
        self.first = 0
        self.trace = _unheard(np.zeros((0, bands), np.float32), step_s)

    @property
    def end(self) -> int:
        """Number of the frame after the newest."""
        return self.first + len(self.trace.lead)

    def grow(self, bands: npt.NDArray[np.float32]) -> None:
        """Make room for new frames, not heard yet."""
        whole = joined(self.trace, _unheard(bands, self.trace.step_s))
        drop = max(0, len(whole.lead) - self._most)
        self.first += drop
        self.trace = chosen(whole, slice(drop, None))

    def refine(self, rotation_hz: FloatArray, deviation_hz: FloatArray, *, from_frame: int) -> None:
        """Put in the newest frames' rotation to the last digits, but for those before that."""
        count = min(self.end - max(from_frame, self.first), len(rotation_hz))
        if count > 0:
            self.trace.rotation_hz[-count:] = rotation_hz[-count:]
            self.trace.deviation_hz[-count:] = deviation_hz[-count:]

    def splice(self, turning: Turning, *, from_frame: int, end: int | None = None) -> None:
        """Put in what was heard up to frame `end`, or the newest, but not before `from_frame`."""
        end = self.end if end is None else end
        count = min(end - max(from_frame, self.first), len(turning.lead))
        if count <= 0:
            return
        frames = slice(end - count - self.first, end - self.first)
        for name in ("rotation_hz", "deviation_hz", "lead", "cutting", "teeth"):
            getattr(self.trace, name)[frames] = getattr(turning, name)[-count:]


def _unheard(bands: npt.NDArray[np.float32], step_s: float) -> Trace:
    count = len(bands)
    return Trace(
        step_s=step_s,
        bands=bands,
        rotation_hz=np.full(count, np.nan),
        deviation_hz=np.full(count, np.nan),
        lead=np.zeros(count),
        cutting=np.zeros(count, bool),
        teeth=np.full((count, TEETH), -0.6, np.float32),
    )


@dataclass(slots=True)
class Reference:
    """Frames known to be free and frames known to be in the cut, the latest of each."""

    free: Trace | None = None
    cut: Trace | None = None

    def learn(self, trace: Trace, *, free: Mask, cut: Mask) -> None:
        """Take over frames of a trace, keeping what is older as far as there is room."""
        most = round(REFERENCE_S / trace.step_s)
        self.free = _latest(self.free, chosen(trace, free), most)
        self.cut = _latest(self.cut, chosen(trace, cut), most)

    def speeds_hz(self) -> tuple[float, ...]:
        """How fast the router turned, free and in the cut, as far as that is known."""
        parts = (part.rotation_hz for part in (self.free, self.cut) if part is not None)
        turning = (part[np.isfinite(part)] for part in parts)
        return tuple(float(np.median(part)) for part in turning if len(part))

    def as_rich_as(self, other: Reference, *, share: float) -> bool:
        """Whether this has frames of both, and no less than so large a share of the other's."""
        return all(
            one is not None
            and len(one.lead) > (0 if another is None else share * len(another.lead))
            for one, another in ((self.free, other.free), (self.cut, other.cut))
        )


def _latest(old: Trace | None, new: Trace, most: int) -> Trace:
    whole = new if old is None else joined(old, new)
    return chosen(whole, slice(max(0, len(whole.lead) - most), None))
