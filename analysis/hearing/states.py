"""The two states of one machine, running free and cutting, and which is which."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.ndimage import binary_erosion, uniform_filter1d

from analysis.hearing.contact import (
    APART,
    Features,
    bimodal_guesses,
    part_states,
    share_at_ends,
    two_class_threshold,
)
from analysis.hearing.orders import ORDERS, TOP_ORDER, FloatArray
from analysis.hearing.path import OFF
from analysis.hearing.search import Course, Search, hop_share, some_of, spans
from analysis.hearing.spectra import FLOOR_EVERY
from analysis.hearing.voice import (
    QUIETER,
    Mask,
    learn_voices,
    order_fits,
    quieter,
    step_evidence,
    voices_evidence,
)

SETTLE_STEPS = 8  # a third of a second
SECOND_STEPS, STILL_RISING = 22, 0.012  # spin-up goes on while it gains that in a second
SETTLED_CHANGE = 0.06  # of speed, over twice SETTLE_STEPS
NOISE_PEAK = 0.3  # what the loudest three orders come to in noise alone
END_STEPS = 10  # half a second at either end of a run: nobody starts a router in the wood
MOST_RISE = 12.0  # nepers
ENOUGH_OF_A_STATE = 54  # steps, some two and a half seconds
SURE_VOTE = 3.0
# What merit is made of, beside nepers of rise: each sign of a cut, nats of evidence a step,
# share of hops, and the plate's word.
VOTE_WORTH, EVIDENCE_WORTH, HOPS_COST = 1.5, 0.3, 100.0
LIKENESS_WORTH = 0.5  # for each nat a step by which it sounds as it was taught
TOO_SLOW_COST, OFF_PLATE_COST, PLATE_TOLERANCE = 5.0, 100.0, 0.01  # the second: a whole too much
LEAST_KEPT, MOST_KEPT, NO_MOTOR_COST = 0.62, 1.05, 6.0  # of the free speed, in the cut
# In ln speed: the state that is so much slower is the cut, whatever else is said; and by what vote.
MUCH_SLOWER, LEAST_VOTE = 0.015, 0.5


def settled_steps(
    search: Search, path: npt.NDArray[np.int64], orders: npt.NDArray[np.float32]
) -> Mask:
    """Steps in which the machine runs steadily enough to learn from: no spin-up, no coasting.

    `orders` are the search's along the path.
    """
    on = path != OFF
    well_inside = binary_erosion(on, iterations=SETTLE_STEPS, border_value=1)
    log_hz = np.log(search.rotation_hz(path))
    change = np.abs(log_hz[2 * SETTLE_STEPS :] - log_hz[: -2 * SETTLE_STEPS])
    slow = np.pad(change < SETTLED_CHANGE, SETTLE_STEPS, constant_values=True)[: len(on)]
    settled = well_inside & slow if len(on) > 2 * SETTLE_STEPS else on.copy()
    for first, last in spans(on):
        later = np.minimum(np.arange(first, last) + SECOND_STEPS, last - 1)
        still_rising = log_hz[later] - log_hz[first:last] > STILL_RISING
        settled[first : first + int(np.argmin(still_rising))] = False
    if settled.any():
        # Where the router is off in truth, no order stands out as usual.
        smooth = uniform_filter1d(np.nan_to_num(orders, nan=-1.0), 9, axis=0)
        loudest = np.sort(np.minimum(smooth, 4), axis=1)[:, -3:].mean(axis=1)
        usual = float(np.median(loudest[settled]))
        settled &= loudest > NOISE_PEAK + 0.3 * (usual - NOISE_PEAK)
    return np.asarray(settled)


def told_either_way(search: Search, path: npt.NDArray[np.int64], guess: Mask) -> Course:
    """A path with its states told apart anew or by a guess, whichever has more merit."""
    told = (tell_apart(search, path), tell_apart(search, path, guess=guess))
    return max(told, key=lambda course: course.merit)


def tell_apart(search: Search, path: npt.NDArray[np.int64], guess: Mask | None = None) -> Course:
    """A path with its two states told apart and named.

    Without a guess several are tried, and the pair of states that most looks like idling
    and cutting is kept: a vacuum switched on or a gain that rides also part a take in two.
    """
    orders = search.orders(path)
    running, settled = path != OFF, settled_steps(search, path, orders)
    features = _features(search, orders)
    step_s = 2 * search.grid.step_s
    guesses = (
        [guess & settled]
        if guess is not None
        else [
            _teeth_up(search, orders, settled),
            *bimodal_guesses(features, settled=settled, step_s=step_s),
        ]
    )
    best: tuple[float, Mask, _CutSigns] | None = None
    for second in guesses:
        states = part_states(
            features, running=running, settled=settled, step_s=step_s, guess=second
        )
        if states.apart < APART:
            continue
        signs = _cut_signs(search, path, orders, settled=settled, second=states.second)
        merit = min(signs.rise, MOST_RISE) / 2 + 2 * float(np.log(states.apart)) + abs(signs.vote)
        if best is None or merit > best[0]:
            best = (merit, states.second, signs)
    if best is None:
        second = guesses[0]
        signs = _cut_signs(search, path, orders, settled=settled, second=second)
    else:
        _, second, signs = best
    if signs.vote < 0:
        second = running & ~second
    fits = order_fits(orders)
    voices, sounding = learn_voices(fits, running=settled, cutting=second & settled)
    heard = voices_evidence(fits, voices)
    smaller = min(np.count_nonzero(settled & second), np.count_nonzero(settled & ~second))
    rise = min(max(0.0, signs.rise), MOST_RISE) * min(1.0, smaller / ENOUGH_OF_A_STATE)
    evidence = float(heard[running].sum()) / len(path)
    free = running & ~second
    likeness = 0.0
    if search.taught is not None and free.any():
        likeness = max(
            float(np.mean(step_evidence(fits, quieter(search.taught, by))[free])) for by in QUIETER
        )
    off_plate = _off_plate_cost(search, path, free=settled & ~second, cut=settled & second)
    return Course(
        path,
        second if best else sounding,
        voices,
        cutness=rise * min(1.0, abs(signs.vote) / SURE_VOTE),
        evidence=evidence,
        likeness=likeness,
        off_plate=off_plate,
        merit=rise
        + VOTE_WORTH * abs(signs.vote)
        + EVIDENCE_WORTH * evidence
        + LIKENESS_WORTH * likeness
        - HOPS_COST * hop_share(path)
        - off_plate,
    )


def _off_plate_cost(search: Search, path: npt.NDArray[np.int64], *, free: Mask, cut: Mask) -> float:
    """What the plate, and what a motor can give way, say against a machine of these speeds."""
    if free.sum() <= 8:
        return 0.0
    rotation_hz = search.rotation_hz(path)
    free_hz = float(np.median(rotation_hz[free]))
    slowest_hz, fastest_hz = search.free_hz
    too_fast, too_slow = free_hz / fastest_hz - 1 - PLATE_TOLERANCE, 1 - free_hz / slowest_hz
    cost = OFF_PLATE_COST * max(0.0, too_fast, too_slow) + TOO_SLOW_COST * (too_slow > 0)
    kept = float(np.median(rotation_hz[cut])) / free_hz if cut.sum() > 8 else 1.0
    return cost + (0.0 if LEAST_KEPT < kept < MOST_KEPT else NO_MOTOR_COST)


def _teeth_up(search: Search, orders: npt.NDArray[np.float32], settled: Mask) -> Mask:
    """Steps in which the teeth's orders stand out more than otherwise."""
    if settled.sum() < 4:
        return settled
    teeth = np.nanmean(np.clip(orders[:, search.teeth], -1, 3), axis=1)
    teeth = uniform_filter1d(np.nan_to_num(teeth, nan=-1), 9).astype(np.float64)
    return settled & (teeth > two_class_threshold(teeth[settled]))


def _features(search: Search, orders: npt.NDArray[np.float32]) -> Features:
    """What tells states apart: band levels, the level by itself, and the low orders."""
    bands = search.steps.bands
    level = bands.mean(axis=1, keepdims=True)
    low = np.clip(np.nan_to_num(orders[:, :24], nan=-0.6), -0.6, 4)
    return np.concatenate([bands - level, level, low], axis=1)


@dataclass(frozen=True, slots=True)
class _CutSigns:
    vote: float  # in favour of the second state being the cut
    rise: float  # nepers by which the teeth's tones are stronger in the second, summed


def _cut_signs(
    search: Search,
    path: npt.NDArray[np.int64],
    orders: npt.NDArray[np.float32],
    *,
    settled: Mask,
    second: Mask,
) -> _CutSigns:
    one, two = settled & ~second, settled & second
    if min(one.sum(), two.sum()) < 4:
        return _CutSigns(0.0, 0.0)
    log_hz = np.log(search.rotation_hz(path))
    slower = np.median(log_hz[one]) - np.median(log_hz[two])
    ends = 1 - 2 * share_at_ends(second, settled, count=END_STEPS)

    some_one, some_two = some_of(one), some_of(two)
    level_one, heard_one = _tone_levels(search, path, orders, some_one)
    level_two, heard_two = _tone_levels(search, path, orders, some_two)
    rise = level_two - level_one
    teeth = np.zeros(TOP_ORDER, bool)
    teeth[search.teeth] = True
    audible = np.maximum(heard_one, heard_two) > 0.7
    on_teeth = rise[teeth & audible]
    others = rise[~teeth & audible]
    stronger = float(np.mean(on_teeth)) if len(on_teeth) else 0.0
    if len(others) > 2:
        stronger -= float(np.mean(others))
    hiss = float(
        np.mean(search.steps.bands[two][:, -3:]) - np.mean(search.steps.bands[one][:, -3:])
    )
    vote = (
        np.clip(slower / 0.003, -2, 2)
        + 2 * ends
        + np.clip(stronger / 0.5, -2, 2)
        + np.clip(hiss, -1, 1)
    )
    if abs(slower) > MUCH_SLOWER and vote * slower < 0:
        vote = np.sign(slower) * min(abs(vote), LEAST_VOTE)
    louder = np.where(heard_two > 0.7, np.clip(rise, 0, 3), 0)
    softer = np.where(heard_one > 0.7, np.clip(-rise, 0, 3), 0)
    total = float(np.sum(louder[search.teeth]) - np.sum(softer[search.teeth]))
    return _CutSigns(float(vote), total if vote >= 0 else -total)


def _tone_levels(
    search: Search,
    path: npt.NDArray[np.int64],
    orders: npt.NDArray[np.float32],
    steps: npt.NDArray[np.int64],
) -> tuple[FloatArray, FloatArray]:
    """Ln power of the tone at each order, floor taken off, and its mean excess."""
    mean = np.nan_to_num(np.clip(orders[steps], -3, 6), nan=-1).mean(axis=0).astype(np.float64)
    rotation = search.rotation_hz(path)[steps]
    cells = np.rint(rotation[:, None] * ORDERS / search.grid.bin_hz).astype(np.int64) // FLOOR_EVERY
    cells = np.minimum(cells, search.steps.log_floor.shape[1] - 1)
    floor = search.steps.log_floor[steps[:, None], cells].mean(axis=0)
    return floor + np.log(np.maximum(np.exp(mean) - 1, 0.3)), mean
