"""How hard a take may be: the ranges that plans are drawn from, by difficulty and split.

A pair is the lowest and highest value; a single number from 0 to 1 is a probability. Levels
in dB stand against the idling router. ``held_out`` widens the development ranges, so that a
method tuned on the one meets machines, hands and rooms on the other that it has not seen.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

Pair = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Ranges:
    """Everything that makes a take easy or hard."""

    # the machine
    tonal_to_noise_db: Pair
    imbalance_db: Pair  # order 1 against the strongest order
    bearing_db: Pair
    fan_blades: Pair
    blade_unevenness: Pair  # share of the blade pitch
    commutator_bars: Pair
    source_wander_db: Pair
    source_wander_rad: Pair
    speed_wander: Pair
    drift: Pair
    electronic_sag: Pair
    open_loop: float
    open_loop_sag: Pair
    hum_db: Pair
    buzz_db: Pair
    small_router: float
    on_mains: float
    dial_turned: float
    # the cut
    cut_level_db: Pair
    runout_mm: Pair
    resonances: Pair
    resonance_hz: Pair
    rub_share: Pair
    squeal: float
    # the hands
    feed_wander: Pair
    feed_wander_hz: Pair
    dwell: float  # chance per pass
    liftoff: float
    bump: float
    passes: Pair
    cut_off: float  # chance at each end of the take
    chip_load_mm: Pair
    pass_spread: Pair
    knocked_down: float  # chance that the base is heard being set down before a pass
    coupling_db: Pair  # how much louder the router runs standing on the work than in the hand
    # the room
    rt60_s: Pair
    reverberant_db: Pair
    sway_db: Pair
    comb: float
    vacuum: float
    vacuum_level_db: Pair
    vacuum_blades: Pair
    third_machine: float
    floor_db: Pair
    speech: float
    speech_db: Pair
    knocks_per_minute: Pair
    knock_db: Pair
    hammer: float
    music: float
    rumble: float
    material_spread_db: float
    # the phone
    low_hz: Pair
    high_hz: Pair
    loud_dbfs: Pair
    agc: float
    agc_share: Pair
    suppress: float
    limiter: float
    clip: float
    clock_ppm: Pair
    slow_sampling: float  # chance of a sampling rate under 44,100 Hz


CLEAN = Ranges(
    tonal_to_noise_db=(2, 10), imbalance_db=(-25, -3), bearing_db=(-60, -35), fan_blades=(6, 14),
    blade_unevenness=(0.0, 0.03), commutator_bars=(20, 32), source_wander_db=(0.3, 1.5),
    source_wander_rad=(0.0, 0.1), speed_wander=(0.0005, 0.0015), drift=(-0.003, 0.003),
    electronic_sag=(0.0, 0.012), open_loop=0.1, open_loop_sag=(0.03, 0.12), hum_db=(-40, -20),
    buzz_db=(-45, -25), small_router=0.15, on_mains=0.15, dial_turned=0.0,
    cut_level_db=(3, 13), runout_mm=(0.0, 0.02), resonances=(4, 7), resonance_hz=(300, 7000),
    rub_share=(0.08, 0.2), squeal=0.05,
    feed_wander=(0.08, 0.2), feed_wander_hz=(0.3, 2.0), dwell=0.12, liftoff=0.06, bump=0.1,
    passes=(2, 6), cut_off=0.08, chip_load_mm=(0.03, 0.22), pass_spread=(0.08, 0.25),
    knocked_down=0.1, coupling_db=(-0.5, 0.5),
    rt60_s=(0.1, 0.3), reverberant_db=(-18, -6), sway_db=(0.0, 0.6), comb=0.0,
    vacuum=0.0, vacuum_level_db=(-20, -10), vacuum_blades=(5, 9), third_machine=0.0,
    floor_db=(-50, -35), speech=0.0, speech_db=(-30, -20), knocks_per_minute=(0, 3),
    knock_db=(-5, 5), hammer=0.0, music=0.0, rumble=0.0, material_spread_db=2.0,
    low_hz=(40, 150), high_hz=(12000, 16000), loud_dbfs=(-26, -14), agc=0.0,
    agc_share=(0.0, 0.2), suppress=0.0, limiter=0.1, clip=0.0, clock_ppm=(-60, 60),
    slow_sampling=0.0,
)  # fmt: skip

MODERATE = Ranges(
    tonal_to_noise_db=(-4, 6), imbalance_db=(-35, -8), bearing_db=(-45, -22), fan_blades=(5, 17),
    blade_unevenness=(0.0, 0.06), commutator_bars=(20, 42), source_wander_db=(0.8, 3),
    source_wander_rad=(0.0, 0.3), speed_wander=(0.0008, 0.0028), drift=(-0.008, 0.008),
    electronic_sag=(0.002, 0.02), open_loop=0.2, open_loop_sag=(0.03, 0.2), hum_db=(-30, -12),
    buzz_db=(-35, -15), small_router=0.2, on_mains=0.25, dial_turned=0.1,
    cut_level_db=(0, 10), runout_mm=(0.0, 0.04), resonances=(3, 7), resonance_hz=(300, 8000),
    rub_share=(0.1, 0.3), squeal=0.15,
    feed_wander=(0.12, 0.3), feed_wander_hz=(0.3, 3.0), dwell=0.22, liftoff=0.1, bump=0.25,
    passes=(1, 8), cut_off=0.15, chip_load_mm=(0.015, 0.28), pass_spread=(0.1, 0.35),
    knocked_down=0.3, coupling_db=(-1.5, 2),
    rt60_s=(0.15, 0.6), reverberant_db=(-12, -1), sway_db=(0.2, 1.5), comb=0.3,
    vacuum=0.4, vacuum_level_db=(-15, -3), vacuum_blades=(5, 11), third_machine=0.05,
    floor_db=(-45, -22), speech=0.3, speech_db=(-20, -8), knocks_per_minute=(0, 10),
    knock_db=(0, 10), hammer=0.05, music=0.05, rumble=0.0, material_spread_db=2.0,
    low_hz=(80, 220), high_hz=(9000, 16000), loud_dbfs=(-32, -11), agc=0.3,
    agc_share=(0.2, 0.6), suppress=0.05, limiter=0.3, clip=0.05, clock_ppm=(-150, 150),
    slow_sampling=0.0,
)  # fmt: skip

HARD = Ranges(
    tonal_to_noise_db=(-12, 1), imbalance_db=(-45, -12), bearing_db=(-38, -12), fan_blades=(5, 19),
    blade_unevenness=(0.0, 0.12), commutator_bars=(20, 48), source_wander_db=(1.5, 4),
    source_wander_rad=(0.1, 0.5), speed_wander=(0.001, 0.004), drift=(-0.015, 0.015),
    electronic_sag=(0.003, 0.02), open_loop=0.3, open_loop_sag=(0.03, 0.3), hum_db=(-25, -6),
    buzz_db=(-30, -8), small_router=0.25, on_mains=0.3, dial_turned=0.15,
    cut_level_db=(-3, 7), runout_mm=(0.0, 0.06), resonances=(2, 7), resonance_hz=(300, 9000),
    rub_share=(0.1, 0.4), squeal=0.25,
    feed_wander=(0.18, 0.4), feed_wander_hz=(0.3, 3.0), dwell=0.3, liftoff=0.15, bump=0.4,
    passes=(1, 10), cut_off=0.2, chip_load_mm=(0.01, 0.3), pass_spread=(0.15, 0.4),
    knocked_down=0.5, coupling_db=(-2, 4),
    rt60_s=(0.2, 0.9), reverberant_db=(-8, 3), sway_db=(0.5, 2.5), comb=0.6,
    vacuum=0.65, vacuum_level_db=(-8, 3), vacuum_blades=(5, 11), third_machine=0.15,
    floor_db=(-38, -15), speech=0.5, speech_db=(-14, 0), knocks_per_minute=(2, 20),
    knock_db=(3, 14), hammer=0.12, music=0.1, rumble=0.0, material_spread_db=2.0,
    low_hz=(150, 300), high_hz=(7000, 14000), loud_dbfs=(-50, -9), agc=0.5,
    agc_share=(0.3, 0.85), suppress=0.15, limiter=0.4, clip=0.15, clock_ppm=(-300, 300),
    slow_sampling=0.0,
)  # fmt: skip

DEVELOPMENT = {"clean": CLEAN, "moderate": MODERATE, "hard": HARD}

HELD_OUT = {
    name: replace(
        ranges,
        fan_blades=(ranges.fan_blades[0], ranges.fan_blades[1] + 4),
        blade_unevenness=(0.0, ranges.blade_unevenness[1] + 0.05),
        commutator_bars=(16, 54),
        tonal_to_noise_db=(ranges.tonal_to_noise_db[0] - 1, ranges.tonal_to_noise_db[1] + 3),
        resonance_hz=(220, 10000),
        runout_mm=(0.0, ranges.runout_mm[1] * 1.3),
        feed_wander=(ranges.feed_wander[0], ranges.feed_wander[1] + 0.05),
        feed_wander_hz=(0.2, 4.0),
        source_wander_db=(ranges.source_wander_db[0], ranges.source_wander_db[1] + 1),
        vacuum_blades=(4, 13),
        rumble=0.3,
        material_spread_db=4.0,
        slow_sampling=0.15,
        rt60_s=(ranges.rt60_s[0], ranges.rt60_s[1] * 1.15),
        speech=min(1.0, ranges.speech + 0.1),
        knocks_per_minute=(0, ranges.knocks_per_minute[1] * 1.5),
    )
    for name, ranges in DEVELOPMENT.items()
}

RANGES = {"dev": DEVELOPMENT, "held_out": HELD_OUT}
