"""What a take is made of: everything a rendering needs, and nothing drawn any more."""

from __future__ import annotations

from dataclasses import dataclass

from recordings_synthetic.drive import Drive
from recordings_synthetic.hands import Grain, Stroke
from recordings_synthetic.motor import Mains, Voice
from recordings_synthetic.phone import Phone
from recordings_synthetic.room import Room
from recordings_synthetic.surroundings import Surroundings
from recordings_synthetic.teeth import Bit, CutVoice, Material


@dataclass(frozen=True, slots=True)
class Work:
    """The edge and the cut.

    Standing on the work, from a moment before a pass to a moment after, the router runs
    ``coupling_db`` louder than in the hand; it is set down with a knock as often as
    ``knocked_down`` says (0 to 1).
    """

    edge_length_mm: float
    trim_allowance_mm: float
    material: Material
    grain: Grain
    strokes: tuple[Stroke, ...]
    reference_feed_mm_s: float  # a load of 1 for the motor is this feed at the full allowance
    cut: CutVoice
    knocked_down: float
    knock_db: float
    coupling_db: float
    sets_off_at_s: float  # first contact of the first stroke; negative: before the take began


@dataclass(frozen=True, slots=True)
class Machine:
    """Another machine in the room: a vacuum, or somebody else's router."""

    role: str
    drive: Drive
    voice: Voice
    reference_rpm: float
    level_db: float


@dataclass(frozen=True, slots=True)
class TakePlan:
    """One take, fully decided; rendering it again gives the same samples.

    ``run_mode`` says when the router is switched: "runs throughout", "switched on",
    "switched off" or "switched on and off". ``clock_ppm`` is how much faster the phone's
    clock runs than true time. ``doppler_mm`` is how far the router comes towards the phone
    along a pass, which begins ``distance_mm`` away from it.
    """

    name: str
    kind: str
    split: str
    difficulty: str
    seed: int
    sample_rate_hz: int
    clock_ppm: float
    plate_range_rpm: tuple[float, float]
    reference_rpm: float
    run_mode: str
    lead_s: float
    tail_s: float
    dial_turned_before: int | None  # the stroke before which the last turn of the dial is made
    cut_end_s: float  # the recording is stopped this long before the last stroke ends
    drive: Drive
    voice: Voice
    mains: Mains
    bit: Bit
    work: Work
    machines: tuple[Machine, ...]
    around: Surroundings
    room: Room
    doppler_mm: float
    distance_mm: float
    phone: Phone
