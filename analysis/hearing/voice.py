"""A router's voice: which orders carry its sound, running free and in the cut.

The course of the speed is half of what a take tells; the other half is which orders (fan
blades, commutator bars, the bit's flutes) belong to this machine. Each is learned from
the other in turn.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.ndimage import uniform_filter1d

from analysis.hearing.orders import (
    FAINT,
    LEARNABLE,
    SILENT,
    TOP_ORDER,
    Voice,
    levels,
    sounding_tables,
)

Mask = npt.NDArray[np.bool_]
Fits = npt.NDArray[np.float32]  # shape (soundings, steps, orders)

MIN_STEPS = 6  # fewer steps teach nothing
HEARD = 1.0  # nats a step needs to teach anything
QUIETER = (0, 1)  # soundings by which a router that was taught may be quieter
SMOOTH_STEPS = 9  # a state lasts some 0.4 s at least


@dataclass(frozen=True, slots=True, eq=False)
class Voices:
    """How each order sounds while running free and while cutting."""

    idle: Voice
    cutting: Voice


def quieter(voice: Voice, soundings: int) -> Voice:
    """A voice farther away or beside a noise: so many soundings, some 6 dB each, less."""
    down = np.where(voice - soundings >= FAINT, voice - soundings, SILENT)
    return np.where(voice >= FAINT, down, voice)


def order_fits(excess: npt.NDArray[np.float32]) -> Fits:
    """Log likelihood of every order in every step under every sounding.

    `excess` has shape (steps, orders), from `order_excess`.
    """
    fits = sounding_tables().take(levels(excess), axis=1, mode="clip")
    fits *= ~np.isnan(excess)
    return fits


def learn_voice(fits: Fits, steps: Mask) -> Voice:
    """The likeliest sounding of each order over the chosen steps; silent if too few."""
    if np.count_nonzero(steps) < MIN_STEPS:
        return np.full(TOP_ORDER, SILENT)
    total = steps.astype(np.float32) @ fits
    return np.asarray(LEARNABLE[np.argmax(total[LEARNABLE], axis=0)])


def step_evidence(fits: Fits, voice: Voice) -> npt.NDArray[np.float32]:
    """Log likelihood of each step under a voice, shape (steps,)."""
    return np.asarray(fits[voice, :, np.arange(TOP_ORDER)].sum(axis=0), np.float32)


def voices_evidence(fits: Fits, voices: Voices) -> npt.NDArray[np.float32]:
    """Log likelihood of each step under the better of two voices, shape (steps,)."""
    return np.maximum(step_evidence(fits, voices.idle), step_evidence(fits, voices.cutting))


def sounds_cutting(fits: Fits, voices: Voices) -> Mask:
    """Steps in which the voice of the cut is the likelier of the two, shape (steps,)."""
    lead = step_evidence(fits, voices.cutting) - step_evidence(fits, voices.idle)
    return np.asarray(uniform_filter1d(lead, SMOOTH_STEPS) > 0)


def learn_voices(fits: Fits, *, running: Mask, cutting: Mask) -> tuple[Voices, Mask]:
    """Part the running steps into free and cutting, each with its voice.

    Starts from a guess of the cutting steps and goes back and forth three times.
    """
    for _ in range(3):
        voices = Voices(
            idle=learn_voice(fits, running & ~cutting),
            cutting=learn_voice(fits, running & cutting),
        )
        if (
            min(np.count_nonzero(running & cutting), np.count_nonzero(running & ~cutting))
            < MIN_STEPS
        ):
            both = learn_voice(fits, running)
            return Voices(both, both), running & cutting
        cutting_fit = step_evidence(fits, voices.cutting)
        idle_fit = step_evidence(fits, voices.idle)
        lead = uniform_filter1d(cutting_fit - idle_fit, SMOOTH_STEPS)
        # Spinning up, coasting and noise fit neither: they must not become a class.
        heard = uniform_filter1d(np.maximum(cutting_fit, idle_fit), SMOOTH_STEPS) > HEARD
        cutting = heard & running & (lead > 0)
        running = running & heard if (running & heard).sum() > 4 * MIN_STEPS else running
    return voices, cutting
