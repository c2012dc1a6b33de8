"""A second look at what the settings say must be there: one faint plateau, where and how fast.

What is heard of a plateau beside a vacuum may be too little to believe by itself. But its
neighbours in time and on the dial leave it little room, and the other plateaus have told how
the router sounds.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import maximum_filter1d

from analysis.dial.log_axis import Floats, LogAxis
from analysis.dial.moving_lines import STEADY, Cells, cells_of, evidence_for
from analysis.dial.staying import without_cells
from analysis.hearing.orders import LOG_STEP
from analysis.hearing.path import OFF
from analysis.hearing.voice import Mask

SHORTEST_CHUNKS = 6  # some two seconds: hands let a setting run for longer
STRAY = 3  # cells in which a speed left alone lies: one to either side
DRIFTS, ELSEWHERE = 9, 12  # cells by which a machine that runs on may drift, and that are apart
OTHER = 6  # cells beyond which it is another speed
NEAR = 4  # cells about the likeliest in which the lines' tops lie
HEARD_AS = 0.3, 0.3, 0.4  # how likely a line is as it was, some 6 dB fainter, or unheard
GOES_ON, ALL_OF_IT = 0.25, 0.75  # of a stretch's usual evidence


@dataclass(frozen=True, slots=True)
class Held:
    """A speed that may have been held.

    Attributes
    ----------
    first, last : int
        First chunk and end (exclusive).
    rotation_hz : float
    worth : float
        Log likelihood of the router's turning so against its being silent.
    ahead : float
        And against its turning at any other speed meanwhile.
    """

    first: int
    last: int
    rotation_hz: float
    worth: float
    ahead: float


@dataclass(frozen=True, slots=True, eq=False)
class Sounding:
    """How a router sounds at each speed, and the take to listen for it in.

    Attributes
    ----------
    axis, raw : LogAxis
        Without lines that stay, and with them.
    lines, soundings : arrays
        As in `Alignment`.
    seed_hz : float
        Rotation at the seed's own shift.
    path : array, shape (chunks,)
        Shift of each chunk in which the router was heard, or OFF.
    """

    axis: LogAxis
    raw: LogAxis
    lines: Cells
    soundings: Cells
    seed_hz: float
    path: Cells

    def shift_at(self, rotation_hz: float) -> int:
        """The shift nearest to a rotation."""
        return round(float(np.log(rotation_hz / self.seed_hz)) / LOG_STEP) + self.axis.reach

    def without(self, chunks: Cells, rotation_hz: float) -> Sounding:
        """The same without the lines of a machine of these orders, in some chunks."""
        path = np.full(len(self.axis.mean), OFF)
        path[chunks] = np.clip(self.shift_at(rotation_hz), 0, 2 * self.axis.reach)
        foreign = cells_of(self.axis, self.lines, path, chunks)
        axis, raw = without_cells(self.axis, foreign), without_cells(self.raw, foreign)
        return replace(self, axis=axis, raw=raw)

    def held(
        self, chunks: slice, *, lowest_hz: float, highest_hz: float, faint: bool
    ) -> Held | None:
        """What is likeliest held in some chunks between two rotations, if anything is.

        It may be `faint` where it is known to be there: its lines may be fainter, or unheard.
        Its speed is then that which, taken so or as it was, is likeliest by far.
        """
        most = 2 * self.axis.reach
        first, last = (int(np.clip(self.shift_at(hz), 0, most)) for hz in (lowest_hz, highest_hz))
        within = max(first - 1, 0), min(last + 1, most)
        if len(self.axis.mean[chunks]) < SHORTEST_CHUNKS:
            return None
        ways = (False, True) if faint else (False,)
        evidence = [self._beyond_elsewhere(chunks, within, faint=way) for way in ways]
        place, ahead = max(map(_plainest, evidence), key=lambda plainest: plainest[1])
        begin, end, worth = _longest(evidence[-1][:, place])
        heard = slice(chunks.start + begin, chunks.start + end)
        shift = self._highest(heard, near=within[0] + place)
        about = max(shift - STRAY, 0), min(shift + STRAY, most)
        raw = _part(self.raw, chunks, faint=faint)
        begin, end = _grown(self._evidence(raw, about), begin, end)
        rotation_hz = self.seed_hz * float(np.exp(LOG_STEP * (shift - self.axis.reach)))
        return Held(chunks.start + begin, chunks.start + end, rotation_hz, worth, ahead)

    def _beyond_elsewhere(self, chunks: slice, within: tuple[int, int], *, faint: bool) -> Floats:
        """Evidence in some chunks beyond what the same speed has while the router is elsewhere.

        That is another machine's: one that runs on has lines at its half, its third and so on.
        """
        evidence = self._evidence(_part(self.axis, chunks, faint=faint), within)
        on = self.path != OFF
        on[chunks] = False
        if not on.any():
            return evidence
        others = self._evidence(_part(self.axis, on, faint=faint), within)
        about = maximum_filter1d(others, DRIFTS, axis=1)
        shifts = np.arange(within[0], within[1] + 1)
        about[np.abs(self.path[on][:, None] - shifts) <= ELSEWHERE] = np.nan
        runs_on = np.nan_to_num(np.nanmedian(about, axis=0))
        return np.asarray(evidence - np.maximum(runs_on, 0), np.float32)

    def _highest(self, chunks: slice, *, near: int) -> int:
        """The shift near another at which the lines stand highest: a line is several cells wide."""
        level = np.maximum(self.axis.mean[chunks].mean(axis=0), 0)
        shifts = np.arange(max(near - NEAR, 0), min(near + NEAR, 2 * self.axis.reach) + 1)
        sounds = self.soundings[:, shifts] >= STEADY
        cells = self.lines[:, None] + shifts - self.axis.reach
        inside = (cells >= 0) & (cells < len(level))
        heights = (level[np.where(inside, cells, 0)] * (inside & sounds)).sum(axis=0)
        return int(shifts[np.argmax(heights)])

    def worth(self, chunks: slice, rotation_hz: float) -> float:
        """Log likelihood of turning so in all of some chunks, against being silent."""
        about = int(np.clip(self.shift_at(rotation_hz), 1, 2 * self.axis.reach - 1))
        evidence = self._evidence(self.axis, (about - 1, about + 1), chunks)
        return float(evidence[:, 1].sum()) if evidence.size else 0.0

    def _evidence(
        self, axis: LogAxis, within: tuple[int, int], chunks: slice = slice(None)
    ) -> Floats:
        evidence = evidence_for(axis, self.lines, self.soundings, within, chunks)
        return np.asarray(maximum_filter1d(evidence, STRAY, axis=1), np.float32)


def _part(axis: LogAxis, chunks: slice | Mask, *, faint: bool) -> LogAxis:
    """Some chunks of an axis; if `faint`, each line may be as it was, fainter or unheard.

    What was learned at other settings holds but roughly at one that is hardly heard: beside a
    vacuum a slow router's lines sink by some decibels, and those near the vacuum's own are gone.
    """
    gains = axis.gains[:, chunks]
    fainter = gains[[0, 0, 0, *range(STEADY, len(gains) - 1)]]
    as_it_was, less, unheard = HEARD_AS
    if faint:
        gains = np.log(as_it_was * np.exp(gains) + less * np.exp(fainter) + unheard)
    return replace(
        axis, raw=axis.raw[chunks], mean=axis.mean[chunks], gains=gains, bonus=axis.bonus[chunks]
    )


def _plainest(evidence: Floats) -> tuple[int, float]:
    """The shift of the highest evidence of any stretch, and its lead over others meanwhile."""
    total = np.cumsum(np.pad(evidence, ((1, 0), (0, 0))), axis=0, dtype=np.float64)
    least = np.minimum.accumulate(total, axis=0)[:-SHORTEST_CHUNKS]
    place = int(np.argmax((total[SHORTEST_CHUNKS:] - least).max(axis=0)))
    begin, end, worth = _longest(evidence[:, place])
    others = np.abs(np.arange(evidence.shape[1]) - place) > OTHER
    return place, worth - float((total[end] - total[begin])[others].max(initial=0.0))


def _longest(evidence: Floats) -> tuple[int, int, float]:
    """First chunk and end of the stretch of the highest evidence, shape (chunks,), and that."""
    total = np.concatenate([[0.0], np.cumsum(evidence, dtype=np.float64)])
    worth = total[SHORTEST_CHUNKS:] - np.minimum.accumulate(total)[:-SHORTEST_CHUNKS]
    end = int(np.argmax(worth)) + SHORTEST_CHUNKS
    begin = int(np.argmin(total[: end - SHORTEST_CHUNKS + 1]))
    return begin, end, float(worth[end - SHORTEST_CHUNKS])


def _grown(evidence: Floats, begin: int, end: int) -> tuple[int, int]:
    """A stretch with the chunks beside it in which the same speed is heard.

    Where another machine's lines were left out, the router's own may have gone with them. A
    chunk at its ends in which it is heard less is half on a ramp, and left out.
    """
    along = evidence.max(axis=1)
    usual = max(0.0, float(np.median(along[begin:end])))
    heard = np.pad(along > GOES_ON * usual, 1)
    while heard[begin]:  # the chunk before: heard is one longer at either end
        begin -= 1
    while heard[end + 1]:
        end += 1
    whole = np.flatnonzero(along[begin:end] > ALL_OF_IT * usual)
    return (begin + int(whole[0]), begin + int(whole[-1]) + 1) if len(whole) else (begin, end)
