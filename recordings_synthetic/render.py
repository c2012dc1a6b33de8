"""From a plan to the samples a phone would have written, and the truth behind them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from recordings_synthetic.drive import Spindle, State, spin
from recordings_synthetic.motor import Mains, idle_sound
from recordings_synthetic.noise import convolved
from recordings_synthetic.phone import recorded
from recordings_synthetic.plan import Machine, TakePlan
from recordings_synthetic.room import SPEED_OF_SOUND_M_S, impulse_response, moving
from recordings_synthetic.schedule import Schedule, lay_out
from recordings_synthetic.surroundings import struck, surrounding_sound
from recordings_synthetic.teeth import Contact, cutting_sound
from recordings_synthetic.timebase import Floats, Sound, Timebase


@dataclass(frozen=True, slots=True, eq=False)
class Rendering:
    """Samples, and the simulation they came from."""

    plan: TakePlan
    schedule: Schedule
    spindle: Spindle
    others: tuple[Spindle, ...]
    samples: NDArray[np.int16]
    faults: tuple[str, ...]


def _turns(spindle: Spindle, timebase: Timebase) -> tuple[Floats, Floats]:
    """Rotation frequency and turns made so far, at every audio sample."""
    rotation = timebase.to_audio(spindle.rotation_hz)
    made = np.cumsum(rotation) / timebase.sample_rate_hz
    return rotation, made


def _heard_turns(turns: Floats, schedule: Schedule, plan: TakePlan) -> Floats:
    """The turns as they reach the phone, later the farther the router is away."""
    if not plan.doppler_mm:
        return turns
    nearer_s = schedule.timebase.to_audio(schedule.towards_mm) / (1000 * SPEED_OF_SOUND_M_S)
    count = np.arange(turns.size)
    place = count + nearer_s * schedule.timebase.sample_rate_hz
    return np.asarray(np.interp(place, count, turns))


def _powered(spindle: Spindle, timebase: Timebase) -> Floats:
    on = (spindle.state == State.RUNNING) | (spindle.state == State.STARTING)
    return timebase.to_audio(on.astype(np.float64))


def _rippled(turns: Floats, rotation_hz: Floats, load: Floats, mains: Mains, rate: int) -> Floats:
    """The angle with the torque ripple of a motor fed twice a mains period."""
    pulse_hz = 2 * mains.hz
    swing = rotation_hz * mains.torque_ripple * (1 + 2 * load) / (2 * np.pi * pulse_hz)
    angle = 2 * np.pi * pulse_hz / rate * np.arange(turns.size)
    return np.asarray(turns + swing * np.sin(angle))


def _router(
    plan: TakePlan, schedule: Schedule, spindle: Spindle, rng: np.random.Generator
) -> Sound:
    timebase = schedule.timebase
    rotation, made = _turns(spindle, timebase)
    # An arbitrary start, so that no tooth is at angle 0 when the recording begins.
    load = np.minimum(timebase.to_audio(schedule.load), 1.5)
    made = _rippled(made + rng.uniform(1, 2), rotation, load, plan.mains, plan.sample_rate_hz)
    turns = _heard_turns(made, schedule, plan)
    idle = idle_sound(
        plan.voice,
        plan.mains,
        turns=turns,
        speed_ratio=rotation * (60 / plan.reference_rpm),
        load=load,
        powered=_powered(spindle, timebase),
        timebase=timebase,
        rng=rng,
    )
    if not schedule.placed:
        return idle
    coupled = 10 ** (plan.work.coupling_db / 20 * timebase.to_audio(schedule.on_work))
    idle *= coupled.astype(np.float32)
    heights = np.exp(rng.normal(0, 0.4, schedule.knocks_s.size))
    set_down = struck(schedule.knocks_s, heights, timebase, rng)
    idle += set_down * np.float32(10 ** (plan.work.knock_db / 20))
    nearer_gain = plan.distance_mm / (plan.distance_mm - schedule.towards_mm)
    nearer = timebase.to_audio(nearer_gain).astype(np.float32)
    rate = np.maximum(rotation, 20.0)
    contact = Contact(
        turns=turns,
        rotation_hz=rotation,
        feed_per_tooth=timebase.to_audio(schedule.feed_mm_s) / (rate * plan.bit.flutes),
        enter_rad=timebase.to_audio(schedule.enter_rad),
        leave_rad=timebase.to_audio(schedule.leave_rad),
        wood=timebase.to_audio(schedule.wood),
    )
    work = plan.work
    return nearer * (
        idle + cutting_sound(plan.bit, work.material, work.cut, contact, timebase, rng)
    )


def _other(
    machine: Machine, plan: TakePlan, timebase: Timebase, rng: np.random.Generator
) -> tuple[Sound, Spindle]:
    nothing = np.zeros(timebase.control_count)
    spindle = spin(machine.drive, timebase, nothing, rng)
    rotation, made = _turns(spindle, timebase)
    sound = idle_sound(
        machine.voice,
        plan.mains,
        turns=made + rng.uniform(1, 2),
        speed_ratio=rotation * (60 / machine.reference_rpm),
        load=np.zeros(timebase.samples),
        powered=_powered(spindle, timebase),
        timebase=timebase,
        rng=rng,
    )
    return sound * np.float32(10 ** (machine.level_db / 20)), spindle


def render(plan: TakePlan) -> Rendering:
    """Render one take; the same plan always gives the same samples."""
    rng = np.random.default_rng([plan.seed, 1])
    schedule = lay_out(plan, rng)
    timebase = schedule.timebase
    rate = timebase.sample_rate_hz
    spindle = spin(schedule.drive, timebase, schedule.load, rng)
    sound = _router(plan, schedule, spindle, rng)
    sound = convolved(sound, impulse_response(plan.room, rate, rng))
    others = []
    for machine in plan.machines:
        noise, motion = _other(machine, plan, timebase, rng)
        sound += convolved(noise, impulse_response(plan.room, rate, rng))
        others.append(motion)
    around = surrounding_sound(plan.around, timebase, rng)
    sound += convolved(around, impulse_response(plan.room, rate, rng))
    sound = moving(sound, plan.room, timebase, rng)
    samples, faults = recorded(sound, plan.phone, rate, rng)
    return Rendering(plan, schedule, spindle, tuple(others), samples, faults)
