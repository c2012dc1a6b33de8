"""A router heard from first principles: orders of one rotation, chips' hiss, noise.

Apart from the project's renderer on purpose, and simpler: what is true of it can be read
off its arguments.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.signal import lfilter

from tests.analysis.hearing.traces import Cut

IDLE = {1: 0.015, 2: 0.010, 9: 0.030, 18: 0.012, 12: 0.020, 24: 0.010}
RAMP_S = 0.04  # the bit goes in over that long


def router(
    cuts: list[Cut],
    *,
    seconds: float,
    rate_hz: int = 16_000,
    idle_rpm: float = 18_000.0,
    sag: float = 0.03,
    lag_s: float = 0.0,
    flutes: int = 2,
    on_s: float = 0.0,
    noise: float = 0.02,
    seed: int = 1,
) -> npt.NDArray[np.float32]:
    """A take: switched on at `on_s` with a soft start of half a second, and these cuts.

    The speed gives way with the load at once, or as an exponential of `lag_s`.
    """
    rng = np.random.default_rng(seed)
    time_s = np.arange(round(seconds * rate_hz)) / rate_hz
    load = np.zeros(len(time_s))
    for cut in cuts:
        up = np.clip((time_s - cut.start_s) / RAMP_S + 0.5, 0, 1)
        down = np.clip((cut.end_s - time_s) / RAMP_S + 0.5, 0, 1)
        load += np.minimum(up, down)
    spin = np.clip((time_s - on_s) / 0.5, 0, 1) if on_s > 0 else np.ones(len(time_s))
    keeps = np.exp(-1 / (lag_s * rate_hz)) if lag_s > 0 else 0.0
    hz = idle_rpm / 60 * spin * (1 - sag * lfilter([1 - keeps], [1, -keeps], load))
    turns = np.cumsum(hz) / rate_hz
    # Teeth, the second and third of a cutter somewhat shy; their tones fall with the order.
    teeth = {n: 0.06 / (n / flutes) ** 0.5 for n in range(flutes, 8 * flutes + 1, flutes)}
    teeth |= {n: 0.015 for n in range(1, 4 * flutes) if n % flutes}
    sound = np.zeros(len(time_s))
    for share, orders in ((spin, IDLE), (load, teeth)):
        for order, amplitude in orders.items():
            heard = order * hz < 0.47 * rate_hz
            phase = rng.uniform(0, 2 * np.pi)
            sound += share * heard * amplitude * np.sin(2 * np.pi * order * turns + phase)
    # The same noise per hertz at every rate.
    white = noise * (rate_hz / 16_000) ** 0.5 * rng.normal(size=len(time_s))
    return np.asarray((0.3 + 0.7 * spin + 1.2 * load) * white + sound, np.float32)
