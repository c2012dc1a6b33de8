"""What is kept of the last stretch of a take: its sound, and what was heard frame by frame."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, fields
from functools import cache

import numpy as np
import numpy.typing as npt

from analysis.hearing.contact import band_levels
from analysis.hearing.spectra import SpectrumGrid, log_power, spectrum
from analysis.hearing.spindle import TEETH, Frames, Turning, as_frames
from analysis.hearing.trace import Trace

Mask = npt.NDArray[np.bool_]

REFERENCE_S = 8.0


class RecentSound:
    """Spectra of the last stretch of sound.

    Parameters
    ----------
    grid : SpectrumGrid
    most : int
        Frames kept.
    """

    def __init__(self, grid: SpectrumGrid, *, most: int) -> None:
        self._grid = grid
        self._most = most
        self._parts: deque[tuple[npt.NDArray[np.complex64], npt.NDArray[np.float32]]] = deque()
        self._bands: deque[npt.NDArray[np.float32]] = deque()
        self.kept = 0
        self.end = 0
        """Number of the frame after the newest."""

    def add(self, frames: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
        """Take in frames of samples, shape (n, length); returns their band levels."""
        spectra = spectrum(frames, grid=self._grid)
        levels = log_power(spectra[:, : self._grid.bins])
        bands = band_levels(spectra, levels, grid=self._grid)
        self._parts.append((spectra[:, : self._grid.bins].copy(), levels))
        self._bands.append(bands)
        self.end += len(frames)
        self.kept += len(frames)
        while self.kept - len(self._bands[0]) >= self._most:
            self._parts.popleft()
            self.kept -= len(self._bands.popleft())
        return bands

    def frames(self, most: int) -> Frames:
        """The last parts that hold `most` frames, or all that is kept."""
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


@cache
def _arrays() -> tuple[str, ...]:
    return tuple(field.name for field in fields(Trace) if field.name != "step_s")


def chosen(trace: Trace, frames: slice | Mask | npt.NDArray[np.int64]) -> Trace:
    """Some of a trace's frames."""
    return Trace(trace.step_s, *(getattr(trace, name)[frames] for name in _arrays()))


def joined(*traces: Trace) -> Trace:
    """Traces one after the other."""
    parts = ([getattr(trace, name) for trace in traces] for name in _arrays())
    return Trace(traces[0].step_s, *(np.concatenate(part) for part in parts))


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

    def splice(self, turning: Turning, *, from_frame: int) -> None:
        """Put in what was heard of the newest frames, but for those before `from_frame`."""
        count = min(self.end - max(from_frame, self.first), len(turning.lead))
        if count <= 0:
            return
        for name in ("rotation_hz", "deviation_hz", "lead", "cutting", "teeth"):
            getattr(self.trace, name)[-count:] = getattr(turning, name)[-count:]


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


def _latest(old: Trace | None, new: Trace, most: int) -> Trace:
    whole = new if old is None else joined(old, new)
    return chosen(whole, slice(max(0, len(whole.lead) - most), None))
