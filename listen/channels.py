"""Many channels into one, without losing the router."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Samples = npt.NDArray[np.float32]

# A sign is turned only on clear evidence, so that it does not flicker over noise.
_CLEARLY_OPPOSED = 0.3


class ChannelMixer:
    """Mixes blocks of several channels into one, remembering what it has heard of each.

    Each channel is weighted by its own loudness so far, as a share of the sum, so a dead or
    nearly dead channel costs nothing; and one that runs opposite in phase to the loudest is
    turned over before it is added, so the two do not cancel. Loudness and phase are taken over
    all the sound up to and including the present block, so the loud parts, the router, decide.

    Parameters
    ----------
    channels : int
        1 or more.

    Examples
    --------
    The left channel dead, and the right one kept whole:

    >>> mixer = ChannelMixer(2)
    >>> mixer.mix(np.array([[0, 0, 0], [0.5, -0.5, 0.25]], dtype=np.float32)).tolist()
    [0.5, -0.5, 0.25]
    """

    def __init__(self, channels: int) -> None:
        self._products = np.zeros((channels, channels))
        self._signs = np.ones(channels)

    def mix(self, block: Samples) -> Samples:
        """Mix one block, shape (channels, n), into shape (n,)."""
        if len(self._signs) == 1:
            return mono(block)
        self._products += (block @ block.T).astype(np.float64)
        loudness = np.sqrt(self._products.diagonal())
        loudest = int(np.argmax(loudness))
        if loudness[loudest] == 0:
            return mono(block)
        alike = self._products[loudest] / np.maximum(
            loudness[loudest] * loudness, np.finfo(float).tiny
        )
        relative = self._signs * self._signs[loudest]
        turned = relative * alike < -_CLEARLY_OPPOSED
        self._signs = np.where(turned, -self._signs, self._signs)
        weights = (self._signs * loudness / loudness.sum()).astype(np.float32)
        mixed: Samples = weights @ block
        return mixed


def mono(block: Samples) -> Samples:
    """Return the first channel of a block, shape (n,)."""
    first: Samples = block[0]
    return first
