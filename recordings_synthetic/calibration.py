"""Draw a take for calibrating a dial: plateaus of speed without any cutting."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from recordings_synthetic.drive import Drive, Switching, Turn
from recordings_synthetic.machines import between, vacuum
from recordings_synthetic.plan import Machine, TakePlan
from recordings_synthetic.ranges import RANGES

ORDERS = ("rising", "unordered", "on and off between", "repeated")


def _settings(rng: np.random.Generator, order: str, count: int) -> list[int]:
    numbers = list(range(1, count + 1))
    if order == "unordered":
        return [int(n) for n in rng.permutation(numbers)]
    if order == "repeated":
        kept = sorted(rng.choice(numbers, 3 if count < 7 else 4, replace=False).tolist())
        return [int(n) for n in (kept + kept[::-1])[: max(5, count)]]
    return numbers


def _dial_curve(rng: np.random.Generator, count: int, plate: tuple[float, float]) -> list[float]:
    """No-load speed at each setting: rising from the plate's low end to its high, unevenly."""
    steps = np.cumsum(rng.uniform(0.5, 1.5, count - 1))
    shares = np.concatenate([[0.0], steps / steps[-1]])
    low = plate[0] * between(rng, (1.0, 1.06))
    high = plate[1] * between(rng, (0.93, 0.995))
    return [float(low + share * (high - low)) for share in shares]


def plateaus_from(base: TakePlan, *, seed: int, order: str | None = None) -> TakePlan:
    """A calibration take of the router in ``base``; another seed gives another take of it.

    The router's voice, dial curve and electronics come from ``base``; the plateaus, the room,
    the phone and the company come from ``seed``.
    """
    of_router = np.random.default_rng([base.seed, 7])
    rng = np.random.default_rng([seed, 8])
    count = int(of_router.integers(5, 8))
    curve = _dial_curve(of_router, count, base.plate_range_rpm)
    order = order or str(rng.choice(ORDERS))
    at_s = between(rng, (0.5, 1.5))
    switchings = [Switching(at_s if rng.random() < 0.6 else -20.0, on=True)]
    turns: list[Turn] = []
    at_s += 3.0 * base.drive.soft_start_s
    for setting in _settings(rng, order, count):
        rpm = curve[setting - 1] * (1 + rng.normal(0, 0.002))  # the hand's aim on the dial
        if not turns:
            turns.append(Turn(-30.0, rpm, 1.0, setting))
        elif order == "on and off between":
            switchings.append(Switching(at_s, on=False))
            off_s = between(rng, (1.5, 4.0))
            turns.append(Turn(at_s + 0.6 * off_s, rpm, 0.3, setting))
            switchings.append(Switching(at_s + off_s, on=True))
            at_s += off_s + 2.6 * base.drive.soft_start_s
        else:
            turns.append(Turn(at_s, rpm, between(rng, (0.4, 1.6)), setting))
            at_s += turns[-1].ramp_s + between(rng, (0.0, 0.4))
        at_s += between(rng, (4.0, 6.0))
    r = RANGES[base.split][base.difficulty]
    machines: tuple[Machine, ...] = ()
    if rng.random() < max(r.vacuum, 0.15):
        machine = vacuum(rng, r, at_s)
        machines = (replace(machine, level_db=min(0.0, machine.level_db + 5)),)
    drive: Drive = replace(
        base.drive,
        switchings=tuple(switchings),
        turns=tuple(turns),
        drift_fraction=base.drive.drift_fraction / 3,
        overshoot=max(base.drive.overshoot, 0.01),
    )
    return replace(
        base,
        name=f"{base.split}-plateaus-{base.difficulty}-{base.seed}-{seed % 1000}",
        kind="plateaus",
        seed=seed,
        run_mode="switched off" if rng.random() < 0.5 else "runs throughout",
        lead_s=0.0,
        tail_s=between(rng, (2.5, 5.0)),
        cut_end_s=0.0,
        dial_turned_before=None,
        reference_rpm=float(np.median(curve)),
        drive=drive,
        machines=machines,
        work=replace(base.work, strokes=(), sets_off_at_s=at_s),
        doppler_mm=0.0,
    )
