"""Steady harmonic tones in white noise: the textbook case that a bound is known for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from recordings_synthetic.machines import between, log_between, whole

_LOUD = 0.1  # rms of the sum against full scale: 16-bit steps then lie 70 dB below the noise


@dataclass(frozen=True, slots=True)
class SteadyPlan:
    """A sum of harmonics 1 to K of one constant frequency, in white Gaussian noise.

    ``snr_db`` is the power of all harmonics together against that of the noise over the whole
    band from 0 to half the sampling rate.
    """

    name: str
    split: str
    seed: int
    sample_rate_hz: int
    duration_s: float
    rotation_hz: float
    amplitudes: tuple[float, ...]
    phases_rad: tuple[float, ...]
    snr_db: float


def draw_steady(split: str, seed: int) -> SteadyPlan:
    """The plan of one steady tone: 10 to -10 dB, 1.5 to 4 s, 5 to 16 harmonics."""
    rng = np.random.default_rng([seed, 0])
    count = whole(rng, (5, 16) if split == "dev" else (4, 20))
    return SteadyPlan(
        name=f"{split}-steady-{seed}",
        split=split,
        seed=seed,
        sample_rate_hz=int(rng.choice([48000, 44100])),
        duration_s=round(between(rng, (1.5, 4.0)), 2),
        rotation_hz=log_between(rng, (8000 / 60, 30000 / 60)),
        amplitudes=tuple(log_between(rng, (0.15, 1.0)) for _ in range(count)),
        phases_rad=tuple(float(p) for p in rng.uniform(0, 2 * np.pi, count)),
        snr_db=between(rng, (-10, 10)),
    )


def render_steady(plan: SteadyPlan) -> NDArray[np.int16]:
    """The samples, at 16 bits."""
    rng = np.random.default_rng([plan.seed, 1])
    turns = (
        np.arange(round(plan.duration_s * plan.sample_rate_hz))
        * plan.rotation_hz
        / plan.sample_rate_hz
    )
    tones = np.zeros(turns.size)
    for order, (amplitude, phase) in enumerate(
        zip(plan.amplitudes, plan.phases_rad, strict=True), start=1
    ):
        tones += amplitude * np.sin(2 * np.pi * order * turns + phase)
    power = float(np.sum(np.square(plan.amplitudes))) / 2
    noise = rng.standard_normal(turns.size) * np.sqrt(power / 10 ** (plan.snr_db / 10))
    whole_power = power * (1 + 10 ** (-plan.snr_db / 10))
    scaled = (tones + noise) * (_LOUD / np.sqrt(whole_power)) * 32767
    return np.asarray(np.clip(np.round(scaled), -32768, 32767), dtype=np.int16)


def steady_truth(plan: SteadyPlan, *, step_s: float = 0.01) -> dict[str, Any]:
    """The truth, schema 1: a constant speed, no passes, and what the bound needs."""
    rpm = plan.rotation_hz * 60
    count = int(plan.duration_s / step_s) + 1
    return {
        "schema": 1,
        "invented": True,
        "name": plan.name,
        "kind": "steady",
        "split": plan.split,
        "difficulty": "clean",
        "seed": plan.seed,
        "duration_s": plan.duration_s,
        "sample_rate_hz": plan.sample_rate_hz,
        "clock_ppm": 0.0,
        "setup": {"plate_range_rpm": [8000.0, 30000.0]},
        "spindle": {
            "time_s": [round(i * step_s, 3) for i in range(count)],
            "rpm": [round(rpm, 6)] * count,
            "state": ["running"] * count,
        },
        "idle_rpm": round(rpm, 6),
        "passes": [],
        "vacuum": {"present": False},
        "faults": [],
        "plateaus": [],
        "steady": {
            "rotation_hz": plan.rotation_hz,
            "amplitudes": list(plan.amplitudes),
            "snr_db": plan.snr_db,
        },
    }
