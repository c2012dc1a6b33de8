"""How the hands move: feed along the edge, dwells, lift-offs, and what lies in the wood."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from recordings_synthetic.noise import wander
from recordings_synthetic.timebase import CONTROL_HZ, Floats


@dataclass(frozen=True, slots=True)
class Pause:
    """A dwell (in contact) or a lift-off (out of it), begun at a share of the travel."""

    at_share: float
    hold_s: float
    ramp_s: float
    lifted: bool


@dataclass(frozen=True, slots=True)
class Stroke:
    """One pass as the hands mean to make it."""

    feed_mm_s: float
    wander: float
    wander_hz: float
    pauses: tuple[Pause, ...]
    gap_before_s: float


@dataclass(frozen=True, slots=True)
class Grain:
    """Load along the edge: slow figure, and knots or template bumps (centre, width, gain)."""

    figure: float
    figure_mm: float
    knots: tuple[tuple[float, float, float], ...]


@dataclass(frozen=True, slots=True, eq=False)
class Walk:
    """A stroke carried out, at control rate from first contact to last.

    ``travelled_mm`` runs from 0 at first contact to the whole contact travel. ``depth`` is the
    share of the trim allowance the bit stands in, under 1 only around lift-offs.
    """

    feed_mm_s: Floats
    travelled_mm: Floats
    depth: Floats


def _pause_gate(since_s: Floats, pause: Pause) -> tuple[Floats, Floats]:
    """Feed and depth factors around one pause, from the moment its slowing begins."""
    down = np.clip(since_s / pause.ramp_s, 0, 1)
    up = np.clip((since_s - pause.ramp_s - pause.hold_s) / pause.ramp_s, 0, 1)
    feed = 0.5 + 0.5 * np.cos(np.pi * down) + 0.5 - 0.5 * np.cos(np.pi * up)
    depth = np.ones_like(feed)
    if pause.lifted:
        # The hand stops pushing first, then the bit comes away; it goes back before pushing.
        away = np.clip((since_s - 0.6 * pause.ramp_s) / (0.5 * pause.ramp_s), 0, 1)
        back = np.clip((since_s - 0.9 * pause.ramp_s - pause.hold_s) / (0.5 * pause.ramp_s), 0, 1)
        depth = 1 - away + back
    return feed, depth


def walk(stroke: Stroke, travel_mm: float, rng: np.random.Generator) -> Walk:
    """Carry out a stroke over a contact travel.

    The feed wanders log-normally about its mean, eases in over the first third of a second,
    and falls to nothing in each pause. The clock of the wander runs on through the pauses.
    """
    held_s = sum(p.hold_s + 2 * p.ramp_s for p in stroke.pauses)
    longest = int((6 * travel_mm / stroke.feed_mm_s + held_s + 2) * CONTROL_HZ)
    time_s = np.arange(longest) / CONTROL_HZ
    swing = wander(rng, longest, CONTROL_HZ, stroke.wander_hz)
    feed = stroke.feed_mm_s * np.exp(stroke.wander * swing - stroke.wander**2 / 2)
    feed *= 0.6 + 0.4 * np.clip(time_s / 0.35, 0, 1)
    depth = np.ones(longest)
    for pause in sorted(stroke.pauses, key=lambda p: p.at_share):
        travelled = np.cumsum(feed) / CONTROL_HZ
        start = int(np.searchsorted(travelled, pause.at_share * travel_mm))
        feed_gate, depth_gate = _pause_gate(time_s - start / CONTROL_HZ, pause)
        feed *= feed_gate
        depth *= depth_gate
    travelled = np.concatenate([[0.0], np.cumsum(0.5 * (feed[1:] + feed[:-1])) / CONTROL_HZ])
    end = int(np.searchsorted(travelled, travel_mm)) + 1
    return Walk(feed[:end], np.minimum(travelled[:end], travel_mm), depth[:end])


def resistance(grain: Grain, length_mm: float, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Positions along the edge (mm) and the wood's resistance there, 1 on average."""
    step_mm = 1.0
    count = int(length_mm / step_mm) + 50
    position = np.arange(count, dtype=np.float64) * step_mm
    figure: Floats = np.exp(grain.figure * wander(rng, count, 1 / step_mm, 1 / grain.figure_mm))
    for centre, width, gain in grain.knots:
        figure *= 1 + (gain - 1) * np.exp(-0.5 * ((position - centre * length_mm) / width) ** 2)
    return position, np.asarray(figure / np.mean(figure))
