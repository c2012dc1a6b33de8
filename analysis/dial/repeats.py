"""A number that was set again and again without a break: one plateau parted into its settings."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analysis.dial.plateaus import (
    HALF_LIFE_S,
    SHORTEST_S,
    TURNING_S,
    Plateau,
    bridged,
    plateau_on,
    step_of,
)
from analysis.hearing.spindle import SpindleTrack

EVEN = 0.7  # share of an even part that each part of a plateau has at least
EVEN_SPREAD = 0.05  # of the whole: settings run for 4 to 6 s


def split_plateau(plateau: Plateau, track: SpindleTrack, parts: int) -> tuple[Plateau, ...] | None:
    """Part a plateau that is several settings of the same number, one after the other.

    The parts differ by no more than the hand's aim, so no ramp is heard between them; the
    break is put where the speeds before and after differ most clearly. None where the plateau
    is too short for so many.
    """
    if parts == 1:
        return (plateau,)
    step_s = step_of(track)
    track = bridged(track, step_s)
    within = (track.time_s >= plateau.start_s) & (track.time_s < plateau.end_s)
    places = np.flatnonzero(within & np.isfinite(track.spindle_rpm))
    least = max(round(SHORTEST_S / step_s), round(EVEN * len(places) / parts))
    if len(places) < parts * round(SHORTEST_S / step_s):
        return None
    log_rpm = np.log(track.spindle_rpm[places])
    total = np.cumsum(log_rpm)
    count = np.arange(1, len(places))
    step = (total[-1] - total[:-1]) / (len(places) - count) - total[:-1] / count
    var = np.var(log_rpm) * HALF_LIFE_S / step_s
    gain = 0.5 * count * (len(places) - count) / len(places) * step**2 / max(float(var), 1e-12)
    # Each setting is held about as long: without a clear step the break is in the middle.
    gain -= 0.5 * ((count / len(places) - 1 / parts) / EVEN_SPREAD) ** 2
    gain[: least - 1] = gain[len(gain) - (parts - 1) * least + 1 :] = -np.inf
    cut = int(np.argmax(gain)) + 1
    blur = round(TURNING_S / step_s)
    first = (int(places[0]), int(places[cut - 1]) + 1 - blur)
    rest = (int(places[cut]) + blur, int(places[-1]) + 1)
    # Where the break lies is a guess: what either mean would be elsewhere is in its interval.
    likely = np.exp(gain - gain.max())
    before_rpm, after_rpm = (
        np.exp(mean)
        for mean in (total[:-1] / count, (total[-1] - total[:-1]) / (len(places) - count))
    )
    before, after = (
        _less_sure(
            plateau_on([span], track, step_s=step_s, take=plateau.take),
            1.96 * float(np.sqrt(np.average((mean_rpm - mean_rpm[cut - 1]) ** 2, weights=likely))),
        )
        for span, mean_rpm in ((first, before_rpm), (rest, after_rpm))
    )
    later = split_plateau(after, track, parts - 1)
    return None if later is None else (before, *later)


def _less_sure(plateau: Plateau, u95_rpm: float) -> Plateau:
    return replace(plateau, spindle_rpm_u95=float(np.hypot(plateau.spindle_rpm_u95, u95_rpm)))
