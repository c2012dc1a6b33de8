"""Draw a take: from a split, a kind, a difficulty and a seed to a plan."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from recordings_synthetic.calibration import plateaus_from
from recordings_synthetic.drive import Drive, Switching, Turn
from recordings_synthetic.hands import Grain, Pause, Stroke
from recordings_synthetic.machines import (
    between,
    log_between,
    other_machine,
    router_voice,
    vacuum,
    whole,
)
from recordings_synthetic.motor import Mains
from recordings_synthetic.phone import Phone
from recordings_synthetic.plan import Machine, TakePlan, Work
from recordings_synthetic.ranges import RANGES, Ranges
from recordings_synthetic.room import Room
from recordings_synthetic.surroundings import Surroundings
from recordings_synthetic.teeth import Bit, CutVoice, Material

SPLITS = ("dev", "held_out")
DIFFICULTIES = ("clean", "moderate", "hard")
KINDS = ("passes", "two machines", "plateaus", "steady")

_PLATES = (
    (8000, 24000), (8000, 21000), (10000, 23000), (10000, 25000), (9000, 22000), (12000, 24000),
    (10000, 30000), (16000, 35000), (14000, 32000),
)  # fmt: skip
_ON_MAINS = (12000, 14400, 15000, 18000, 21000, 21600, 24000)
_SEED_BASE = {"dev": 1_000_000, "held_out": 2_000_000}
_BASE_SHAPE = (200.0, 700.0, 1500.0, 3000.0, 6000.0, 12000.0)
MATERIALS = {
    "hardwood": Material("hardwood", 0.25, 0.01, 0.7, 0.4, _BASE_SHAPE, (-12, -4, 0, 1, -3, -12)),
    "softwood": Material("softwood", 0.4, 0.02, 0.8, 0.35, _BASE_SHAPE, (-10, -2, 0, -2, -7, -16)),
    "plywood": Material("plywood", 0.35, 0.015, 0.7, 0.45, _BASE_SHAPE, (-12, -4, 0, 0, -4, -12)),
    "mdf": Material("mdf", 0.15, 0.005, 0.6, 0.6, _BASE_SHAPE, (-14, -6, -1, 2, 0, -8)),
    "acrylic": Material("acrylic", 0.1, 0.003, 0.9, 0.25, _BASE_SHAPE, (-14, -5, 0, 3, 1, -6)),
}


def seed_of(split: str, seed: int, index: int) -> int:
    """The seed of one take; the splits never share one."""
    return _SEED_BASE[split] + 1000 * (seed % 1000) + index


def _chance(rng: np.random.Generator, probability: float) -> bool:
    return bool(rng.random() < probability)


def _bit(rng: np.random.Generator, r: Ranges) -> Bit:
    diameter = float(rng.choice([3, 3.175, 4, 5, 6, 6.35, 8, 9.525, 10, 12, 12.7, 12.7, 16, 19.05,
                                 22, 25.4, 28]))  # fmt: skip
    flutes = int(rng.choice([1, 2, 3, 4], p=[0.12, 0.66, 0.16, 0.06]))
    runout = between(rng, r.runout_mm)
    stand_out = rng.uniform(-1, 0, flutes) * runout
    stand_out = stand_out - stand_out.max()
    placed = np.arange(flutes) / flutes + rng.normal(0, 0.002, flutes)
    return Bit(
        diameter,
        tuple(float(t) for t in placed % 1.0),
        tuple(float(s) for s in stand_out),
    )


def _no_load_rpm(rng: np.random.Generator, r: Ranges, plate: tuple[int, int]) -> float:
    on_mains = [n for n in _ON_MAINS if plate[0] <= n <= plate[1]]
    if on_mains and _chance(rng, r.on_mains):
        return float(rng.choice(on_mains)) * (1 + rng.normal(0, 0.001))
    return between(rng, plate)


def _drive(
    rng: np.random.Generator, r: Ranges, turns: tuple[Turn, ...], switchings: tuple[Switching, ...]
) -> Drive:
    open_loop = _chance(rng, r.open_loop)
    return Drive(
        switchings=switchings,
        turns=turns,
        soft_start_s=between(rng, (0.3, 1.5)),
        overshoot=between(rng, (0.0, 0.04)),
        coast_s=between(rng, (0.7, 3.0)),
        coast_shape=between(rng, (0.3, 8.0)),
        drift_fraction=between(rng, r.drift),
        drift_s=between(rng, (8, 60)),
        wander_fraction=between(rng, r.speed_wander) * (1.5 if open_loop else 1),
        wander_hz=between(rng, (0.15, 1.5)),
        regulation="open loop" if open_loop else "electronic",
        sag_fraction=between(rng, r.open_loop_sag if open_loop else r.electronic_sag),
        droop_share=between(rng, (0.1, 0.9)),
        regulator_hz=1 / (2 * np.pi * between(rng, (0.1, 0.5)))
        if open_loop
        else between(rng, (0.6, 3.0)),
        regulator_damping=between(rng, (0.25, 1.1)),
    )


def _pauses(rng: np.random.Generator, r: Ranges) -> tuple[Pause, ...]:
    pauses = []
    if _chance(rng, r.dwell):
        for _ in range(1 + _chance(rng, 0.25)):
            hold = log_between(rng, (0.2, 2.5))
            pauses.append(
                Pause(between(rng, (0.06, 0.94)), hold, between(rng, (0.05, 0.15)), False)
            )
    if _chance(rng, r.liftoff):
        hold = log_between(rng, (0.15, 0.7))
        pauses.append(Pause(between(rng, (0.1, 0.9)), hold, between(rng, (0.05, 0.12)), True))
    kept: list[Pause] = []
    for pause in pauses:
        if all(abs(pause.at_share - other.at_share) > 0.15 for other in kept):
            kept.append(pause)
    return tuple(sorted(kept, key=lambda p: p.at_share))


def _board(rng: np.random.Generator, r: Ranges, kind: Material) -> Material:
    """One board of its kind: no two sound alike."""
    spread = rng.normal(0, r.material_spread_db, len(kind.noise_db))
    return replace(
        kind,
        amplitude_jitter=kind.amplitude_jitter * float(np.exp(rng.normal(0, 0.25))),
        timing_jitter=kind.timing_jitter * float(np.exp(rng.normal(0, 0.4))),
        chip_exponent=kind.chip_exponent + float(rng.uniform(-0.15, 0.15)),
        noise_share=float(np.clip(kind.noise_share + rng.uniform(-0.2, 0.25), 0.1, 0.9)),
        noise_db=tuple(float(db + more) for db, more in zip(kind.noise_db, spread, strict=True)),
    )


def _work(rng: np.random.Generator, r: Ranges, bit: Bit, rpm: float, first_s: float) -> Work:
    trim = log_between(rng, (0.4, min(3.5, 0.5 * bit.diameter_mm)))
    for _ in range(200):
        chip_load = log_between(rng, r.chip_load_mm)
        feed = chip_load * bit.flutes * rpm / 60
        edge = round(log_between(rng, (150, 1200)), 0)
        if 8 <= feed <= 250 and 1.8 <= edge / feed <= 16:
            break
    else:
        feed, edge = 50.0, 400.0
    spread = between(rng, r.pass_spread)
    trend = rng.normal(0, 0.06)
    strokes: list[Stroke] = []
    total_s = 0.0
    for number in range(whole(rng, r.passes)):
        own = feed * float(np.exp(spread * rng.standard_normal() + trend * number))
        most = min(250, edge / 1.5, 1.2 * r.chip_load_mm[1] * bit.flutes * rpm / 60)
        own = float(np.clip(own, edge / 20, most))
        stroke = Stroke(
            own, between(rng, r.feed_wander), log_between(rng, r.feed_wander_hz), _pauses(rng, r),
            between(rng, (1.5, 8.0) if _chance(rng, 0.3) else (1.5, 3.5)),
        )  # fmt: skip
        total_s += edge / own + stroke.gap_before_s
        if strokes and total_s > 65:
            break
        strokes.append(stroke)
    knots = tuple(
        (between(rng, (0.05, 0.95)), between(rng, (3, 14)), between(rng, (1.3, 2.5)))
        for _ in range(whole(rng, (1, 4)) if _chance(rng, r.bump) else 0)
    )
    count = whole(rng, r.resonances)
    cut = CutVoice(
        level_db=between(rng, r.cut_level_db),
        resonance_hz=(
            *(log_between(rng, r.resonance_hz) for _ in range(count)),
            between(rng, (600, 2500)),  # the work as a whole, hardly resonant
        ),
        resonance_q=(*(between(rng, (4, 40)) for _ in range(count)), 0.8),
        resonance_gain=(
            *(log_between(rng, (0.2, 1)) for _ in range(count)),
            between(rng, (0.3, 1.2)),
        ),
        noise_modulation=between(rng, (0.1, 0.8)),
        rub_share=between(rng, r.rub_share),
        squeal_db=between(rng, (-14, 0)) if _chance(rng, r.squeal) else -100.0,
        squeal_hz=log_between(rng, (1000, 4500)),
    )
    material = _board(
        rng, r, MATERIALS[str(rng.choice(list(MATERIALS), p=[0.35, 0.25, 0.15, 0.18, 0.07]))]
    )
    figure = between(rng, (0.02, 0.08) if material.name in ("mdf", "acrylic") else (0.05, 0.25))
    return Work(
        edge, round(trim, 2), material, Grain(figure, between(rng, (8, 80)), knots),
        tuple(strokes), feed, cut, r.knocked_down, between(rng, r.knock_db),
        between(rng, r.coupling_db), first_s,
    )  # fmt: skip


def _room(rng: np.random.Generator, r: Ranges) -> Room:
    return Room(
        rt60_s=between(rng, r.rt60_s),
        reverberant_db=between(rng, r.reverberant_db),
        reflections=whole(rng, (1, 6)),
        mode_hz=tuple(log_between(rng, (60, 400)) for _ in range(whole(rng, (0, 4)))),
        mode_gain=between(rng, (0.05, 0.5)),
        sway_db=between(rng, r.sway_db),
        sway_hz=between(rng, (0.05, 0.4)),
        comb_depth=between(rng, (0.2, 0.8)) if _chance(rng, r.comb) else 0.0,
        comb_ms=between(rng, (0.3, 4.0)),
        comb_sway_ms=log_between(rng, (0.01, 0.15)),  # a hand's breadth of detour at most
    )


def _phone(rng: np.random.Generator, r: Ranges) -> Phone:
    loud = between(rng, r.loud_dbfs)
    return Phone(
        low_hz=between(rng, r.low_hz),
        high_hz=between(rng, r.high_hz),
        loud_dbfs=loud,
        agc_share=between(rng, r.agc_share) if _chance(rng, r.agc) else 0.0,
        agc_attack_s=log_between(rng, (0.03, 0.5)),
        agc_release_s=log_between(rng, (0.3, 4.0)),
        suppress_db=between(rng, (5, 14)) if _chance(rng, r.suppress) else 0.0,
        limiter=_chance(rng, r.limiter),
        clip_drive_db=between(rng, (-9, -3)) - loud if _chance(rng, r.clip) else 0.0,
        offset=float(rng.normal(0, 0.002)),
        self_noise_dbfs=max(-90.0, loud + between(rng, (-60, -38))),
    )


def _around(rng: np.random.Generator, r: Ranges) -> Surroundings:
    return Surroundings(
        floor_db=between(rng, r.floor_db),
        speech_db=between(rng, r.speech_db) if _chance(rng, r.speech) else None,
        speech_pitch_hz=log_between(rng, (90, 250)),
        knocks_per_minute=between(rng, r.knocks_per_minute),
        knock_db=between(rng, r.knock_db),
        hammer_db=between(rng, r.knock_db) if _chance(rng, r.hammer) else None,
        music_db=between(rng, r.speech_db) if _chance(rng, r.music) else None,
        rumble_db=between(rng, (-10, 10)) if _chance(rng, r.rumble) else None,
    )


def _turns_between(rng: np.random.Generator, r: Ranges, rpm: float, plate: tuple[int, int],
                   work: Work) -> tuple[Turn, ...]:  # fmt: skip
    """The dial as found, and now and then turned in a gap between two passes."""
    turns = [Turn(-30.0, rpm, 1.0)]
    if len(work.strokes) > 2 and _chance(rng, r.dial_turned):
        step = float(np.clip(rpm * between(rng, (0.7, 1.35)), *plate))
        turns.append(Turn(0.0, step, between(rng, (0.3, 1.2))))
    return tuple(turns)


def draw_take(split: str, kind: str, difficulty: str, seed: int) -> TakePlan:
    """The plan of one take; the same four always give the same plan."""
    r = RANGES[split][difficulty]
    rng = np.random.default_rng([seed, 0, DIFFICULTIES.index(difficulty)])
    if kind == "plateaus":
        return plateaus_from(draw_take(split, "passes", difficulty, seed), seed=seed)
    small = _chance(rng, r.small_router)
    plates = [plate for plate in _PLATES if (plate[1] > 27000) == small]
    plate = plates[rng.integers(len(plates))]
    rpm = _no_load_rpm(rng, r, plate)
    bit = _bit(rng, r)
    run_mode = str(rng.choice(["runs throughout", "switched on", "switched off",
                               "switched on and off"], p=[0.3, 0.2, 0.1, 0.4]))  # fmt: skip
    cut_start, cut_end = _chance(rng, r.cut_off), _chance(rng, r.cut_off)
    if cut_start:
        run_mode = "switched off" if run_mode.endswith("off") else "runs throughout"
    lead = between(rng, (0.4, 2.5))
    switched_on = run_mode.startswith("switched on")
    on_s = lead if switched_on else -20.0
    first_s = (lead + between(rng, (3.0, 6.0))) if switched_on else between(rng, (1.5, 5.0))
    if cut_start:
        first_s = -between(rng, (0.3, 3.0))
    work = _work(rng, r, bit, rpm, first_s)
    if cut_start:
        first_s = max(first_s, -0.6 * work.edge_length_mm / work.strokes[0].feed_mm_s)
        # What is left of a pass that was cut off is cutting, not a hand standing still.
        begun = replace(work.strokes[0], pauses=())
        work = replace(work, sets_off_at_s=first_s, strokes=(begun, *work.strokes[1:]))
    turns = _turns_between(rng, r, rpm, plate, work)
    ends_running = run_mode in ("runs throughout", "switched on")
    cut_end = cut_end and ends_running and len(work.strokes) > 1
    if cut_end:
        last = replace(work.strokes[-1], pauses=())
        work = replace(work, strokes=(*work.strokes[:-1], last))
    last_feed = work.strokes[-1].feed_mm_s
    around_s = first_s + sum(work.edge_length_mm / s.feed_mm_s + 2.5 for s in work.strokes)
    machines: list[Machine] = []
    if _chance(rng, r.vacuum):
        machines.append(vacuum(rng, r, around_s))
    if kind == "two machines":
        machines.append(other_machine(rng, r, around_s, between(rng, (-12, -3))))
    elif _chance(rng, r.third_machine):
        machines.append(other_machine(rng, r, around_s, between(rng, (-18, -6))))
    ppm = between(rng, r.clock_ppm)
    return TakePlan(
        name=f"{split}-{kind.replace(' ', '-')}-{difficulty}-{seed}",
        kind=kind,
        split=split,
        difficulty=difficulty,
        seed=seed,
        sample_rate_hz=int(
            rng.choice([32000, 16000] if _chance(rng, r.slow_sampling) else [48000, 44100])
        ),
        clock_ppm=ppm,
        plate_range_rpm=(float(plate[0]), float(plate[1])),
        reference_rpm=rpm,
        run_mode=run_mode,
        lead_s=lead,
        tail_s=between(rng, (1.5, 4.0)) if ends_running else between(rng, (4.0, 7.0)),
        dial_turned_before=whole(rng, (1, len(work.strokes) - 1)) if len(turns) > 1 else None,
        cut_end_s=between(rng, (0.2, 0.6)) * work.edge_length_mm / last_feed if cut_end else 0.0,
        drive=_drive(rng, r, turns, (Switching(on_s, on=True),)),
        voice=router_voice(rng, r),
        mains=_mains(rng, ppm),
        bit=bit,
        work=work,
        machines=tuple(machines),
        around=_around(rng, r),
        room=_room(rng, r),
        doppler_mm=between(rng, (-0.7, 0.7)) * work.edge_length_mm if _chance(rng, 0.7) else 0.0,
        distance_mm=log_between(rng, (600, 3000)) + 0.5 * work.edge_length_mm,
        phone=_phone(rng, r),
    )


def _mains(rng: np.random.Generator, clock_ppm: float) -> Mains:
    true_hz = float(rng.choice([50, 60])) * (1 + rng.normal(0, 0.0006))
    return Mains(true_hz / (1 + clock_ppm * 1e-6), log_between(rng, (3e-5, 1e-3)))
