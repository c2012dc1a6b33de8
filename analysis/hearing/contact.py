"""Is the bit in the wood? Frame by frame, against this router's own idle sound."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from analysis.hearing.spectra import SpectrumGrid

FloatArray = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

BAND_EDGES_HZ = np.array(
    [350, 500, 700, 1000, 1400, 2000, 2800, 4000, 5600, 7500, 9500, 12000, 15000, 18500], float
)
ROUNDS = 3
# A frame shares three quarters of its sound with the next, and hands make the load wander
# for tenths of a second: the frames' evidence is worth this much of its face value.
FRAME_WORTH = 0.2
TOUCH_COST = 5.0  # nats for beginning or ending contact


def band_levels(
    spectra: npt.NDArray[np.complex64], log_powers: npt.NDArray[np.float32], *, grid: SpectrumGrid
) -> npt.NDArray[np.float32]:
    """Broadband level in each band, ln power, shape (frames, bands that the take holds).

    Up to the top bin the mean of the log power is read, which lines hardly lift, above it
    the power itself. `spectra` has shape (frames, all bins), `log_powers` (frames, grid.bins).
    """
    columns = []
    for low, high in zip(BAND_EDGES_HZ[:-1], BAND_EDGES_HZ[1:], strict=True):
        first, last = round(low / grid.bin_hz), round(high / grid.bin_hz)
        if last < grid.bins:
            columns.append(log_powers[:, first:last].mean(axis=1))
        elif high < 0.47 * grid.sample_rate_hz:
            band = spectra[:, first:last].view(np.float32)
            columns.append(np.log(np.einsum("ij,ij->i", band, band) / (last - first) + 1e-20))
    return np.stack(columns, axis=1).astype(np.float32)


def find_contact(
    features: FloatArray, *, running: Mask, guess: Mask
) -> tuple[Mask, FloatArray]:
    """Part running frames into free and in contact.

    A linear discriminant between the two classes and a two-state path, turn about: each
    take teaches what its own idling and cutting sound like.

    Parameters
    ----------
    features : array, shape (frames, features)
        Band levels and the lead of the cutting voice.
    running, guess : arrays, shape (frames,)
        Where the router runs; a first guess of the frames in contact.

    Returns
    -------
    contact : array, shape (frames,)
    evidence : array, shape (frames,)
        Log likelihood ratio, contact against free, smooth frame by frame.
    """
    contact = guess & running
    evidence = np.where(contact, 1.0, -1.0)
    for _ in range(ROUNDS):
        free = running & ~contact
        if min(free.sum(), contact.sum()) < 12:
            return contact, evidence
        inside, outside = features[contact], features[free]
        # Medians and pooled scatter: a knock or a word must not draw the classes.
        middle_in, middle_out = np.median(inside, axis=0), np.median(outside, axis=0)
        spread = np.concatenate([inside - middle_in, outside - middle_out])
        scale = 1.4826 * np.median(np.abs(spread), axis=0) + 1e-3
        spread = np.clip(spread / scale, -4, 4)
        covariance = spread.T @ spread / len(spread)
        covariance += 0.05 * np.eye(len(covariance))
        step = (middle_in - middle_out) / scale
        weights = np.linalg.solve(covariance, step)
        centred = np.clip((features - (middle_in + middle_out) / 2) / scale, -12, 12)
        evidence = centred @ weights
        contact = running & two_state_path(
            FRAME_WORTH * np.clip(np.where(running, evidence, -8.0), -12, 12), cost=TOUCH_COST
        )
    return contact, evidence


def two_state_path(evidence: FloatArray, *, cost: float) -> Mask:
    """The likeliest sequence of two states, `cost` nats for each change."""
    count = len(evidence)
    came_from = np.empty((count, 2), bool)
    out, within = 0.0, 0.0
    for i, gain in enumerate(evidence.tolist()):
        enter, stay = out - cost, within
        leave, rest = within - cost, out
        came_from[i] = leave > rest, stay >= enter
        out, within = max(leave, rest), max(enter, stay) + gain
    state = within > out
    path = np.empty(count, bool)
    for i in range(count - 1, -1, -1):
        path[i] = state
        state = bool(came_from[i, int(state)])
    return path
