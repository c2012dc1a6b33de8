"""Draw the machines of a take: the router's voice, and others that run beside it."""

from __future__ import annotations

import numpy as np

from recordings_synthetic.drive import Drive, Switching, Turn
from recordings_synthetic.motor import Source, Voice
from recordings_synthetic.plan import Machine
from recordings_synthetic.ranges import Pair, Ranges


def between(rng: np.random.Generator, pair: Pair) -> float:
    """A number drawn evenly from a range."""
    return float(rng.uniform(*pair))


def log_between(rng: np.random.Generator, pair: Pair) -> float:
    """A number drawn evenly on a logarithmic scale."""
    return float(np.exp(rng.uniform(*np.log(pair))))


def whole(rng: np.random.Generator, pair: Pair) -> int:
    """A whole number drawn evenly, both ends included."""
    return int(rng.integers(round(pair[0]), round(pair[1]) + 1))


def _fan(rng: np.random.Generator, blades: int, unevenness: float, level: float, name: str,
         r: Ranges) -> Source:  # fmt: skip
    """Blade pass and its harmonics; unevenly set blades spread into the orders between.

    The pressure of one blade is a pulse; the sum over blades at order k is the sum of
    exp(i k angle) times the pulse's own spectrum.
    """
    pitch = 2 * np.pi / blades
    angles = np.arange(blades) * pitch + rng.normal(0, unevenness, blades) * pitch
    loud = 1 + rng.normal(0, unevenness, blades)
    orders = np.arange(1, min(4 * blades + 3, 90))
    together = np.exp(1j * orders[:, None] * angles[None, :]) @ loud / blades
    roll = (orders / blades + 0.15) * np.exp(-(orders / blades) * rng.uniform(0.6, 1.4))
    amplitudes = np.abs(together) * roll * np.exp(rng.normal(0, 0.3, orders.size))
    amplitudes *= level / max(amplitudes.max(), 1e-12)
    keep = amplitudes > 1e-4 * level
    return Source(
        name, tuple(int(k) for k in orders[keep]), tuple(float(a) for a in amplitudes[keep]),
        tuple(float(p) for p in rng.uniform(0, 2 * np.pi, int(keep.sum()))),
        exponent=between(rng, (2.0, 3.2)), wander_db=between(rng, r.source_wander_db),
        wander_hz=between(rng, (0.2, 1.5)),
        # A phase slip of the blade tone, given for order 1 of the table.
        wander_rad=between(rng, r.source_wander_rad) / blades,
        load_db=between(rng, (-1.5, 0.5)), mains_depth=0.0,
    )  # fmt: skip


def _rotor(rng: np.random.Generator, r: Ranges) -> Source:
    """Imbalance and collet: order 1, then 2, and odd low orders of collet and bearings."""
    first = 10 ** (between(rng, r.imbalance_db) / 20)
    orders = (1, 2, 3, 4, 5, 7)
    fall = np.array([1, rng.uniform(0.1, 1.2), *rng.uniform(0.02, 0.6, 4)])
    return Source(
        "rotor", orders, tuple(float(a) for a in first * fall),
        tuple(float(p) for p in rng.uniform(0, 2 * np.pi, 6)),
        exponent=between(rng, (1.5, 2.5)), wander_db=between(rng, r.source_wander_db),
        wander_hz=between(rng, (0.2, 1.5)), wander_rad=0.0, load_db=between(rng, (-1, 4)),
        mains_depth=between(rng, (0, 0.15)),
    )  # fmt: skip


def _commutator(rng: np.random.Generator, r: Ranges, level: float) -> Source:
    """Slots and bars (often two bars to a slot), with side orders of an uneven rotor."""
    bars = whole(rng, r.commutator_bars)
    slots = bars // 2 if rng.random() < 0.7 else whole(rng, (10, 24))
    amplitude: dict[int, float] = {}
    for base, strength in ((bars, 1.0), (slots, rng.uniform(0.1, 0.9))):
        for harmonic in range(1, 4):
            for side in (-2, -1, 0, 1, 2):
                order = base * harmonic + side
                part = strength / harmonic ** rng.uniform(0.8, 1.6)
                part *= 1.0 if side == 0 else rng.uniform(0, 0.25)
                amplitude[order] = amplitude.get(order, 0) + part
    top = max(amplitude.values())
    orders = tuple(sorted(k for k in amplitude if 0 < k < 150))
    return Source(
        "commutator", orders, tuple(level * amplitude[k] / top for k in orders),
        tuple(float(p) for p in rng.uniform(0, 2 * np.pi, len(orders))),
        exponent=between(rng, (0.8, 2.0)), wander_db=between(rng, r.source_wander_db),
        wander_hz=between(rng, (0.2, 1.5)), wander_rad=0.0, load_db=between(rng, (-1, 5)),
        mains_depth=between(rng, (0.05, 0.6)),
    )  # fmt: skip


def _bearing(rng: np.random.Generator, r: Ranges) -> Source:
    """A worn bearing: the balls pass the outer ring off any whole order, n (1 - d/D)/2 each.

    The cage turns at (1 - d/D)/2 of the shaft, n balls pass a spot of the outer ring that often.
    """
    balls = int(rng.integers(7, 10))
    cage = 0.5 * (1 - between(rng, (0.2, 0.28)))
    level = 10 ** (between(rng, r.bearing_db) / 20)
    harmonics = np.arange(1, 5)
    return Source(
        "bearing", tuple(int(balls * h) for h in harmonics),
        tuple(float(level * rng.uniform(0.2, 1) / h**0.5) for h in harmonics),
        tuple(float(p) for p in rng.uniform(0, 2 * np.pi, 4)),
        exponent=1.5, wander_db=between(rng, r.source_wander_db), wander_hz=2.0,
        wander_rad=0.1, load_db=between(rng, (0, 4)), mains_depth=0.0, ratio=cage,
    )  # fmt: skip


def _noise_shape(rng: np.random.Generator) -> tuple[tuple[float, ...], tuple[float, ...]]:
    hz = (60.0, 200.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0, 16000.0)
    tilt = rng.uniform(-6, 0)
    db = [float(tilt * np.log2(f / 1000) * (f > 700) + rng.normal(0, 2.5)) for f in hz]
    db[0] -= float(rng.uniform(6, 20))
    return hz, tuple(db)


def router_voice(rng: np.random.Generator, r: Ranges) -> Voice:
    """The idling sound of one invented router."""
    hz, db = _noise_shape(rng)
    fan_first = rng.random() < 0.65
    second = 10 ** (rng.uniform(-18, -1) / 20)
    return Voice(
        sources=(
            _rotor(rng, r),
            _fan(rng, whole(rng, r.fan_blades), between(rng, r.blade_unevenness),
                 1.0 if fan_first else second, "fan", r),
            _commutator(rng, r, second if fan_first else 1.0),
            _bearing(rng, r),
        ),
        tonal_to_noise_db=between(rng, r.tonal_to_noise_db), noise_hz=hz, noise_db=db,
        noise_exponent=between(rng, (2.5, 3.0)), noise_wander_db=between(rng, (0.2, 1.0)),
        noise_load_db=between(rng, (-4, 1)), hum_db=between(rng, r.hum_db),
        buzz_db=between(rng, r.buzz_db),
    )  # fmt: skip


def _running_sometimes(
    rng: np.random.Generator, around_s: float, always: float
) -> tuple[Switching, ...]:
    """On throughout, or switched on, off, or both somewhere in the take."""
    if rng.random() < always:
        return (Switching(-20.0, on=True),)
    mode = rng.integers(3)
    first = rng.uniform(0.5, 0.5 * around_s + 1)
    if mode == 0:
        return (Switching(first, on=True),)
    if mode == 1:
        return (Switching(-20.0, on=True), Switching(first + 0.3 * around_s, on=False))
    return (Switching(first, on=True), Switching(first + rng.uniform(3, 20), on=False))


def _steady_drive(rng: np.random.Generator, rpm: float, switchings: tuple[Switching, ...]) -> Drive:
    return Drive(
        switchings=switchings, turns=(Turn(-30.0, rpm, 1.0),),
        soft_start_s=between(rng, (0.3, 1.2)), overshoot=between(rng, (0, 0.03)),
        coast_s=between(rng, (1.0, 4.0)), coast_shape=between(rng, (0.5, 6.0)),
        drift_fraction=between(rng, (-0.02, 0.02)), drift_s=between(rng, (10, 60)),
        wander_fraction=between(rng, (0.0005, 0.004)), wander_hz=between(rng, (0.1, 1.0)),
        regulation="open loop", sag_fraction=0.0, droop_share=1.0, regulator_hz=1.0,
        regulator_damping=1.0,
    )  # fmt: skip


def vacuum(rng: np.random.Generator, r: Ranges, around_s: float) -> Machine:
    """A shop vacuum: its own fast motor, a fan that dominates, much rushing air."""
    rpm = 60 * log_between(rng, (250, 600))
    hz, db = _noise_shape(rng)
    blades = whole(rng, r.vacuum_blades)
    voice = Voice(
        sources=(
            _fan(rng, blades, between(rng, r.blade_unevenness), 1.0, "vacuum fan", r),
            _rotor(rng, r),
        ),
        tonal_to_noise_db=between(rng, (-10, 4)), noise_hz=hz, noise_db=db, noise_exponent=2.7,
        noise_wander_db=between(rng, (0.2, 1.0)), noise_load_db=0.0, hum_db=-30.0,
        buzz_db=between(rng, (-40, -20)),
    )  # fmt: skip
    return Machine(
        "vacuum", _steady_drive(rng, rpm, _running_sometimes(rng, around_s, 0.6)), voice, rpm,
        between(rng, r.vacuum_level_db),
    )  # fmt: skip


def other_machine(rng: np.random.Generator, r: Ranges, around_s: float, level_db: float) -> Machine:
    """Somebody else's router, sander or extractor, farther away than the router."""
    rpm = log_between(rng, (9000, 30000)) if rng.random() < 0.7 else log_between(rng, (2700, 6000))
    return Machine(
        "other machine", _steady_drive(rng, rpm, _running_sometimes(rng, around_s, 0.5)),
        router_voice(rng, r), rpm, level_db,
    )  # fmt: skip
