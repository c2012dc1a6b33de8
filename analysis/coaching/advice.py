"""One line of advice for the next pass, as data and in words."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import Enum

from analysis.coaching.reading import CutSetup, PassReading, travel, working_band
from analysis.coaching.verdict import Verdict
from analysis.coaching.wording import (
    Units,
    round_inwards,
    say_length,
    say_range_s,
    say_seconds,
    say_speed,
)
from analysis.cutting.bands import Band
from analysis.cutting.pace import BURIED, DIAL_STEP_RPM, TRIMMING, EasyFeeds, aim_feed, easy_speed

_HURRIED_RPM = 26_000.0
_ROUGHLY = 0.3  # of the chip load: what the ends of a pass leave in doubt is far less


class Step(Enum):
    """What to do next."""

    KEEP = "keep"
    PACE = "change the pace"
    TURN_DOWN = "turn the speed down"
    TURN_UP = "turn the speed up"
    TAKE_LESS = "take less off"
    LEAVE_MORE = "leave more to take off"
    OBEY_MARKING = "turn down below the bit's marked maximum"
    TELL_MORE = "tell more about the cut"


@dataclass(frozen=True, slots=True)
class Advice:
    """The next step. Times are for the whole edge without stopping; None where none is meant."""

    step: Step
    aim_low_s: float | None
    aim_high_s: float | None
    turn_to_rpm: float | None
    text: str


def advise(reading: PassReading, setup: CutSetup, units: Units) -> Advice:
    """What to do differently on the next pass.

    A change of pace comes first where a hand can hold it; where rubbing would ask for a
    hurried feed, or the spindle runs above 26,000 rpm, turning down does. No speed above the
    bit's marked maximum or outside the router's range is ever advised.
    """
    advice = _core_advice(reading, setup)
    asides = _asides(reading, units)
    if not asides:
        return advice
    return Advice(
        step=advice.step,
        aim_low_s=advice.aim_low_s,
        aim_high_s=advice.aim_high_s,
        turn_to_rpm=advice.turn_to_rpm,
        text=" ".join((advice.text, *asides)),
    )


def _core_advice(reading: PassReading, setup: CutSetup) -> Advice:
    if setup.bit_max_rpm is not None and reading.spindle_rpm > setup.bit_max_rpm:
        return Advice(
            step=Step.OBEY_MARKING,
            aim_low_s=None,
            aim_high_s=None,
            turn_to_rpm=setup.bit_max_rpm,
            text=f"Stop: {reading.spindle_rpm:,.0f} rpm is above the bit's marked maximum of "
            f"{setup.bit_max_rpm:,.0f}. Turn down before anything else.",
        )
    if reading.verdict is None:
        return Advice(
            step=Step.TELL_MORE,
            aim_low_s=None,
            aim_high_s=None,
            turn_to_rpm=None,
            text=f"Not judged: {reading.not_judged_because}.",
        )
    band = working_band(setup)
    thinning, flutes = setup.thinning, setup.flutes
    if band is None or thinning is None or flutes is None:
        raise AssertionError("a judged pass has a band and a bit")
    case = _Case(reading, setup, band, thinning, flutes)
    if reading.verdict is Verdict.RUBBING:
        return case.rubbing()
    if reading.verdict is Verdict.OVERLOADING:
        return case.overloading()
    if reading.verdict is Verdict.IN_THE_BAND:
        return case.in_the_band()
    return case.unsure()


@dataclass(frozen=True, slots=True)
class _Case:
    """A judged pass with everything that the advice looks at."""

    reading: PassReading
    setup: CutSetup
    band: Band
    thinning: float
    flutes: int

    def aim_s(self, spindle_rpm: float) -> tuple[float, float] | None:
        """Pass time to aim at, s, rounded; None where no hand can hold it."""
        aim = aim_feed(
            band=self.band, thinning=self.thinning, spindle_rpm=spindle_rpm, flutes=self.flutes
        )
        trip = travel(self.setup)
        if aim is None or trip is None:
            return None
        return round_inwards(trip[0] / aim.high_mm_s, trip[0] / aim.low_mm_s)

    @property
    def roughly_timed(self) -> bool:
        """Whether so much time is in doubt that it must be a break's or another pass's."""
        load_mm, u95_mm = self.reading.chip_load_mm, self.reading.chip_load_u95_mm
        return load_mm is not None and u95_mm is not None and u95_mm > _ROUGHLY * load_mm

    @property
    def hand(self) -> EasyFeeds:
        return BURIED if self.setup.buried else TRIMMING

    def easy_rpm(self) -> float:
        return easy_speed(
            band=self.band,
            thinning=self.thinning,
            flutes=self.flutes,
            hand=self.hand,
            bit_max_rpm=self.setup.bit_max_rpm,
            plate_range_rpm=self.setup.plate_range_rpm,
        )

    def took(self) -> str:
        return f"you took {say_seconds(self.reading.moving_time_s)}" + (
            " on the move" if self.reading.dwells or self.reading.liftoffs else ""
        )

    def paced(self, opening: str, aim_s: tuple[float, float]) -> Advice:
        return Advice(
            step=Step.PACE,
            aim_low_s=aim_s[0],
            aim_high_s=aim_s[1],
            turn_to_rpm=None,
            text=f"{opening}: aim for {say_range_s(*aim_s)}, {self.took()}.",
        )

    def turned(self, step: Step, opening: str, to_rpm: float) -> Advice:
        aim_s = self.aim_s(to_rpm)
        pace = f", then aim for {say_range_s(*aim_s)} ({self.took()})" if aim_s else ""
        return Advice(
            step=step,
            aim_low_s=aim_s[0] if aim_s else None,
            aim_high_s=aim_s[1] if aim_s else None,
            turn_to_rpm=to_rpm,
            text=f"{opening} to about {say_speed(to_rpm)}{self.on_the_dial(to_rpm)}{pace}.",
        )

    def on_the_dial(self, spindle_rpm: float) -> str:
        """Where a calibrated dial gives a speed, in brackets; nothing if that is not known."""
        dial = self.setup.dial
        found = dial.setting_for(spindle_rpm) if dial is not None else None
        return f" (dial at {found.setting.label})" if found is not None else ""

    def rubbing(self) -> Advice:
        rpm = self.reading.spindle_rpm
        aim_s = self.aim_s(rpm)
        aim = aim_feed(band=self.band, thinning=self.thinning, spindle_rpm=rpm, flutes=self.flutes)
        lower_rpm = self.easy_rpm()
        can_turn_down = lower_rpm <= rpm - 2 * DIAL_STEP_RPM
        hurried = aim is None or aim.low_mm_s > self.hand.brisk_mm_s or rpm > _HURRIED_RPM
        if hurried and can_turn_down and self.aim_s(lower_rpm):
            return self.turned(Step.TURN_DOWN, "Rubbing: turn down first,", lower_rpm)
        if aim_s is not None:
            return self.paced("Rubbing, so feed faster", aim_s)
        return Advice(
            step=Step.LEAVE_MORE,
            aim_low_s=None,
            aim_high_s=None,
            turn_to_rpm=None,
            text="Rubbing, and no hand can feed fast enough at this allowance and speed: leave "
            "a little more to trim, or use a bit with fewer flutes.",
        )

    def overloading(self) -> Advice:
        rpm = self.reading.spindle_rpm
        aim_s = self.aim_s(rpm)
        if aim_s is not None:
            return self.paced("Overloading, so ease off", aim_s)
        higher_rpm = self.easy_rpm()
        if higher_rpm >= rpm + 2 * DIAL_STEP_RPM and self.aim_s(higher_rpm):
            return self.turned(Step.TURN_UP, "Overloading: turn up", higher_rpm)
        return Advice(
            step=Step.TAKE_LESS,
            aim_low_s=None,
            aim_high_s=None,
            turn_to_rpm=None,
            text="Overloading, and feeding slowly enough is not steady by hand: take less off "
            "in one pass.",
        )

    def in_the_band(self) -> Advice:
        aim_s = self.aim_s(self.reading.spindle_rpm)
        if aim_s is None:
            return Advice(
                Step.KEEP, None, None, None, f"In the band: keep this pace, {self.took()}."
            )
        took_s = self.reading.moving_time_s
        if aim_s[0] <= took_s <= aim_s[1]:
            advice = f"In the band: keep this pace ({say_range_s(*aim_s)} will do)."
        else:
            way = "a little faster" if took_s > aim_s[1] else "a little slower"
            advice = (
                f"In the band, near its edge: {way} would be safer, "
                f"{say_range_s(*aim_s)}; {self.took()}."
            )
        return Advice(Step.KEEP, *aim_s, None, advice)

    def unsure(self) -> Advice:
        odds = self.reading.odds
        rubbing_side = odds is None or odds.below >= odds.above
        between = "rubbing" if rubbing_side else "overloading"
        opening = (
            "Hard to time, a break in it or beside it may be a stop or the way back"
            if self.roughly_timed
            else f"Too close to call between {between} and in the band"
        )
        aim_s = self.aim_s(self.reading.spindle_rpm)
        if aim_s is not None:
            return self.paced(opening, aim_s)
        advice = self.rubbing() if rubbing_side else self.overloading()
        return replace(advice, text=f"Perhaps {advice.text[0].lower()}{advice.text[1:]}")


def _asides(reading: PassReading, units: Units) -> tuple[str, ...]:
    """Where the router stood still or lost contact."""
    asides = []
    for spans, places_mm, once, more in (
        (
            reading.dwells,
            reading.dwell_positions_mm,
            "You stopped for {time}{place}: burn risk.",
            "You stopped {n} times, longest {time}{place}: burn risk.",
        ),
        (
            reading.liftoffs,
            reading.liftoff_positions_mm,
            "Contact was lost for {time}{place}.",
            "Contact was lost {n} times, longest {time}{place}.",
        ),
    ):
        if spans:
            longest = max(range(len(spans)), key=lambda i: spans[i].length_s)
            place = f" at about {say_length(places_mm[longest], units)}" if places_mm else ""
            asides.append(
                (once if len(spans) == 1 else more).format(
                    n=len(spans), time=say_seconds(spans[longest].length_s), place=place
                )
            )
    return tuple(asides)
