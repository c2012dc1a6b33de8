from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.hearing.chips import ENTRY_U95_S, EXIT_U95_S, SPAN_END_U95_S
from analysis.hearing.parting import SHORTEST_PASS_S
from analysis.hearing.passes import HeardPass, Span, _at_one_setting, find_passes
from analysis.hearing.spindle import UNSEEN
from analysis.hearing.touching import hear_contact
from analysis.hearing.trace import Contact
from tests.analysis.hearing.traces import CUT_HZ, IDLE_HZ, STEP_S, Cut, frame, trace

# Evidence is weighed frame by frame: an end may be told a frame off, and lies within
# half a frame of the truth where it is told right.
WITHIN_S = 1.5 * STEP_S


def passes_of(cuts: list[Cut], *, seconds: float, **rest: object) -> tuple[HeardPass, ...]:
    made = trace(cuts, seconds=seconds, **rest)  # type: ignore[arg-type]
    return find_passes(made, hear_contact(made))


@given(
    shift_s=st.floats(0, 1),
    first_s=st.floats(1.5, 6),
    second_s=st.floats(1.5, 6),
    between_s=st.floats(4.2, 6),
)
@settings(max_examples=20, deadline=None)
def test_two_passes_are_heard_where_they_were(
    shift_s: float, first_s: float, second_s: float, between_s: float
) -> None:
    one = Cut(3 + shift_s, 3 + shift_s + first_s)
    two = Cut(one.end_s + between_s, one.end_s + between_s + second_s)
    told = passes_of([one, two], seconds=two.end_s + 4)
    assert len(told) == 2
    for heard, cut in zip(told, (one, two), strict=True):
        assert heard.entry_s == pytest.approx(cut.start_s, abs=WITHIN_S)
        assert heard.exit_s == pytest.approx(cut.end_s, abs=WITHIN_S)
        assert heard.complete
        assert heard.dwells == heard.liftoffs == ()


def test_speed_and_sag_are_of_the_cut() -> None:
    (heard,) = passes_of([Cut(4, 9)], seconds=13)
    # A frame told wrong at either end takes 1 / 215 of the way to the idle speed.
    assert heard.spindle_rpm == pytest.approx(60 * CUT_HZ, rel=2 / 215 * 0.03)
    assert heard.sag_percent == pytest.approx(100 * (1 - CUT_HZ / IDLE_HZ), abs=0.03)
    read = 1.96 * 60 * 0.03
    unseen = UNSEEN * 60 * CUT_HZ
    assert np.hypot(read, unseen) <= heard.spindle_rpm_u95 < 1.5 * np.hypot(read, unseen)


def test_without_running_free_nearby_there_is_no_sag() -> None:
    made = trace([Cut(0, 12)], seconds=12)
    contact = Contact(np.ones(len(made.lead), bool), np.ones(len(made.lead)))
    (heard,) = find_passes(made, contact)
    assert heard.sag_percent is None
    assert not heard.complete


@pytest.mark.parametrize(
    ("cut", "seconds", "complete"),
    [
        (Cut(0, 5), 9.0, False),  # the take began in it
        (Cut(4, 9), 9.0, False),  # or ended in it
        (Cut(3, 6), 9.0, True),
    ],
)
def test_a_pass_cut_off_by_the_take_says_so(cut: Cut, seconds: float, complete: bool) -> None:
    other = Cut(cut.end_s + 6, cut.end_s + 10) if cut.start_s == 0 else Cut(-1, -0.5)
    lead = 0.0 if cut.start_s == 0 else 8.0  # another, whole pass teaches what a cut is
    cuts = [Cut(cut.start_s + lead, cut.end_s + lead)]
    cuts.append(other if lead == 0 else Cut(1.5, 5.5))
    end_s = seconds + lead if lead else other.end_s + 3
    told = passes_of(cuts, seconds=end_s)
    assert len(told) == 2
    asked = told[0] if lead == 0 else told[-1]
    assert asked.complete is complete
    assert (told[-1] if lead == 0 else told[0]).complete


def test_a_lift_off_is_inside_its_pass_and_not_in_its_moving_time() -> None:
    (heard,) = passes_of([Cut(6, 9), Cut(9.4, 12)], seconds=18)
    assert heard.time_s == pytest.approx(6.0, abs=2 * WITHIN_S)
    (lift,) = heard.liftoffs
    assert lift.start_s == pytest.approx(9.0, abs=WITHIN_S)
    assert lift.end_s == pytest.approx(9.4, abs=WITHIN_S)
    assert heard.dwells == ()
    assert heard.moving_time_s == pytest.approx(5.6, abs=4 * WITHIN_S)
    assert heard.spindle_rpm == pytest.approx(60 * CUT_HZ, rel=1e-3)


def test_standing_still_is_told_by_its_rub() -> None:
    (heard,) = passes_of([Cut(8, 11), Cut(11.6, 14)], seconds=22, rubs=[Cut(11, 11.6)])
    (dwell,) = heard.dwells
    assert dwell.start_s == pytest.approx(11.0, abs=WITHIN_S)
    assert dwell.length_s == pytest.approx(0.6, abs=2 * WITHIN_S)
    assert heard.liftoffs == ()


@pytest.mark.parametrize(("between_s", "passes"), [(0.5, 1), (1.0, 1), (1.9, 2), (5.0, 2)])
def test_the_way_back_parts_two_passes(between_s: float, passes: int) -> None:
    told = passes_of([Cut(8, 11), Cut(11 + between_s, 15 + between_s)], seconds=30)
    assert len(told) == passes


def test_where_it_may_be_two_passes_the_interval_says_so() -> None:
    # A silent second between three and four seconds of cut: a rest, or a very quick way back.
    (doubtful,) = passes_of([Cut(8, 11), Cut(12, 16)], seconds=30)
    (sure,) = passes_of([Cut(8, 11), Cut(11.5, 15.5)], seconds=30)
    assert doubtful.moving_time_u95_s == pytest.approx(3.0, abs=0.1)  # the shorter part
    assert sure.moving_time_u95_s < 0.5


def test_a_long_dwell_that_rubs_is_still_one_pass() -> None:
    told = passes_of([Cut(14, 17), Cut(19.5, 22)], seconds=34, rubs=[Cut(17, 19.5)])
    assert len(told) == 1
    assert told[0].dwells[0].length_s == pytest.approx(2.5, abs=2 * WITHIN_S)


def test_a_dip_that_never_gets_near_running_free_is_no_break() -> None:
    made = trace([Cut(4, 9)], seconds=14)
    dip = slice(frame(6), frame(6.25))
    whole = hear_contact(made)
    mask, evidence = whole.mask.copy(), whole.evidence.copy()
    mask[dip] = False
    cut = float(np.median(evidence[whole.mask]))
    free = float(np.median(evidence[~whole.mask]))
    bands = made.bands.copy()
    bands[dip] = made.bands[: dip.stop - dip.start]  # no hiss, as before the pass
    for share, taken, breaks in ((0.3, made, 0), (0.8, replace(made, bands=bands), 1)):
        evidence[dip] = cut + share * (free - cut)  # so far on the way to running free
        (heard,) = find_passes(taken, Contact(mask, evidence))
        assert len(heard.dwells + heard.liftoffs) == breaks


@pytest.mark.parametrize(("length_s", "passes"), [(0.5, 0), (0.75, 1)])
def test_a_touch_is_no_pass(length_s: float, passes: int) -> None:
    assert 0.5 < SHORTEST_PASS_S < 0.75
    made = trace([Cut(4, 4 + length_s)], seconds=14)
    mask = np.zeros(len(made.lead), bool)
    mask[frame(4) : frame(4 + length_s)] = True
    assert len(find_passes(made, Contact(mask, np.where(mask, 5.0, -5.0)))) == passes


def test_where_the_router_is_off_nothing_cuts() -> None:
    made = trace([Cut(6, 10)], seconds=20, off=[Cut(0, 2), Cut(16, 20)])
    loud = made.bands.copy()
    loud[: frame(1)] += 6.0  # somebody hammers before it is switched on
    made = replace(made, bands=loud)
    told = find_passes(made, hear_contact(made))
    assert [round(heard.entry_s) for heard in told] == [6]
    assert not made.steady[: frame(2.3)].any()


def test_contact_without_a_running_router_is_no_pass() -> None:
    # Another section's router, or someone sawing: what sounds like a cut while nothing turns.
    made = trace([Cut(3, 6), Cut(9, 12)], seconds=15, off=[Cut(8, 15)])
    mask = np.zeros(len(made.lead), bool)
    mask[frame(3) : frame(6)] = mask[frame(9) : frame(12)] = True
    told = find_passes(made, Contact(mask, np.where(mask, 4.0, -4.0)))
    assert len(told) == 1
    assert told[0].spindle_rpm == pytest.approx(60 * CUT_HZ, rel=1e-3)


def test_running_free_only_has_no_passes() -> None:
    assert passes_of([], seconds=12) == ()


def test_steady_leaves_out_what_lies_within_a_third_of_a_second_of_a_change() -> None:
    made = trace([], seconds=10, off=[Cut(0, 3)])
    ramp = made.rotation_hz.copy()
    ramp[frame(6) : frame(7)] = np.linspace(300, 200, frame(7) - frame(6))
    ramp[frame(7) :] = 200.0
    steady = replace(made, rotation_hz=ramp).steady
    wide = round(0.35 / STEP_S)
    assert not steady[: frame(3) + wide].any()
    assert steady[frame(3) + wide : frame(6) - wide].all()
    assert not steady[frame(6.2) : frame(6.8)].any()
    assert steady[frame(7) + wide : -wide].all()


def heard_pass(dwells: tuple[Span, ...] = (), liftoffs: tuple[Span, ...] = ()) -> HeardPass:
    return HeardPass(
        entry_s=2.0, exit_s=12.0, time_u95_s=0.1, moving_time_u95_s=0.1, spindle_rpm=18_000.0,
        spindle_rpm_u95=9.0, sag_percent=None, dwells=dwells, liftoffs=liftoffs, evenness=1.0,
        complete=True,
    )  # fmt: skip


def test_the_stopwatch_and_the_moving_time() -> None:
    heard = heard_pass((Span(3, 4), Span(5, 5.5)), (Span(8, 8.25),))
    assert heard.time_s == 10.0
    assert heard.moving_time_s == 10 - 1 - 0.5 - 0.25
    assert heard_pass().moving_time_s == 10.0


def test_intervals_add_their_independent_ends_in_squares() -> None:
    (plain,) = passes_of([Cut(4, 9)], seconds=13)
    assert plain.time_u95_s > np.hypot(ENTRY_U95_S[0], EXIT_U95_S[0])
    assert plain.moving_time_u95_s == pytest.approx(plain.time_u95_s)
    (broken,) = passes_of([Cut(6, 9), Cut(9.4, 12)], seconds=18)
    of_spans = (broken.moving_time_u95_s**2 - broken.time_u95_s**2) / 2
    assert of_spans > SPAN_END_U95_S[0] ** 2


def test_the_less_the_bands_part_the_two_the_wider_the_interval() -> None:
    (plain,) = passes_of([Cut(4, 9)], seconds=13)
    (faint,) = passes_of([Cut(4, 9)], seconds=13, louder=0.5)
    assert faint.time_u95_s > 1.2 * plain.time_u95_s


@pytest.mark.parametrize(("swing", "least", "most"), [(0.0, 0.95, 1.0), (0.6, 0.55, 0.62)])
def test_evenness_falls_with_the_swing_of_the_load(swing: float, least: float, most: float) -> None:
    made = trace([Cut(4, 10)], seconds=14)
    mask = np.zeros(len(made.lead), bool)
    mask[frame(4) : frame(10)] = True
    # Chips' power goes with the load squared, over running free's: test_load says why.
    load = mask * (1 + swing * np.sin(2 * np.pi * 0.5 * np.arange(len(mask)) * STEP_S))
    bands = np.tile(np.log(1 + 20 * load**2)[:, None] - 6, made.bands.shape[1])
    made = replace(made, bands=bands.astype(np.float32))
    (heard,) = find_passes(made, Contact(mask, np.where(mask, 20.0, -20.0)))
    # A sine of that swing has a deviation of swing / sqrt 2: 0.42, smoothed to 0.41.
    assert least <= heard.evenness <= most


@pytest.mark.parametrize(
    ("free_rpm", "cut_rpm", "left_alone"),
    [
        ([18_000, 18_400, 18_500, 18_500, 18_500], (18_000, 18_000), True),  # won back
        ([18_500, 18_500, 17_000, 15_500, 15_500], (18_000, 15_000), False),  # turned down
        ([18_500, 18_500, 18_600, 20_000, 20_500], (18_000, 20_000), False),  # turned up
        ([16_500, 18_500, 18_500, 17_500, 16_500], (16_300, 16_200), True),  # it bites again
        ([16_500, 18_500, 18_500, 12_000, 16_500], (16_300, 16_200), False),  # off and on
    ],
)
def test_a_dial_that_is_turned_shows_in_the_speed(
    free_rpm: list[float], cut_rpm: tuple[float, float], left_alone: bool
) -> None:
    first, end = frame(3), frame(5.6)
    made = trace([Cut(0, 3), Cut(5.6, 9)], seconds=9)
    free = np.interp(np.linspace(0, 4, end - first), range(5), free_rpm)
    rpm = np.concatenate([[cut_rpm[0]] * first, free, [cut_rpm[1]] * (len(made.lead) - end)])
    assert _at_one_setting(replace(made, rotation_hz=rpm / 60), first, end) is left_alone
    rpm[first + 50 : end] = np.nan
    assert not _at_one_setting(replace(made, rotation_hz=rpm / 60), first, end)


def test_no_pass_goes_on_where_the_router_is_off() -> None:
    # As it runs down it sounds much like the cut, but for the level.
    made = trace([Cut(4, 9), Cut(18, 23)], seconds=27, off=[Cut(11, 16)])
    bands = made.bands.copy()
    bands[frame(9.5) : frame(16)] = made.bands[frame(4) : frame(4) + frame(16) - frame(9.5)]
    evidence = np.full(len(bands), 20.0)
    evidence[: frame(3)] = evidence[frame(24) :] = -20.0
    mask = np.zeros(len(bands), bool)
    mask[frame(4) : frame(9)] = mask[frame(18) : frame(23)] = True
    heard = find_passes(replace(made, bands=bands), Contact(mask, evidence))
    ends = [(heard_pass.entry_s, heard_pass.exit_s) for heard_pass in heard]
    assert np.array(ends) == pytest.approx(np.array([(4, 9), (18, 23)]), abs=0.2)
