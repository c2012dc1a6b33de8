"""What is kept of a take for finding its passes."""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cache

import numpy as np
import numpy.typing as npt
from scipy.ndimage import binary_erosion

FloatArray = npt.NDArray[np.float64]
Features = npt.NDArray[np.float32]  # shape (frames, features)
Mask = npt.NDArray[np.bool_]

# Voices and teeth tell contact, bands tell chips: an edge that stands and rubs keeps the former.
# So where all are steady the bands must decide: the others are drawn together.
LEAD_SCALE, MOST_LEAD = 60.0, 15.0
TEETH_SCALE = 3.0


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """What is kept of a take for finding its passes. All arrays have shape (frames, ...).

    Attributes
    ----------
    bands : array, shape (frames, bands)
        Broadband levels, ln power.
    rotation_hz, deviation_hz, lead : arrays, shape (frames,)
        As in `Turning`.
    cutting : array, shape (frames,)
        First guess of the frames in the cut.
    teeth : array, shape (frames, teeth)
        Excess at the teeth's first orders.
    """

    step_s: float
    bands: npt.NDArray[np.float32]
    rotation_hz: FloatArray
    deviation_hz: FloatArray
    lead: FloatArray
    cutting: Mask
    teeth: npt.NDArray[np.float32]

    @property
    def steady(self) -> Mask:
        """Frames in which the speed changes little over the third of a second around."""
        wide = max(1, round(0.35 / self.step_s))
        running = binary_erosion(self.running, iterations=wide, border_value=1)
        if len(running) <= 2 * wide:
            return running
        log_hz = self.log_hz
        change = np.abs(log_hz[2 * wide :] - log_hz[: -2 * wide])
        return np.asarray(running & np.pad(change < 0.06, wide, constant_values=True))

    @property
    def running(self) -> Mask:
        """Frames in which the router turns."""
        return np.isfinite(self.rotation_hz)

    @property
    def log_hz(self) -> FloatArray:
        """The rotation in ln Hz; 0 where the router is off."""
        return np.asarray(np.log(np.where(self.running, self.rotation_hz, 1.0)), np.float64)

    def features(self) -> Features:
        """What tells contact: the bands, the teeth's mean, and the voices' lead."""
        teeth = self.teeth.mean(axis=1, keepdims=True)
        lead = self.clipped_lead[:, None].astype(np.float32)
        return np.concatenate(
            [self.band_features(), teeth / np.float32(TEETH_SCALE), lead / np.float32(LEAD_SCALE)],
            axis=1,
        )

    @property
    def clipped_lead(self) -> FloatArray:
        """The voices' lead; beyond MOST_LEAD it says nothing more."""
        return np.clip(self.lead, -MOST_LEAD, MOST_LEAD)

    def band_features(self) -> Features:
        """Band levels apart from the overall level, and the level: what chips change."""
        level = self.bands.mean(axis=1, keepdims=True)
        return np.concatenate([self.bands - level, level], axis=1)

    def rub_features(self) -> Features:
        """Band levels and the teeth's orders: what a rub without chips still has."""
        return np.concatenate([self.band_features(), self.teeth], axis=1)


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


@dataclass(frozen=True, slots=True, eq=False)
class Contact:
    """Frames in contact and the evidence for it, shape (frames,)."""

    mask: Mask
    evidence: FloatArray
