import numpy as np
import numpy.typing as npt
import pytest

from analysis.hearing.orders import (
    AT_TIMES,
    LEARNABLE,
    SILENT,
    SOUNDINGS,
    TOP_ORDER,
    levels,
    sounding_tables,
)
from analysis.hearing.voice import (
    MIN_STEPS,
    learn_voice,
    learn_voices,
    order_fits,
    step_evidence,
)

Voice = npt.NDArray[np.int64]
LOUD = 8
PLAIN = 7


def sounded(voice: Voice, steps: int, *, seed: int = 1) -> npt.NDArray[np.float32]:
    """Excess of orders drawn from what their soundings say, shape (steps, orders).

    A silent order is noise alone. A step is two frames, their log powers averaged.
    """
    rng = np.random.default_rng(seed)
    chance, power = np.array(SOUNDINGS)[voice].T
    shape = (steps, TOP_ORDER)
    there = (rng.random(shape) < chance) & (voice != SILENT)
    mean = np.where(there, 1 + power, 1.0)
    frames = np.log(mean * rng.exponential(size=(2, *shape)))
    return np.asarray(frames.mean(axis=0), np.float32)


def some_voice(*loud: int) -> Voice:
    voice = np.full(TOP_ORDER, SILENT)
    voice[np.array(loud) - 1] = LOUD
    return voice


IDLE, CUTTING = some_voice(1, 9, 18), some_voice(1, 2, 4, 6, 8)


@pytest.mark.parametrize("sounding", LEARNABLE.tolist())
def test_a_voice_is_learned_as_it_was_drawn(sounding: int) -> None:
    voice = np.full(TOP_ORDER, sounding)
    told = learn_voice(order_fits(sounded(voice, 3_000)), np.ones(3_000, bool))
    assert (told == sounding).mean() > 0.95


def test_only_the_chosen_steps_teach() -> None:
    excess = np.concatenate([sounded(IDLE, 200), sounded(CUTTING, 200)])
    first = np.arange(400) < 200
    fits = order_fits(excess)
    assert np.array_equal(learn_voice(fits, first) >= AT_TIMES, IDLE == LOUD)
    assert np.array_equal(learn_voice(fits, ~first) >= AT_TIMES, CUTTING == LOUD)


def test_too_few_steps_teach_nothing() -> None:
    fits = order_fits(sounded(np.full(TOP_ORDER, LOUD), 20))
    few, enough = np.arange(20) < MIN_STEPS - 1, np.arange(20) < MIN_STEPS
    assert (learn_voice(fits, few) == SILENT).all()
    assert (learn_voice(fits, enough) > AT_TIMES).mean() > 0.9


def test_an_order_above_the_top_bin_tells_nothing() -> None:
    excess = np.full((3, TOP_ORDER), np.nan, np.float32)
    fits = order_fits(excess)
    assert fits.shape == (len(SOUNDINGS), 3, TOP_ORDER)
    assert not fits.any()
    assert not step_evidence(fits, IDLE).any()


def test_a_steps_evidence_is_the_sum_over_orders() -> None:
    excess = sounded(IDLE, 4)
    told = step_evidence(order_fits(excess), CUTTING)
    tables = sounding_tables()
    expected = [
        sum(float(tables[CUTTING[n], level]) for n, level in enumerate(row))
        for row in levels(excess)
    ]
    assert told == pytest.approx(expected, abs=1e-3)


def in_two_states(free: Voice, cut: Voice) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.bool_]]:
    cutting = np.zeros(400, bool)
    cutting[80:180] = cutting[250:330] = True
    both = np.stack([sounded(free, 400), sounded(cut, 400, seed=2)])
    return both[cutting.astype(int), np.arange(400)], cutting


def test_free_and_cutting_are_parted_from_a_poor_guess() -> None:
    excess, cutting = in_two_states(IDLE, CUTTING)
    running = np.ones(400, bool)
    voices, told = learn_voices(order_fits(excess), running=running, cutting=np.roll(cutting, 30))
    assert np.array_equal(voices.idle == LOUD, IDLE == LOUD)
    assert np.array_equal(voices.cutting == LOUD, CUTTING == LOUD)
    # Four changes, each smoothed over nine steps.
    assert np.count_nonzero(told != cutting) <= 4 * 4


@pytest.mark.parametrize(("free", "cut"), [(IDLE, CUTTING), (CUTTING, IDLE)])
def test_what_does_not_sound_like_the_machine_is_in_neither_state(free: Voice, cut: Voice) -> None:
    # Silence is nearer to the state of fewer tones, whichever that is.
    excess, cutting = in_two_states(free, cut)
    excess[340:] = sounded(np.full(TOP_ORDER, SILENT), 60, seed=3)
    running = np.ones(400, bool)
    voices, told = learn_voices(order_fits(excess), running=running, cutting=cutting)
    assert np.array_equal(voices.idle == LOUD, free == LOUD)
    assert np.array_equal(voices.cutting == LOUD, cut == LOUD)
    assert not told[350:].any()


@pytest.mark.parametrize("cutting_steps", [0, MIN_STEPS - 1, 400 - MIN_STEPS + 1, 400])
def test_one_state_only_has_one_voice(cutting_steps: int) -> None:
    fits = order_fits(sounded(IDLE, 400))
    guess = np.arange(400) < cutting_steps
    voices, told = learn_voices(fits, running=np.ones(400, bool), cutting=guess)
    assert voices.idle is voices.cutting
    assert np.array_equal(voices.idle == LOUD, IDLE == LOUD)
    assert np.array_equal(told, guess)
