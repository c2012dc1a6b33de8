"""How well each spindle speed explains a spectrum: the comb of orders as a likelihood.

Every tone of a router is a whole multiple (an order) of its rotation. For a candidate
rotation the orders that are there count for it and the ones that are missing against it;
that is what parts a speed from its half and its double.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from analysis.hearing.spectra import SpectrumGrid

FloatArray = npt.NDArray[np.float64]
Excess = npt.NDArray[np.float32]  # ln(power / floor)
Voice = npt.NDArray[np.int64]  # for order 1, 2, ... an index into SOUNDINGS

LOG_STEP = 0.0025  # candidate speeds lie this far apart in natural log: 0.25 %
TOP_ORDER = 48
ORDERS = np.arange(1, TOP_ORDER + 1)

STRAY = 0.06  # share of cells that hold somebody else's tone
STRAY_POWER = 20.0
LOUDEST = 3.5  # excess beyond which louder says no more: 15 dB over the floor

# How an order may sound: chance that it carries a tone at all, and the tone's mean power
# against the noise in its cell. A voice gives each order one of these.
SOUNDINGS: tuple[tuple[float, float], ...] = (
    (0.05, 8.0),  # silent
    (0.20, 8.0),  # unknown, high order
    (0.35, 8.0),  # unknown, low order
    (0.50, 8.0),  # unknown, first orders
    (0.50, 10.0),  # heard now and then
    (0.95, 0.6),  # always there, faint
    (0.95, 2.5),
    (0.90, 10.0),  # plain
    (0.95, 40.0),  # loud
)
SILENT, UNKNOWN_HIGH, UNKNOWN_LOW, UNKNOWN_FIRST, AT_TIMES, FAINT = range(6)
LEARNABLE = np.array([SILENT, *range(AT_TIMES, len(SOUNDINGS))])

_TABLE_LOW, _TABLE_STEP = -5.0, 1 / 30
_TABLE_SIZE = 256
GRAIN = 1 / 128  # of evidence, nats
# Steps: what is made of them stays in the processor's cache.
AT_ONCE, LOOKED_UP_AT_ONCE = 128, 256


@dataclass(frozen=True)
class Candidates:
    """Candidate rotation frequencies, evenly spaced in the logarithm.

    Candidate ``i`` of `count` is ``lowest_hz * exp(i * LOG_STEP)``.
    """

    lowest_hz: float
    count: int

    @classmethod
    def between(cls, lowest_hz: float, highest_hz: float) -> Candidates:
        """The candidates that span two frequencies."""
        return cls(lowest_hz, int(np.ceil(np.log(highest_hz / lowest_hz) / LOG_STEP)) + 1)

    @property
    def rotation_hz(self) -> FloatArray:
        """All candidates, shape (count,)."""
        return np.asarray(self.lowest_hz * np.exp(LOG_STEP * np.arange(self.count)), np.float64)


def shift_to(ratio: float) -> int:
    """How many candidates lie between a speed and `ratio` times it."""
    return round(float(np.log(ratio)) / LOG_STEP)


def generic_voice(flutes: int | None) -> Voice:
    """What is expected of a router before it was heard: low orders, and the teeth's."""
    voice = np.full(TOP_ORDER, UNKNOWN_HIGH)
    voice[:6] = UNKNOWN_LOW
    voice[:2] = UNKNOWN_FIRST
    if flutes is not None:
        voice[flutes - 1 : 4 * flutes : flutes] = UNKNOWN_FIRST
    return voice


@cache
def sounding_tables() -> npt.NDArray[np.float32]:
    """Log likelihood of a cell under each sounding, shape (soundings, excess levels).

    Against noise and strays. Noise power is exponential and a tone's is too, about a mean
    (Swerling's first case). A share STRAY of the cells holds a tone that is none of the
    router's, so that one loud line can't decide alone.
    """
    excess = _TABLE_LOW + _TABLE_STEP * np.arange(_TABLE_SIZE)
    x = np.exp(np.minimum(excess, LOUDEST))
    noise = (1 - STRAY) * np.exp(-x)
    stray = STRAY / (1 + STRAY_POWER) * np.exp(-x / (1 + STRAY_POWER))
    rows = []
    for chance, power in SOUNDINGS:
        tone = np.exp(-x / (1 + power)) / (1 + power)
        rows.append(np.log(chance * tone + (1 - chance) * noise + stray) - np.log(noise + stray))
    return np.array(rows, np.float32)


def levels(excess: npt.NDArray[np.floating]) -> npt.NDArray[np.uint8]:
    """Excess as an index into the columns of `sounding_tables`; NaN becomes 0."""
    place = np.fmax(excess, _TABLE_LOW)  # fmax: no NaN
    place -= _TABLE_LOW
    place *= 1 / _TABLE_STEP
    place += 0.5
    return np.asarray(np.minimum(place, _TABLE_SIZE - 1, out=place), np.uint8)


def on_log_axis(
    excess: Excess, *, grid: SpectrumGrid, candidates: Candidates
) -> npt.NDArray[np.uint8]:
    """Levels of spectra, shape (steps, bins), along the candidates' log axis to the top bin."""
    left, weight = _on_bins(grid=grid, lowest_hz=candidates.lowest_hz)
    # Steps lie together in memory, as `_comb` adds them up.
    axis = np.empty((len(left), len(excess)), np.uint8)
    for first in range(0, len(excess), AT_ONCE):
        turned = np.ascontiguousarray(excess[first : first + AT_ONCE].T)
        low: Excess = turned.take(left, axis=0, mode="clip")
        high: Excess = turned.take(left + 1, axis=0, mode="clip")
        low *= 1 - weight[:, None]
        high *= weight[:, None]
        low += high
        axis[:, first : first + AT_ONCE] = levels(low)
    return axis.T


def log_axis_excess(excess: Excess, *, grid: SpectrumGrid, lowest_hz: float) -> Excess:
    """Spectra, shape (steps, bins), at lowest_hz * exp(i * LOG_STEP) up to the top bin."""
    left, weight = _on_bins(grid=grid, lowest_hz=lowest_hz)
    low, high = np.take(excess, left, axis=1), np.take(excess, left + 1, axis=1)
    return np.asarray(low * (1 - weight) + high * weight, np.float32)


def _on_bins(
    *, grid: SpectrumGrid, lowest_hz: float
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.float32]]:
    """For each place on a log axis the bin below it, and the share of the bin above."""
    top_hz = (grid.bins - 2) * grid.bin_hz
    count = int(np.log(top_hz / lowest_hz) / LOG_STEP)
    place = lowest_hz * np.exp(LOG_STEP * np.arange(count)) / grid.bin_hz
    left = place.astype(np.int64)
    return left, (place - left).astype(np.float32)


def comb_evidence(
    axis: npt.NDArray[np.uint8], *, voices: Sequence[Voice], candidates: Candidates
) -> npt.NDArray[np.float32]:
    """Log likelihood of each candidate against "no router", shape (steps, candidates).

    `axis` comes from `on_log_axis` with the same candidates. Of several voices that a machine
    may have the likelier counts, step by step. Silent orders say next to nothing either way and
    are left out.
    """
    tables = _sounding_pairs()
    heard = {int(s): tables[s] for s in np.unique(voices) if s != SILENT}
    return _comb(axis, heard, voices, candidates)


def comb_bonus(
    axis: npt.NDArray[np.uint8], *, voice: Voice, candidates: Candidates
) -> npt.NDArray[np.float32]:
    """Like `comb_evidence`, but an audible order counts only where it is there.

    For following a machine into a state in which most of its orders fall silent: what a
    candidate gains by chance in noise is taken off, so that many orders are no advantage.
    """
    audible = np.where(voice > FAINT, 1, 0)
    return _comb(axis, {1: _bonus_pairs()}, [audible], candidates)


@cache
def _sounding_pairs() -> npt.NDArray[np.int32]:
    return _of_pairs(sounding_tables())


@cache
def _bonus_pairs() -> npt.NDArray[np.int32]:
    plain = np.maximum(sounding_tables()[7], 0)
    # Expected gain where there is noise alone, averaged over two frames' log powers
    return _of_pairs(plain - np.float32(0.03))


def _of_pairs(tables: npt.NDArray[np.float32]) -> npt.NDArray[np.int32]:
    """Tables by the levels of two steps that lie together in memory, read as one number.

    Looking up is what a comb costs, and so it is done half as often. Whole grains in 16 bits:
    half the memory to move, and no order's evidence (at most some 3 nats) fills them, nor do 48
    of them together.
    """
    grains = np.rint(tables / GRAIN).astype(np.int16)
    both = np.arange(_TABLE_SIZE**2, dtype=np.uint16).view(np.uint8).reshape(-1, 2)
    pairs: npt.NDArray[np.int32] = grains.take(both, axis=-1).view(np.int32)[..., 0]
    return pairs


def _comb(
    axis: npt.NDArray[np.uint8],
    pairs: dict[int, npt.NDArray[np.int32]],
    voices: Sequence[Voice],
    candidates: Candidates,
) -> npt.NDArray[np.float32]:
    # Orders that sound the same in every voice are added up once.
    alike = np.all(np.equal(voices, voices[0]), axis=0)
    parts = [np.where(alike, voices[0], -1)]
    if not alike.all():
        parts += [np.where(alike, -1, voice) for voice in voices]
    shifts_of = np.rint(np.log(np.arange(1, len(alike) + 1)) / LOG_STEP).astype(np.int64)
    kinds = []
    for kind, table in pairs.items():
        shifts = [shifts_of[(part == kind) & (shifts_of < axis.shape[1])] for part in parts]
        asked = np.zeros(axis.shape[1], bool)
        for shift in np.concatenate(shifts):
            asked[shift : shift + candidates.count] = True
        places = np.flatnonzero(asked)
        each = [
            (number, np.searchsorted(places, s)) for number, of in enumerate(shifts) for s in of
        ]
        if each:
            kinds.append((table, places, each))
    total = np.empty((len(axis), candidates.count), np.float32)
    together = min(LOOKED_UP_AT_ONCE, len(axis) + len(axis) % 2)
    # Steps last: then each order's part lies in one piece, and in the processor's cache.
    turned = np.zeros((axis.shape[1], together), np.uint8)
    for first in range(0, len(axis), LOOKED_UP_AT_ONCE):
        steps = axis[first : first + LOOKED_UP_AT_ONCE]
        turned[:, : len(steps)] = steps.T
        sums = np.zeros((len(parts), candidates.count, together), np.int16)
        for table, places, each in kinds:
            # No level is beyond the table; to clip them is cheaper than to ask.
            evidence = table.take(turned[places].view(np.uint16), mode="clip").view(np.int16)
            for number, start in each:
                piece = evidence[start : start + candidates.count]
                sums[number, : len(piece)] += piece
        if len(parts) > 1:
            sums[0] += sums[1:].max(axis=0)
        total[first : first + LOOKED_UP_AT_ONCE] = sums[0].T[: len(steps)]
    total *= np.float32(GRAIN)
    return total


def order_excess(
    excess: Excess,
    *,
    rotation_hz: FloatArray,
    grid: SpectrumGrid,
    top_order: int = TOP_ORDER,
    aside_bins: float = 0.0,
) -> npt.NDArray[np.float32]:
    """ln(power / floor) at orders 1 to `top_order`, shape (steps, orders); NaN above the top.

    `aside_bins` reads that far beside each order instead.
    """
    place = rotation_hz[:, None] * np.arange(1, top_order + 1)
    place /= grid.bin_hz
    place += aside_bins
    inside = place < grid.bins - 2
    if aside_bins < 0:
        inside &= place >= 0
    place *= inside
    left = place.astype(np.int64)
    place -= left
    weight = place.astype(np.float32)
    left += excess.shape[1] * np.arange(len(rotation_hz))[:, None]
    flat = np.ravel(excess)
    low, high = flat.take(left, mode="clip"), flat.take(left + 1, mode="clip")
    high *= weight
    low *= 1 - weight
    low += high
    low[~inside] = np.nan
    return low
