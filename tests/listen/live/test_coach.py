from __future__ import annotations

import io
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from analysis.coaching.reading import CutSetup
from analysis.coaching.verdict import Verdict
from analysis.coaching.wording import Units
from analysis.hearing.events import PassEnded, PassesRevised, PassResumed
from listen.live.coach import Coach
from listen.live.intake import Piece
from listen.live.telling import as_object
from listen.live.terminal import Terminal
from listen.live.told import (
    Cue,
    Ended,
    Entered,
    Hands,
    Level,
    News,
    Notice,
    PassTold,
    PassWithdrawn,
    Speed,
)
from listen.setup import Bench
from tests.listen.live.stub_engine import RPM, StubEngine, cuts, scene

RATE_HZ = 48_000
BENCH = Bench(
    CutSetup(
        edge_length_mm=600,
        bit_diameter_mm=12.7,
        flutes=2,
        trim_allowance_mm=1.6,
        material="hardwood",
    ),
    Units.MM,
)


def coached(sound: np.ndarray, *, block: int = 2048, bench: Bench = BENCH) -> list[News]:
    coach = Coach(StubEngine(RATE_HZ), bench=bench, sample_rate_hz=RATE_HZ)
    news: list[News] = []
    for first in range(0, len(sound), block):
        news += coach.hear(Piece(sound[first : first + block]))
    return [*news, *coach.finish()]


def of(kind: type, news: list[News]) -> list[Any]:
    return [one for one in news if isinstance(one, kind)]


def test_three_passes_are_judged_as_a_stopwatch_would() -> None:
    """By hand: 604.2 mm of travel, h_max = 0.6643 f_z; 9 s gives 0.074 mm, in 0.05 to 0.15."""
    passes = of(PassTold, coached(cuts(9.0, 20.0, 3.0)))
    assert [told.cue for told in passes] == [Cue.GOOD, Cue.FASTER, Cue.SLOWER]
    assert [told.reading.verdict for told in passes] == [
        Verdict.IN_THE_BAND,
        Verdict.RUBBING,
        Verdict.OVERLOADING,
    ]
    assert [told.number for told in passes] == [1, 2, 3]
    assert passes[0].reading.chip_thickness_mm == pytest.approx(0.0743, rel=0.02)


def test_blocks_of_any_size_tell_the_same() -> None:
    sound = cuts(5.0, 6.0)
    one, other = (
        [
            as_object(replace(told, told_s=0.0), BENCH)
            for told in of(PassTold, coached(sound, block=block))
        ]
        for block in (777, 48_000)
    )
    assert one == other


def test_hands_are_told_from_the_fifth_pass_on() -> None:
    news = coached(cuts(3, 3.2, 3.1, 3.0, 3.1, 3.2))
    assert len(of(Hands, news)) == 2
    assert "from pass to pass" in of(Hands, news)[0].summary.steadiness


def test_an_entry_brings_the_aim_and_its_quarters() -> None:
    (entered,) = of(Entered, coached(cuts(4.0)))
    low_s, high_s = entered.aim_s
    middle_s = (low_s * high_s) ** 0.5
    assert entered.marks_s == pytest.approx([middle_s * k / 4 for k in (1, 2, 3, 4)])


def test_nothing_told_of_the_cut_is_no_aim_and_no_verdict() -> None:
    bench = Bench(
        CutSetup(
            edge_length_mm=None,
            bit_diameter_mm=None,
            flutes=None,
            trim_allowance_mm=None,
            material=None,
        ),
        Units.MM,
    )
    news = coached(cuts(4.0), bench=bench)
    assert of(Entered, news)[0].marks_s == ()
    assert of(PassTold, news)[0].cue is Cue.NOT_JUDGED


def test_a_pass_with_lost_sound_is_told_but_not_judged() -> None:
    coach = Coach(StubEngine(RATE_HZ), bench=BENCH, sample_rate_hz=RATE_HZ)
    news: list[News] = []
    news += coach.hear(Piece(scene((0.05, 1.0), (0.3, 3.0))))
    news += coach.hear(Piece(scene((0.3, 1.0)), missing_s=1.0))
    news += coach.hear(Piece(scene((0.3, 3.0), (0.05, 1.0))))
    (told,) = of(PassTold, news)
    assert told.reading.verdict is None
    assert "sound was lost" in told.advice.text
    assert "1.0 s of sound were lost" in of(Notice, news)[0].text


def test_a_pass_cut_off_by_the_end_is_told_at_the_end() -> None:
    news = coached(scene((0.05, 1.0), (0.3, 5.0)))
    (told,) = of(PassTold, news)
    assert told.cue is Cue.NOT_JUDGED
    (ended,) = of(Ended, news)
    assert ended.summary is not None
    assert ended.summary.passes_cut_off == 1


def test_a_take_taken_up_again_goes_on_counting() -> None:
    coach = Coach(
        StubEngine(RATE_HZ), bench=BENCH, sample_rate_hz=RATE_HZ, start_s=100.0, passes_before=4
    )
    (told,) = of(PassTold, list(coach.hear(Piece(cuts(4.0)))))
    assert told.number == 5
    assert told.reading.entry_s == pytest.approx(101.5, abs=0.05)


def test_too_loud_and_too_quiet_are_warned_of_once() -> None:
    loud = [level.warning for level in of(Level, coached(np.full(2 * RATE_HZ, 1.0, np.float32)))]
    quiet = [level.warning for level in of(Level, coached(np.zeros(9 * RATE_HZ, np.float32)))]
    assert [w for w in loud if w] == [
        "Too loud for the microphone: put it two or three metres away."
    ]
    assert len([w for w in quiet if w]) == 1


def test_a_router_that_is_not_switched_on_yet_is_no_fault_and_a_fault_that_is_over_none() -> None:
    levels = of(Level, coached(scene((0.0, 4.0), (0.05, 2.0), (0.0, 7.0), (0.05, 1.0))))
    warned = [number for number, level in enumerate(levels) if level.warning]
    assert len(warned) == 1
    assert not any(level.faulty for level in levels[: warned[0]])
    assert levels[-2].faulty is False


def test_the_speed_says_how_old_it_is() -> None:
    speeds = of(Speed, coached(scene((0.05, 2.0))))
    assert all(-1e-9 <= speed.age_s <= 0.1 for speed in speeds)
    assert speeds[0].spindle_rpm == RPM


def test_a_pass_that_goes_on_is_withdrawn_and_told_anew() -> None:
    """The engine may find that contact was only lost for a moment."""

    class Resuming(StubEngine):
        resumed = False

        def _cutting(self, loud: float) -> list[Any]:
            if self.passes and not self.resumed and loud > 0.2:
                self.resumed = True
                self._entry_s = self.passes.pop().entry_s
                return [PassResumed(self._entry_s)]
            return super()._cutting(loud)

    coach = Coach(Resuming(RATE_HZ), bench=BENCH, sample_rate_hz=RATE_HZ)
    news: list[News] = []
    sound = scene((0.05, 1.0), (0.3, 3.0), (0.05, 0.5), (0.3, 3.0), (0.05, 1.0))
    for first in range(0, len(sound), 2048):
        news += coach.hear(Piece(sound[first : first + 2048]))
    news += coach.finish()
    told = [one for one in news if isinstance(one, Entered | PassTold | PassWithdrawn)]
    assert [type(one) for one in told] == [Entered, PassTold, PassWithdrawn, Entered, PassTold]
    assert [one.number for one in told if not isinstance(one, Entered)] == [1, 1, 1]
    (withdrawn,) = of(PassWithdrawn, news)
    assert withdrawn.text == "Pass 1 was not over: it goes on."
    first, again = of(Entered, news)
    assert again.entry_s == first.entry_s
    assert first.marks_s
    assert again.marks_s == ()  # the pace has gone by
    (ended,) = of(Ended, news)
    assert ended.summary.passes_heard == 1


class Revising(StubEngine):
    """Finds, when the second pass has ended, that the first was two, then that it was one."""

    def _cutting(self, loud: float) -> list[Any]:
        news = super()._cutting(loud)
        if len(self.passes) == 2 and news and isinstance(news[0], PassEnded):
            first, second = self.passes
            middle_s = (first.entry_s + first.exit_s) / 2
            self.passes = [
                replace(first, exit_s=middle_s),
                replace(first, entry_s=middle_s + 0.1),
                second,
            ]
            news.append(PassesRevised(0.0, first.exit_s + 0.5, tuple(self.passes[:2])))
        return news


def test_what_is_heard_better_later_is_told_anew() -> None:
    coach = Coach(Revising(RATE_HZ), bench=BENCH, sample_rate_hz=RATE_HZ)
    passes = of(PassTold, list(coach.hear(Piece(cuts(18.0, 9.0)))))
    assert [(one.number, one.again) for one in passes] == [
        (1, False), (2, False), (1, True), (2, True), (3, False)
    ]  # fmt: skip
    assert [one.cue for one in passes[-3:]] == [Cue.GOOD, Cue.GOOD, Cue.GOOD]
    assert passes[2].reading.time_s == pytest.approx(9.0, abs=0.1)
    # The last pass is the one that was cut last: nothing new is to be heard of it.
    assert [one.aloud for one in passes] == [True, True, False, False, True]


def test_the_end_tells_what_the_review_hears_otherwise() -> None:
    class Merging(StubEngine):
        def finish(self) -> Any:
            first, second = self.passes
            self.passes = [replace(first, exit_s=second.exit_s)]
            return super().finish()

    coach = Coach(Merging(RATE_HZ), bench=BENCH, sample_rate_hz=RATE_HZ)
    list(coach.hear(Piece(cuts(4.0, 4.0))))
    again, withdrawn, ended = coach.finish()
    assert isinstance(again, PassTold)
    assert again.reading.time_s == pytest.approx(9.5, abs=0.1)
    assert again.again
    assert not again.aloud
    assert withdrawn == PassWithdrawn(2)
    assert isinstance(ended, Ended)
    assert ended.summary is not None
    assert ended.summary.passes_heard == 1


def test_the_counts_of_the_summary_are_those_of_all_passes() -> None:
    """A pass that the end of the take cut off is heard, and not judged."""
    sound = cuts(9.0, 9.0)
    news = coached(sound[: len(sound) - round(3.0 * RATE_HZ)])
    (ended,) = of(Ended, news)
    told = as_object(ended, BENCH)["summary"]
    counts = ("good", "rubbing", "overloading", "unsure", "not_judged")
    assert told["passes"] == sum(told[name] for name in counts) == 2
    assert told["not_judged"] == 1
    out = io.StringIO()
    Terminal(out, BENCH).show(ended)
    assert "0 too close to call, 1 not judged." in out.getvalue()
