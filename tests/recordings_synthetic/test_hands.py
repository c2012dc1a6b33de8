"""Hands: travel made good, pauses in their place."""

import numpy as np
import pytest

from recordings_synthetic.hands import Grain, Pause, Stroke, Walk, resistance, walk
from recordings_synthetic.timebase import CONTROL_HZ

DWELL = Pause(0.5, 1.0, 0.1, lifted=False)
LIFT = Pause(0.3, 0.4, 0.1, lifted=True)


def walked(*pauses: Pause, wander: float = 0.25, seed: int = 1) -> Walk:
    return walk(Stroke(60.0, wander, 1.0, pauses, 2.0), 600.0, np.random.default_rng(seed))


@pytest.mark.parametrize("pauses", [(), (DWELL,), (LIFT, DWELL)])
def test_the_feed_adds_up_to_the_travel(pauses: tuple[Pause, ...]) -> None:
    steps = walked(*pauses)
    assert steps.travelled_mm[0] == 0
    assert steps.travelled_mm[-1] == 600
    assert np.sum(steps.feed_mm_s) / CONTROL_HZ == pytest.approx(600, abs=0.2)
    assert np.all(np.diff(steps.travelled_mm) >= 0)


def test_a_dwell_stands_still_in_contact_at_its_place() -> None:
    steps = walked(DWELL)
    still = steps.feed_mm_s < 0.5
    assert np.sum(still) / CONTROL_HZ == pytest.approx(1.0, abs=0.02)
    assert steps.depth.min() == 1
    # It begins to slow at half way and takes a tenth of a second to stop.
    assert steps.travelled_mm[still].mean() == pytest.approx(300, abs=8)


def test_a_lift_off_leaves_the_wood_and_comes_back() -> None:
    steps = walked(LIFT)
    away = steps.depth == 0
    assert np.sum(away) / CONTROL_HZ == pytest.approx(0.38, abs=0.03)
    assert steps.feed_mm_s[away].max() < 1.0
    assert steps.depth[0] == steps.depth[-1] == 1


def test_the_wander_of_the_feed_has_the_stated_size() -> None:
    spread = [np.std(np.log(walked(wander=0.2, seed=seed).feed_mm_s[500:])) for seed in range(30)]
    # About twenty independent swings a pass, thirty passes.
    assert np.mean(spread) == pytest.approx(0.2, rel=0.15)


def test_knots_resist_where_they_lie() -> None:
    position, figure = resistance(
        Grain(0.0, 30.0, ((0.5, 8.0, 2.0),)), 600.0, np.random.default_rng(1)
    )
    assert position[np.argmax(figure)] == pytest.approx(300, abs=1)
    assert figure.max() / figure[0] == pytest.approx(2.0, rel=1e-6)
    assert figure.mean() == pytest.approx(1.0)
