"""How heavily it cuts, moment by moment, and how much wood comes off: by the noise of the chips.

Hands that hurry make thicker chips and more noise, hands that linger thinner ones and less; what
comes off along one edge stays the same. So added up over a pass the chips' noise differs far less
from pass to pass than the time does.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from analysis.hearing.contact import share_of_way
from analysis.hearing.gaps import clear_of
from analysis.hearing.search import mask_of
from analysis.hearing.trace import Trace

FloatArray = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

LEAST_KNOWN_S = 0.4
# Nepers by which chips must be louder than running free, and in how many bands, to be read by
# their loudness; else by how far the sound's colour is on its way to the usual cut's.
LOUDER, PLAIN_BANDS = 1.0, 3
BY_COLOUR, MOST_BY_COLOUR = 1.5, 2.0
LEAST_S = 0.01


def load_of(trace: Trace, stretches: Sequence[tuple[int, int]]) -> FloatArray:
    """How heavily it cuts, frame by frame: 0 running free, 1 as is usual in this take's cuts.

    Parameters
    ----------
    trace : Trace
    stretches : sequence of (first, end)
        Frames in contact.

    Returns
    -------
    array, shape (frames,)
        1 throughout where too little of the take runs free or cuts to tell more.
    """
    contact = mask_of(stretches, len(trace.bands))
    free, cut = trace.steady & clear_of(contact, step_s=trace.step_s), trace.running & contact
    if min(free.sum(), cut.sum()) * trace.step_s < LEAST_KNOWN_S:
        return np.ones(len(contact))
    return _against(trace, free=free, cut=cut)


def removed_s(
    load: FloatArray, stretches: Sequence[tuple[int, int]], *, step_s: float
) -> FloatArray:
    """What stretches of contact take off, in seconds of the take's usual cutting."""
    total = np.concatenate([[0.0], np.cumsum(load)])
    first, end = np.array(stretches).reshape(-1, 2).T
    return np.asarray(np.maximum(step_s * (total[end] - total[first]), LEAST_S))


def _against(trace: Trace, *, free: Mask, cut: Mask) -> FloatArray:
    """The load against what is heard running free and in the cut.

    By the amplitude of the chips' noise, which goes with the force on the edge and so with the
    chip's thickness.
    """
    idle, cutting = (np.median(trace.bands[mask], axis=0) for mask in (free, cut))
    plain = cutting - idle > LOUDER
    if np.count_nonzero(plain) >= PLAIN_BANDS:
        usual = np.exp(cutting[plain] - idle[plain]) - 1
        over_idle = np.maximum(np.exp(trace.bands[:, plain] - idle[plain]) - 1, 0) / usual
        return np.asarray(np.median(np.sqrt(over_idle), axis=1), np.float64)
    features = trace.band_features()
    share, _ = share_of_way(features, first=free, second=cut, step_s=trace.step_s)
    return np.clip(share, 0, MOST_BY_COLOUR) ** BY_COLOUR
