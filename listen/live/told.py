"""What the coach tells, one frozen record for each kind of news."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from analysis.coaching.advice import Advice
from analysis.coaching.reading import PassReading
from analysis.coaching.summary import CoachedPass, TakeSummary


class Cue(Enum):
    """The one word for the next pass, for large letters and for a sound."""

    GOOD = "good"
    FASTER = "faster"
    SLOWER = "slower"
    TURN_DOWN = "turn down"
    TURN_UP = "turn up"
    TAKE_LESS = "take less off"
    LEAVE_MORE = "leave more"
    STOP = "stop"
    TOO_CLOSE = "too close to call"
    NOT_JUDGED = "not judged"


@dataclass(frozen=True, slots=True)
class Speed:
    """The spindle now; None while it stands or is not heard. `age_s`: how old that is."""

    time_s: float
    spindle_rpm: float | None
    age_s: float


@dataclass(frozen=True, slots=True)
class Level:
    """How loud it is. `faulty`: too loud or too quiet; `warning` says so in words now and then."""

    level_db: float
    peak: float
    faulty: bool
    warning: str | None


@dataclass(frozen=True, slots=True)
class Entered:
    """The bit is in the wood, or in it again in a pass that was thought over.

    `marks_s`: when to tick, seconds after entry; may be empty.
    """

    entry_s: float
    age_s: float
    aim_s: tuple[float, float] | None
    marks_s: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Dwelling:
    """The router stands still in the wood."""

    start_s: float


@dataclass(frozen=True, slots=True)
class PassTold:
    """A finished pass, judged.

    `told_s`: how long the take was by then. `again`: it was told before, and was heard
    better since. `aloud`: worth a sound.
    """

    number: int
    coached: CoachedPass
    cue: Cue
    told_s: float
    again: bool = False
    aloud: bool = True

    @property
    def reading(self) -> PassReading:
        return self.coached.reading

    @property
    def advice(self) -> Advice:
        return self.coached.advice


@dataclass(frozen=True, slots=True)
class PassWithdrawn:
    """There is no pass of this number after all; or not yet, for it `goes_on`."""

    number: int
    goes_on: bool = False

    @property
    def text(self) -> str:
        """What to say."""
        if self.goes_on:
            return f"Pass {self.number} was not over: it goes on."
        return f"What was told of pass {self.number} does not count."


@dataclass(frozen=True, slots=True)
class Hands:
    """From the fifth pass on: steadiness, trend, and what to change."""

    summary: TakeSummary


@dataclass(frozen=True, slots=True)
class Notice:
    """A sentence about the take itself: sound lost, recording stopped.

    `gap_s`: where silence stands for lost sound, seconds of the take.
    """

    text: str
    gap_s: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class Ended:
    """The take is over; `summary` is None where no pass was heard."""

    duration_s: float
    summary: TakeSummary | None


@dataclass(frozen=True, slots=True)
class DialSetting:
    """One setting of a dial, and the free speed measured there; None while it is not."""

    label: str
    spindle_rpm: float | None
    spindle_rpm_u95: float | None


@dataclass(frozen=True, slots=True)
class DialTold:
    """Where a calibration stands. `at`: the setting asked for, None when all are done."""

    settings: tuple[DialSetting, ...]
    at: int | None
    prompt: str


OfPasses = Entered | Dwelling | PassTold | PassWithdrawn | Hands
News = DialTold | Speed | Level | OfPasses | Notice | Ended
