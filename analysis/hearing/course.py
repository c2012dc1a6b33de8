"""The router's course through a take: which speed, when off, when cutting.

Three kinds of trouble are met in turn. Running free a router hides most of its orders, so
the cut is found first and the machine followed from there into its own quiet. Other
machines (a shop vacuum) have combs of their own, so every comb that is heard is followed,
those that run on whatever the router does are taken out, and the one that cuts is kept.
And the lines may be counted wrongly, so the ratio is weighed over the whole take.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.ndimage import binary_erosion, uniform_filter1d

from analysis.hearing.contact import (
    APART,
    bimodal_guesses,
    part_states,
    two_class_threshold,
)
from analysis.hearing.orders import (
    AT_TIMES,
    LOG_STEP,
    ORDERS,
    TOP_ORDER,
    Candidates,
    Excess,
    FloatArray,
    Voice,
    comb_bonus,
    comb_evidence,
    generic_voice,
    on_log_axis,
    order_excess,
)
from analysis.hearing.path import OFF, best_path
from analysis.hearing.ratio import (
    MARGIN,
    NOISE_LEVEL,
    RATIOS,
    cutting_score,
    idle_score,
    ripple_sidebands,
)
from analysis.hearing.spectra import FLOOR_EVERY, SpectrumGrid
from analysis.hearing.voice import (
    Mask,
    Voices,
    learn_voice,
    learn_voices,
    order_fits,
    step_evidence,
)

# Steps overlap by half and speech or knocks last over several: evidence counts half.
EVIDENCE = 0.5
GLIDE, STEADY_GLIDE = 0.15, 0.30  # cost of a change of speed, per candidate
SWITCH, FIRST_SWITCH = 8.0, 20.0  # cost of switching on or off
RUNNING_BONUS = 2.0  # while following a machine into silence, per step
FOLLOW_DOWN, FOLLOW_UP = 0.93, 1.5  # against the speeds it was heard at
SETTLE_STEPS = 8  # a third of a second
SECOND_STEPS, STILL_RISING = 22, 0.012  # spin-up goes on while it gains that in a second
SETTLED_CHANGE = 0.06  # of speed, over twice that
NOISE_PEAK = 0.3  # what the loudest three orders come to in noise alone
END_STEPS = 10
MIN_SEED_STEPS = 20  # about a second
SEED_JUMP = 8  # candidates: a hop to another comb
ENOUGH = 0.2  # share of a section in which a known router must be recognised
ASIDE = 3.5  # bins: just outside a Hann line
MOST_EXCESS = 5.0  # nepers a step may add to an order's mean
WEIGHED_HZ = 7_500.0  # ratios are weighed on the orders up to here
CLEARLY_MORE, LATER_MORE = 0.5, 4.0  # merit by which another course must be better
MOST_RISE = 12.0
ENOUGH_OF_A_STATE = 54  # steps, some two and a half seconds
MOST_OF = 0.8
SURE_VOTE = 3.0
CUTS = 2.5  # nepers of tooth orders that appear in the cut and are not there when free


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """What one machine did, step by step.

    Attributes
    ----------
    path : array, shape (steps,)
        Index of the candidate speed, or OFF.
    cutting : array, shape (steps,)
    voices : Voices
    cutness : float
        Nepers by which the teeth's tones are stronger in the cut, summed over teeth.
    merit : float
        How much this looks like a router at work: its cut, the signs of it, few hops.
    """

    path: npt.NDArray[np.int64]
    cutting: Mask
    voices: Voices
    cutness: float
    merit: float

    @property
    def running(self) -> Mask:
        """Steps in which the machine runs."""
        return self.path != OFF

    @property
    def hops_per_step(self) -> float:
        """Hops from one speed to quite another, per running step."""
        running = self.running
        hops = np.abs(np.diff(self.path))[running[1:] & running[:-1]] > SEED_JUMP
        return float(np.count_nonzero(hops)) / max(1, np.count_nonzero(running))


@dataclass(frozen=True, slots=True, eq=False)
class Steps:
    """Spectra in steps of two frames.

    Attributes
    ----------
    excess : array, shape (steps, bins)
        ln(power / floor).
    log_floor : array, shape (steps, every FLOOR_EVERY-th bin)
    bands : array, shape (steps, bands)
        Broadband levels, ln power.
    """

    grid: SpectrumGrid
    excess: Excess
    log_floor: npt.NDArray[np.float32]
    bands: npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class Search:
    """Where to look: the sound in steps, the speeds to look among, the bit's flutes if known."""

    steps: Steps
    candidates: Candidates
    flutes: int | None

    @property
    def excess(self) -> Excess:
        return self.steps.excess

    @property
    def grid(self) -> SpectrumGrid:
        return self.steps.grid

    @property
    def teeth(self) -> npt.NDArray[np.int64]:
        """Rows of the teeth's first eight orders; of all low orders if flutes are unknown."""
        flutes = self.flutes or 1
        return np.arange(flutes, min(8 * flutes, TOP_ORDER) + 1, flutes) - 1

    def rotation_hz(self, path: npt.NDArray[np.int64]) -> FloatArray:
        """Rotation along a path, smoothed over three steps; where off, as last heard."""
        on = np.flatnonzero(path != OFF)
        if not len(on):
            return np.full(len(path), self.candidates.lowest_hz)
        last_on = np.maximum(np.searchsorted(on, np.arange(len(path)), side="right") - 1, 0)
        rotation = self.candidates.rotation_hz[path[on[last_on]]]
        return np.asarray(uniform_filter1d(rotation, 3, mode="nearest"))

    def orders(
        self,
        path: npt.NDArray[np.int64],
        *,
        ratio: float = 1.0,
        steps: slice | Mask | npt.NDArray[np.int64] = np.s_[:],
    ) -> npt.NDArray[np.float32]:
        """Excess at each order along a path, shape (chosen steps, orders)."""
        rotation = ratio * self.rotation_hz(path)[steps]
        return order_excess(self.excess[steps], rotation_hz=rotation, grid=self.grid)

    def without(self, path: npt.NDArray[np.int64], voice: Voice) -> Search:
        """The same search with a machine's audible lines taken out of the spectra."""
        excess = self.excess.copy()
        on = np.flatnonzero(path != OFF)
        rotation = self.candidates.rotation_hz[path[on]]
        for order in np.flatnonzero(voice >= AT_TIMES) + 1:
            centre = np.rint(rotation * order / self.grid.bin_hz).astype(np.int64)
            inside = (centre > 2) & (centre < self.grid.bins - 3)
            for cell in range(-2, 3):
                excess[on[inside], centre[inside] + cell] = -0.7
        return Search(replace(self.steps, excess=excess), self.candidates, self.flutes)


def find_course(search: Search, known: Voices | None = None) -> Course | None:
    """The router's course, or None where no comb of orders is heard.

    Parameters
    ----------
    search : Search
    known : Voices, optional
        This router's voices, if they were learned before.
    """
    recognised = _recognise(search, known) if known is not None else None
    if recognised is not None and recognised.running.mean() > ENOUGH:
        return recognised
    best: Course | None = recognised
    clear = search  # with other machines taken out, but never the best course itself
    for round_number in range(3):
        path = _first_path(search, known)
        seeds = _seeds(search, path)
        if not seeds:
            break
        heard = [_follow(search, path, seed) for seed in seeds]
        # The longest heard comes first; another must be clearly better.
        for course in heard:
            more = CLEARLY_MORE if round_number == 0 else LATER_MORE
            if best is None or course.merit > best.merit + more:
                best, clear = course, search
        assert best is not None
        others = _other_machines(search, path, seeds, best)
        for other_path, voice in others:
            search, clear = search.without(other_path, voice), clear.without(other_path, voice)
        if best.cutness > CUTS:
            break
        if not others:
            first = heard[0]
            search = search.without(first.path, np.maximum(first.voices.idle, first.voices.cutting))
    if best is None:
        return None
    core = best.cutting if best.cutting.sum() >= MIN_SEED_STEPS else best.running
    if core.sum() >= MIN_SEED_STEPS:
        alone = _follow(clear, best.path, core)
        if alone.merit >= MOST_OF * best.merit:
            best = alone
    return _right_ratio(clear, best) if best.running.sum() >= MIN_SEED_STEPS else None


def _recognise(search: Search, known: Voices) -> Course:
    """The course of a router whose voices are known."""
    axis = on_log_axis(search.excess, grid=search.grid, candidates=search.candidates)
    path = _two_voice_path(axis, known, search.candidates)
    return _told_apart(search, path)


def _two_voice_path(
    axis: npt.NDArray[np.uint8], voices: Voices, candidates: Candidates
) -> npt.NDArray[np.int64]:
    evidence = comb_evidence(axis, voice=voices.cutting, candidates=candidates)
    if voices.idle is not voices.cutting:
        free = comb_evidence(axis, voice=voices.idle, candidates=candidates)
        np.maximum(evidence, free, out=evidence)
    return best_path(EVIDENCE * evidence, glide_cost=GLIDE, switch_cost=SWITCH)


def _first_path(search: Search, known: Voices | None) -> npt.NDArray[np.int64]:
    axis = on_log_axis(search.excess, grid=search.grid, candidates=search.candidates)
    voice = generic_voice(search.flutes)
    evidence = comb_evidence(axis, voice=voice, candidates=search.candidates)
    if known is not None:
        for voice in (known.idle, known.cutting):
            at = comb_evidence(axis, voice=voice, candidates=search.candidates)
            np.maximum(evidence, at, out=evidence)
    return best_path(EVIDENCE * evidence, glide_cost=GLIDE, switch_cost=FIRST_SWITCH)


def _seeds(search: Search, path: npt.NDArray[np.int64]) -> list[Mask]:
    """Stretches of a path that sound like one machine in one state, longest first, four at most."""
    on = path != OFF
    breaks = np.flatnonzero(
        (np.diff(on.astype(np.int8)) != 0) | (np.abs(np.diff(path)) > SEED_JUMP)
    )
    edges = np.concatenate([[0], breaks + 1, [len(path)]])
    orders = np.clip(np.nan_to_num(search.orders(path)), -0.5, 3)
    stretches = [(a, b) for a, b in zip(edges[:-1], edges[1:], strict=True) if on[a] and b - a >= 8]
    clusters: list[tuple[FloatArray, Mask]] = []
    for a, b in sorted(stretches, key=lambda stretch: stretch[0] - stretch[1]):
        likeness = np.maximum(orders[a:b].mean(axis=0) + 0.2, 0) * (b - a)
        cosines = [
            likeness @ total / np.sqrt((likeness @ likeness) * (total @ total) + 1e-9)
            for total, _ in clusters
        ]
        if cosines and max(cosines) > 0.75:
            total, mask = clusters[int(np.argmax(cosines))]
            total += likeness
        else:
            mask = np.zeros(len(path), bool)
            clusters.append((likeness.astype(np.float64), mask))
        mask[a:b] = True
    masks = sorted((mask for _, mask in clusters), key=lambda mask: -mask.sum())
    return [mask for mask in masks if mask.sum() >= MIN_SEED_STEPS][:4]


def _follow(search: Search, path: npt.NDArray[np.int64], seed: Mask) -> Course:
    """Follow the machine heard in the seed steps through the whole take."""
    whole = search
    heard_hz = whole.candidates.rotation_hz[path[seed & (path != OFF)]]
    low, high = np.percentile(heard_hz, [2, 98])
    first, last = np.searchsorted(
        whole.candidates.rotation_hz, [low * FOLLOW_DOWN, high * FOLLOW_UP]
    )
    first, last = int(max(first - 1, 0)), int(min(last + 1, whole.candidates.count))
    candidates = Candidates(whole.candidates.rotation_hz[first], last - first)
    search = Search(whole.steps, candidates, whole.flutes)
    axis = on_log_axis(search.excess, grid=search.grid, candidates=candidates)
    path = np.where(seed & (path != OFF), np.clip(path - first, 0, candidates.count - 1), OFF)
    voice = learn_voice(order_fits(search.orders(path)), path != OFF)

    bonus = comb_bonus(axis, voice=voice, candidates=candidates)
    path = best_path(EVIDENCE * bonus + RUNNING_BONUS, glide_cost=STEADY_GLIDE, switch_cost=SWITCH)
    course = _told_apart(search, path)
    for _ in range(2):
        path = _two_voice_path(axis, course.voices, candidates)
        course = _told_apart(search, path, guess=course.cutting)
    return replace(course, path=np.where(path != OFF, path + first, OFF))


def _settled(search: Search, path: npt.NDArray[np.int64]) -> Mask:
    """Steps in which the machine runs steadily enough to learn from: no spin-up, no coasting."""
    on = path != OFF
    well_inside = binary_erosion(on, iterations=SETTLE_STEPS, border_value=1)
    log_hz = np.log(search.rotation_hz(path))
    change = np.abs(log_hz[2 * SETTLE_STEPS :] - log_hz[: -2 * SETTLE_STEPS])
    slow = np.pad(change < SETTLED_CHANGE, SETTLE_STEPS, constant_values=True)[: len(on)]
    settled = well_inside & slow if len(on) > 2 * SETTLE_STEPS else on.copy()
    for first, last in _runs(on):
        later = np.minimum(np.arange(first, last) + SECOND_STEPS, last - 1)
        still_rising = log_hz[later] - log_hz[first:last] > STILL_RISING
        settled[first : first + int(np.argmin(still_rising))] = False
    if settled.any():
        # Where the router is off in truth, no order stands out as usual.
        orders = uniform_filter1d(np.nan_to_num(search.orders(path), nan=-1.0), 9, axis=0)
        loudest = np.sort(np.minimum(orders, 4), axis=1)[:, -3:].mean(axis=1)
        usual = float(np.median(loudest[settled]))
        settled &= loudest > NOISE_PEAK + 0.3 * (usual - NOISE_PEAK)
    return settled


def _told_apart(search: Search, path: npt.NDArray[np.int64], guess: Mask | None = None) -> Course:
    """A path with its two states told apart and named.

    Without a guess several are tried, and the pair of states that most looks like idling
    and cutting is kept: a vacuum switched on or a gain that rides also part a take in two.
    """
    running, settled = path != OFF, _settled(search, path)
    orders = search.orders(path)
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
    voices, sounding = learn_voices(order_fits(orders), running=settled, cutting=second & settled)
    smaller = min(np.count_nonzero(settled & second), np.count_nonzero(settled & ~second))
    rise = min(max(0.0, signs.rise), MOST_RISE) * min(1.0, smaller / ENOUGH_OF_A_STATE)
    hops = np.count_nonzero(np.abs(np.diff(path))[running[1:] & running[:-1]] > SEED_JUMP)
    return Course(
        path,
        second if best else sounding,
        voices,
        cutness=rise * min(1.0, abs(signs.vote) / SURE_VOTE),
        merit=rise + 1.5 * abs(signs.vote) - 100 * hops / max(1, np.count_nonzero(running)),
    )


def _teeth_up(search: Search, orders: npt.NDArray[np.float32], settled: Mask) -> Mask:
    """Steps in which the teeth's orders stand out more than otherwise."""
    if settled.sum() < 4:
        return settled
    teeth = np.nanmean(np.clip(orders[:, search.teeth], -1, 3), axis=1)
    teeth = uniform_filter1d(np.nan_to_num(teeth, nan=-1), 9).astype(np.float64)
    return settled & (teeth > two_class_threshold(teeth[settled])[0])


def _features(search: Search, orders: npt.NDArray[np.float32]) -> FloatArray:
    """What tells states apart: band levels, the level by itself, and the low orders."""
    bands = search.steps.bands.astype(np.float64)
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
    edges = np.zeros(len(path), bool)
    for first, last in _runs(settled):
        if last - first > 4 * END_STEPS:
            edges[first : first + END_STEPS] = edges[last - END_STEPS : last] = True
    ends = 1 - 2 * float(second[edges].mean()) if edges.any() else 0.0

    some_one, some_two = _some(one), _some(two)
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
    """ln power of the tone at each order, floor taken off, and its mean excess."""
    mean = np.nan_to_num(np.clip(orders[steps], -3, 6), nan=-1).mean(axis=0).astype(np.float64)
    rotation = search.rotation_hz(path)[steps]
    cells = np.rint(rotation[:, None] * ORDERS / search.grid.bin_hz).astype(np.int64) // FLOOR_EVERY
    cells = np.minimum(cells, search.steps.log_floor.shape[1] - 1)
    floor = search.steps.log_floor[steps[:, None], cells].mean(axis=0)
    return floor + np.log(np.maximum(np.exp(mean) - 1, 0.3)), mean


def _runs(mask: Mask) -> list[tuple[int, int]]:
    edges = np.diff(np.concatenate([[0], mask.astype(np.int8), [0]]))
    starts, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    return list(zip(starts.tolist(), ends.tolist(), strict=True))


def _other_machines(
    search: Search, path: npt.NDArray[np.int64], seeds: list[Mask], best: Course
) -> list[tuple[npt.NDArray[np.int64], Voice]]:
    """Machines that run on at their own speed whatever the best course does."""
    others = []
    rotation = search.candidates.rotation_hz[np.maximum(path, 0)]
    best_hz = search.candidates.rotation_hz[np.maximum(best.path, 0)]
    for seed in seeds:
        log_hz = np.log(rotation)
        near = seed & (np.abs(log_hz - np.median(log_hz[seed])) < 0.01)
        if near.sum() < 0.6 * seed.sum():
            continue
        steps = np.flatnonzero(near)
        smooth = uniform_filter1d(log_hz[steps], 9, mode="nearest")
        course = np.interp(np.arange(len(path)), steps, smooth)
        apart = best.cutting & ~seed
        if apart.sum() <= 8:
            apart = best.running
        ratio = course[apart] - np.log(best_hz[apart])
        if any(np.mean(np.abs(ratio - np.log(r)) < 0.005) > 0.5 for r in RATIOS):
            continue  # the same machine, counted otherwise
        steady = np.rint((course - np.log(search.candidates.lowest_hz)) / LOG_STEP).astype(np.int64)
        fits = order_fits(search.orders(steady))
        voice = learn_voice(fits, seed)
        if (~seed).sum() > 8:
            runs_on = uniform_filter1d(step_evidence(fits, voice), 5)[~seed] > 1
            if runs_on.mean() <= 0.4:
                continue
        others.append((steady, voice))
    return others


def _right_ratio(search: Search, course: Course) -> Course:
    """Count the lines of a course anew if another multiple explains them better."""
    for _ in range(2):
        scores = _ratio_scores(search, course)
        best = max(scores, key=lambda ratio: scores[ratio])
        if best == 1.0 or scores[best] <= scores[1.0] + MARGIN:
            break
        shift = round(float(np.log(best)) / LOG_STEP)
        moved = np.clip(course.path + shift, 0, search.candidates.count - 1)
        path = np.where(course.running, moved, OFF)
        course = _told_apart(search, path, guess=course.cutting)
    return course


def _ratio_scores(search: Search, course: Course) -> dict[float, float]:
    free, cutting = _some(course.running & ~course.cutting), _some(course.cutting)
    middle_hz = float(np.median(search.candidates.rotation_hz[course.path[course.running]]))
    lowest_hz, highest_hz = search.candidates.rotation_hz[[0, -1]]
    scores = {}
    for ratio in RATIOS:
        if ratio != 1.0 and not 0.97 * lowest_hz <= ratio * middle_hz <= 1.03 * highest_hz:
            continue
        top_hz = min(WEIGHED_HZ, (search.grid.bins - 3) * search.grid.bin_hz)
        top_order = max(4, int(top_hz / (ratio * middle_hz)))
        score, idle_too = 0.0, np.zeros(top_order, bool)
        if len(free) > 8:
            mean = _mean_excess(search, course, ratio, free, top_order)
            idle_too = np.nan_to_num(mean, nan=-1) > 0.2
            score += idle_score(mean, steps=len(free), rotation_hz=ratio * middle_hz)
        if len(cutting) > 8 and search.flutes:
            mean = _mean_excess(search, course, ratio, cutting, top_order)
            score += cutting_score(
                mean,
                steps=len(cutting),
                rotation_hz=ratio * middle_hz,
                flutes=search.flutes,
                idle_too=idle_too,
            )
        scores[ratio] = score
    return scores


def _mean_excess(
    search: Search,
    course: Course,
    ratio: float,
    steps: npt.NDArray[np.int64],
    top_order: int,
) -> FloatArray:
    """Mean excess of orders 1 to `top_order`, less their surroundings' and mains ripple.

    A resonance lifts a whole stretch of the spectrum over its floor; a tone stands out of
    what lies just beside it.
    """
    rotation = ratio * search.rotation_hz(course.path)[steps]
    at, below, above = (
        _order_means(search, rotation, steps, top_order, aside) for aside in (0, -ASIDE, ASIDE)
    )
    mean = at - np.maximum((below + above) / 2 - NOISE_LEVEL, 0)
    ripple = ripple_sidebands(mean, rotation_hz=float(np.median(rotation)))
    return np.where(ripple, np.minimum(mean, NOISE_LEVEL), mean)


def _order_means(
    search: Search,
    rotation_hz: FloatArray,
    steps: npt.NDArray[np.int64],
    top_order: int,
    aside_bins: float,
) -> FloatArray:
    orders = order_excess(
        search.excess[steps],
        rotation_hz=rotation_hz,
        grid=search.grid,
        top_order=top_order,
        aside_bins=aside_bins,
    )
    heard = np.isfinite(orders)
    total = np.where(heard, np.minimum(orders, MOST_EXCESS), 0).sum(axis=0)
    return np.asarray(total / np.maximum(heard.sum(axis=0), 1), np.float64)


def _some(mask: Mask, most: int = 400) -> npt.NDArray[np.int64]:
    """Evenly spread steps of a mask, `most` at most."""
    steps = np.flatnonzero(mask)
    keep = np.linspace(0, len(steps) - 1, min(most, len(steps))).astype(np.int64)
    return steps[keep] if len(steps) else steps
