"""What is wrong with a recording, as far as the sound itself tells."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from analysis.hearing.spectra import SpectrumGrid

if TYPE_CHECKING:
    from analysis.hearing.passes import HeardPass
    from analysis.hearing.trace import Trace

CLIPPED_SHARE = 2e-4  # of the samples
PILE = 6.0  # times what a smooth run of sizes would have at the top; a sine comes to 3
SIZES, SIZES_PER_UNIT = 1000, 700
ENOUGH_SIZES = 2_000  # samples: fewer make no smooth run
TOO_QUIET_DB = -60.0
NARROW_HZ = 3_800.0
RIDING_DB = 4.0


class FaultKind(Enum):
    """The recording faults that can be told from the sound alone."""

    CLIPPED = "clipped"
    TOO_QUIET = "too quiet"
    GAIN_RIDING = "gain riding"
    BAND_TOO_NARROW = "band too narrow"
    NO_ROUTER = "no router heard"
    NO_CUT = "no cut heard"


@dataclass(frozen=True, slots=True)
class Fault:
    """One recording fault: `kind`, and `measure`, the figure that told it (unit in `unit`)."""

    kind: FaultKind
    measure: float
    unit: str


class SoundLevel:
    """Level and clipping, kept as the samples go by."""

    def __init__(self) -> None:
        self._count = 0
        self._energy = 0.0
        self._sizes = np.zeros(SIZES, np.int64)  # histogram of every third sample's size

    def add(self, samples: npt.NDArray[np.float32]) -> None:
        """Take in samples, full scale +-1."""
        # Every third sample of the take, however it was cut into blocks.
        third = samples[-self._count % 3 :: 3]
        self._energy += float(np.dot(samples, samples))
        self._count += len(samples)
        place = np.minimum(np.abs(third) * SIZES_PER_UNIT, SIZES - 1).astype(np.int64)
        self._sizes += np.bincount(place, minlength=SIZES)

    @property
    def level_db(self) -> float:
        """Root mean square, dB against full scale."""
        return 10 * float(np.log10(self._energy / max(self._count, 1) + 1e-20))

    @property
    def clipped_share(self) -> float:
        """Share of the samples that pile up at the largest size met, 0 if they do not.

        A tone spends long near its peak too, so the pile must be far higher than what
        lies just below it.
        """
        used = np.flatnonzero(self._sizes)
        few = self._sizes.sum() < ENOUGH_SIZES
        if few or not len(used) or used[-1] < 0.05 * SIZES_PER_UNIT:
            return 0.0
        peak = int(used[-1]) + 1
        top = int(self._sizes[int(0.98 * peak) :].sum())
        shoulder = int(self._sizes[int(0.90 * peak) : int(0.98 * peak)].sum())
        piled = top > PILE * shoulder / 4  # the shoulder is four times as wide
        return top / max(int(self._sizes.sum()), 1) if piled else 0.0


def faults_of(
    level: SoundLevel,
    *,
    trace: Trace,
    contact: npt.NDArray[np.bool_],
    passes: tuple[HeardPass, ...],
    grid: SpectrumGrid,
) -> tuple[Fault, ...]:
    """The faults of a take, the worst first."""
    faults = []
    if not trace.running.any():
        faults.append(Fault(FaultKind.NO_ROUTER, 0.0, "s"))
    elif not passes:
        faults.append(Fault(FaultKind.NO_CUT, float(trace.running.sum() * trace.step_s), "s"))
    if level.clipped_share > CLIPPED_SHARE:
        faults.append(Fault(FaultKind.CLIPPED, 100 * level.clipped_share, "%"))
    if level.level_db < TOO_QUIET_DB:
        faults.append(Fault(FaultKind.TOO_QUIET, level.level_db, "dB"))
    if 0.5 * grid.sample_rate_hz < NARROW_HZ * 1.2:
        faults.append(Fault(FaultKind.BAND_TOO_NARROW, 0.5 * grid.sample_rate_hz, "Hz"))
    riding = _gain_riding_db(trace, contact)
    if riding > RIDING_DB:
        faults.append(Fault(FaultKind.GAIN_RIDING, riding, "dB"))
    return tuple(faults)


def _gain_riding_db(trace: Trace, contact: npt.NDArray[np.bool_]) -> float:
    """How far the idle level still climbs in the two seconds after a cut, dB, median.

    A router that runs free makes the same noise right after a cut as later; a gain that
    was turned down in the cut comes back up.
    """
    early, late = round(0.3 / trace.step_s), round(1.8 / trace.step_s)
    level = trace.bands.mean(axis=1) * 10 / np.log(10)
    exits = np.flatnonzero(contact[:-1] & ~contact[1:])
    climbs = [
        float(
            np.mean(level[e + late - 8 : e + late + 8]) - np.mean(level[e + early : e + early + 8])
        )
        for e in exits
        if e + late + 8 < len(level)
        and not contact[e + 1 : e + late + 8].any()
        and trace.running[e + 1 : e + late + 8].all()
    ]
    return float(np.median(climbs)) if climbs else 0.0
