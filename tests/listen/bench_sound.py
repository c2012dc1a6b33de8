"""A bench to record at: a simple router, made here and not by the project's own renderer."""

import numpy as np
import numpy.typing as npt

SAMPLE_RATE_HZ = 48_000


def shop_take(
    *,
    pass_times_s: tuple[float, ...] = (12.0, 7.0),
    idle_rpm: float = 17_300.0,
    sag_percent: float = 1.5,
    flutes: int = 2,
    pause_s: float = 3.0,
    seed: int = 1,
) -> tuple[npt.NDArray[np.float32], list[tuple[float, float]]]:
    """Render a router that is switched on, cuts some passes and is switched off.

    Orders of the rotation over noise, a speed that sags in the cut, and in the cut also the
    tooth-pass orders and chip noise in their rhythm. Returns samples and (entry, exit) times.
    """
    rng = np.random.default_rng(seed)
    passes = []
    at_s = 1.5 + pause_s
    for pass_time_s in pass_times_s:
        passes.append((at_s, at_s + pass_time_s))
        at_s += pass_time_s + pause_s
    duration_s = at_s + 1.5
    time_s = np.arange(int(duration_s * SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ
    on = np.clip((time_s - 1.0) / 0.5, 0, 1) * np.clip((duration_s - 1.0 - time_s) / 0.8, 0, 1)
    cut = np.zeros_like(time_s)
    for entry_s, exit_s in passes:
        cut += np.clip((time_s - entry_s) / 0.04, 0, 1) * np.clip((exit_s - time_s) / 0.04, 0, 1)
    wander = 1 + 0.001 * np.sin(2 * np.pi * 0.23 * time_s)
    sag = np.convolve(cut[::480], np.exp(-np.arange(60) / 12), "full")[: len(cut[::480])]
    sag = np.interp(time_s, time_s[::480], sag / max(sag.max(), 1e-9))
    rotation_hz = idle_rpm / 60 * on * wander * (1 - sag_percent / 100 * sag)
    angle = 2 * np.pi * np.cumsum(rotation_hz) / SAMPLE_RATE_HZ
    sound = np.zeros_like(time_s)
    for order, level in {1: 0.2, 2: 0.3, 3: 0.1, 7: 0.5, 9: 1.0, 12: 0.4, 18: 0.5, 24: 0.3}.items():
        sound += 0.02 * level * np.cos(order * angle + rng.uniform(0, 6)) * on**2
    teeth = np.zeros_like(time_s)
    for k in range(1, 9):
        teeth += np.cos(k * flutes * angle + rng.uniform(0, 6)) / np.sqrt(k)
    chips = rng.normal(size=len(time_s)) * (1 + 0.8 * np.cos(flutes * angle))
    sound += cut * (0.03 * teeth + 0.03 * chips)
    sound += 0.02 * on**2 * rng.normal(size=len(time_s)) + 0.0015 * rng.normal(size=len(time_s))
    return np.clip(sound, -1, 1).astype(np.float32), passes
