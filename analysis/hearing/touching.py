"""When is the bit in the wood? The likeliest of several ways to part a take in two."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np
import numpy.typing as npt
from scipy.ndimage import uniform_filter1d

from analysis.hearing.answer import spindle_answer
from analysis.hearing.contact import (
    STATE_S,
    TwoStates,
    bimodal_guesses,
    part_states,
    share_at_ends,
    slower_in_second,
)
from analysis.hearing.gaps import NEVER_BACK_S
from analysis.hearing.parting import USUAL_PASS_S
from analysis.hearing.search import spans
from analysis.hearing.settings import between_turns
from analysis.hearing.trace import Contact, Features, Trace, chosen

Mask = npt.NDArray[np.bool_]

LEAST_FREE_S = 0.4
CUT_APART = 3.3  # deviations along the discriminant: noise alone comes to 3, most cuts to 6 or more
LEAST_SPREAD = 0.1  # nepers within a state: steadier than that is luck
LEAST_LIKENESS = 1.7  # nats: most takes with a cut come to 4 and more
PLAINLY, PLAINLY_APART = 6.8, 6.0  # no need to look further
PLAIN_ALONE = 4.0  # nats: the cut at one setting of the dial
MOST_SLOWER, MOST_FASTER = 0.3, 0.015  # ln; beyond these the two are no one router's
NEAR_USUAL = 0.1  # ln speed
NOT_ONE = 6.0  # nats against that
UNSURE = 2.0  # nats against what could not be believed
# Nats for each deviation by which the spindle answers, and most deviations.
ANSWER_WORTH, MOST_ANSWER = 0.15, 12.0
# From the first so many on, states are credible that by sound alone might be chance: they need be
# less far apart, and from the second on no farther than that.
ANSWERED, SURELY_ANSWERED, ANSWERED_APART = 2.0, 6.0, 2.0
PASS_SPREAD, MOST_ODD = 0.9, 3.0  # of ln seconds, from job to job; nats
USUAL_REST_S, MOST_REST = 15.0, 1.5  # of running free in one piece; nats for longer ones
ENDS_S = 0.5  # at either end of a run, out of the wood
SPIN_UP_S = 1.5
SOON_S = 0.6
MEETING_S = 1.5  # to either side of where free and cut meet
JUMP, SAME_SETTING = 0.06, 0.12  # ln speed, from frame to frame and from stretch to stretch


def hear_contact(trace: Trace) -> Contact:
    """Which frames are in the wood, from the likeliest of several first guesses.

    The first guess may have taken a knot or a turn of the dial for the cut.
    """
    best, most = _likeliest_states(trace)
    by_setting = _contact_by_setting(trace, apart=best.apart)
    if by_setting is not None:
        return by_setting
    if most < LEAST_LIKENESS:
        return Contact(np.zeros(len(trace.lead), bool), best.evidence)
    return _as_contact(trace, best)


def _contact_by_setting(trace: Trace, *, apart: float) -> Contact | None:
    """Contact at each setting of the dial alone, if at each it is plain, and plainer than so.

    At another speed it all sounds otherwise, which blurs the two states of the whole.
    """
    settings = between_turns(trace)
    if len(settings) == 1:
        return None
    contacts = []
    for setting in settings:
        part = chosen(trace, setting)
        states, likeness = _likeliest_states(part)
        if likeness <= PLAIN_ALONE or states.apart <= apart:
            return None
        contacts.append(_as_contact(part, states))
    return Contact(
        np.concatenate([contact.mask for contact in contacts]),
        np.concatenate([contact.evidence for contact in contacts]),
    )


def _likeliest_states(trace: Trace) -> tuple[TwoStates, float]:
    settled, features = _settled(trace), trace.features()
    return _likeliest(trace, features, settled, _guesses(trace, features, settled))


def _likeliest(
    trace: Trace, features: Features, settled: Mask, guesses: Iterable[Mask]
) -> tuple[TwoStates, float]:
    """The two states most like running free and cutting, and how much so."""
    nothing = np.zeros(len(trace.lead), bool)
    best, most = TwoStates(nothing, np.full(len(nothing), -1.0), 0.0), -np.inf
    for number, guess in enumerate(guesses):
        states = _parted(trace, features, settled, guess)
        for named in (states, _turned_round(states, trace.running)):
            likeness = _likeness(trace, named, settled)
            if likeness > most:
                best, most = named, likeness
        if number and most > PLAINLY and best.apart > PLAINLY_APART:
            break
    return best, most


def _slower(trace: Trace, one: Mask, two: Mask) -> float:
    """By how much, ln, the speed is less in the second of two sets of frames."""
    return slower_in_second(trace.log_hz, one=one, two=two, near=round(MEETING_S / trace.step_s))


def contact_as_guessed(trace: Trace, *, known_hz: tuple[float, ...] = ()) -> Contact:
    """Which frames are in the wood, trusting the trace's first guess.

    `known_hz` are speeds at which this router is known to have run, free or in the cut: some
    lose more by cutting than two settings of a dial lie apart.
    """
    settled = _settled(trace, known_hz)
    return _as_contact(trace, _parted(trace, trace.features(), settled, trace.cutting))


def _parted(trace: Trace, features: Features, settled: Mask, guess: Mask) -> TwoStates:
    return part_states(
        features,
        running=trace.running,
        settled=settled,
        step_s=trace.step_s,
        guess=guess,
        least_spread=LEAST_SPREAD,
    )


def _turned_round(states: TwoStates, running: Mask) -> TwoStates:
    return TwoStates(running & ~states.second, -states.evidence, states.apart)


def _as_contact(trace: Trace, states: TwoStates) -> Contact:
    free = trace.running & ~states.second
    answer = spindle_answer(trace.rotation_hz, states.second, step_s=trace.step_s)
    credible = states.apart >= _credible_apart(answer)
    if np.count_nonzero(free) * trace.step_s < LEAST_FREE_S or not credible:
        # A sound that never changes, or only by chance, is running free.
        return Contact(np.zeros(len(trace.running), bool), states.evidence)
    return Contact(states.second & ~_at_a_runs_ends(trace, states.second), states.evidence)


def _settled(trace: Trace, known_hz: tuple[float, ...] = ()) -> Mask:
    """Frames to learn from: steady, in unbroken stretches at the longest one's speed or a known.

    Before a router is switched on another machine may have been taken for it.
    """
    running = trace.running
    settled = running & (trace.steady if trace.steady.any() else running)
    log_hz = trace.log_hz
    unbroken = running.copy()
    unbroken[1:] &= np.abs(np.diff(log_hz)) < JUMP
    stretches = spans(unbroken)
    if not stretches:
        return settled
    first, end = max(stretches, key=lambda stretch: stretch[1] - stretch[0])
    usual = np.array([np.median(log_hz[first:end]), *np.log(known_hz)])
    alike = np.zeros(len(running), bool)
    for first, end in stretches:
        alike[first:end] = np.abs(np.median(log_hz[first:end]) - usual).min() < SAME_SETTING
    return settled & alike


def _guesses(trace: Trace, features: Features, settled: Mask) -> Iterator[Mask]:
    yield trace.cutting
    lead = uniform_filter1d(trace.clipped_lead, max(1, round(STATE_S / trace.step_s)))
    yield trace.running & (lead > 0)
    yield from bimodal_guesses(features, settled=settled, step_s=trace.step_s)


def _likeness(trace: Trace, states: TwoStates, settled: Mask) -> float:
    """How much the first of two states is like running free and the second like a cut, nats."""
    one, two = settled & ~states.second, settled & states.second
    if min(one.sum(), two.sum()) * trace.step_s < LEAST_FREE_S:
        return -np.inf

    def rise(values: npt.NDArray[np.floating]) -> float:
        return float(values[two].mean() - values[one].mean())

    slower = _slower(trace, one, two)
    answer = spindle_answer(trace.rotation_hz, states.second, step_s=trace.step_s)
    # Voices that were named the wrong way round don't contradict a spindle that surely answers.
    surely = answer > SURELY_ANSWERED
    signs = (
        0.5 * np.clip(slower / 0.003, -2, 2)
        + 0.25 * np.clip(rise(trace.teeth) * trace.teeth.shape[1] / 3, 0 if surely else -2, 2)
        + np.clip(rise(trace.bands), -2, 2)
        + np.clip(rise(trace.clipped_lead) / 10, 0 if surely else -2, 2)
        + 1
        - 2 * share_at_ends(states.second, settled, count=round(ENDS_S / trace.step_s))
        - odd_length_cost(states.second, step_s=trace.step_s)
        - long_free_cost(trace.running & ~states.second, step_s=trace.step_s)
    )
    if not -MOST_FASTER < slower < MOST_SLOWER:
        signs -= NOT_ONE
    signs += ANSWER_WORTH * np.clip(answer, -MOST_ANSWER, MOST_ANSWER)
    if states.apart < _credible_apart(answer):
        signs -= UNSURE
    return 0.75 * float(np.log(max(states.apart, 1e-3))) + float(signs)


def _credible_apart(answer: float) -> float:
    """Deviations by which two states must lie apart: the fewer, the more the spindle answers."""
    return float(np.interp(answer, [ANSWERED, SURELY_ANSWERED], [CUT_APART, ANSWERED_APART]))


def odd_length_cost(second: Mask, *, step_s: float) -> float:
    """What it costs, in nats, that cuts last so long: knots are too short, a vacuum too long.

    The length is that of the cut that most of the second state belongs to.
    """
    lengths_s: list[float] = []
    until = -np.inf
    for first, end in spans(second):
        if (first - until) * step_s < NEVER_BACK_S:
            lengths_s[-1] += (end - first) * step_s
        else:
            lengths_s.append((end - first) * step_s)
        until = end
    if not lengths_s:
        return 0.0
    usual_s = float(np.sum(np.square(lengths_s)) / np.sum(lengths_s))
    return float(min(MOST_ODD, (np.log(usual_s / USUAL_PASS_S) / PASS_SPREAD) ** 2 / 2))


def long_free_cost(free: Mask, *, step_s: float) -> float:
    """What it costs, in nats, that a router runs on so long and nobody cuts.

    Where the dial is turned, the cut at one setting may else be told from all the rest.
    """
    longest_s = step_s * max((end - first for first, end in spans(free)), default=0)
    return float(np.clip(np.log(max(longest_s, 1e-3) / USUAL_REST_S), 0, MOST_REST))


def _at_a_runs_ends(trace: Trace, contact: Mask) -> Mask:
    """Contact with which a run begins or ends: nobody switches in the wood, but switching roars."""
    doubtful = _spinning_up_or_down(trace)
    short, soon = (round(seconds / trace.step_s) for seconds in (SPIN_UP_S, SOON_S))
    for first, end in spans(trace.running):
        begins, ends = first >= soon, end <= len(contact) - soon  # or else it ran on
        for a, b in spans(contact[first:end]):
            near = (begins and a <= soon) or (ends and end - first - b <= soon)
            if near and b - a < short:
                doubtful[first + a : first + b] = True
    return doubtful


def _spinning_up_or_down(trace: Trace) -> Mask:
    """Frames in which the speed comes from, or goes to, less than any load leaves of it."""
    switching = np.zeros(len(trace.running), bool)
    for first, end in spans(trace.running):
        log_hz = np.log(trace.rotation_hz[first:end])
        usual = np.median(log_hz)
        fast = np.flatnonzero(log_hz > usual - NEAR_USUAL)
        if log_hz[0] < usual - MOST_SLOWER:
            switching[first : first + fast[0]] = True
        if log_hz[-1] < usual - MOST_SLOWER:
            switching[first + fast[-1] + 1 : end] = True
    return switching
