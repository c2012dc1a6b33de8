"""Something that comes and goes is noticed when it has gone, on levels made here."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from analysis.hearing.stirring import Stirring

FRAMES, BANDS = 8, 10
HISS = np.linspace(0.0, 1.2, BANDS)  # nepers the chips add to each band


def alarms(
    shares: list[float], *, drift: float = 0.0, seed: int = 2
) -> dict[int, npt.NDArray[np.bool_]]:
    """Alarms by moment, while so much of the chips' hiss sounds in each moment."""
    rng = np.random.default_rng(seed)
    stirring, found = Stirring(), {}
    for moment, share in enumerate(shares):
        # The mean of some fifty cells' log power in eight half-overlapping frames.
        noise = 0.1 * rng.standard_normal((FRAMES, BANDS))
        levels = share * HISS + drift * moment + noise
        unlike = stirring.add(levels.astype(np.float32))
        if unlike is not None:
            found[moment] = unlike
    return found


def test_a_cut_is_noticed_when_it_is_over() -> None:
    found = alarms([0.0] * 10 + [1.0] * 12 + [0.0] * 8)
    first = min(found)
    # Two whole moments after the last of it: the one in which it ends is left out.
    assert 22 + 1 <= first <= 22 + 3
    unlike = found[first]
    assert len(unlike) == first + 1
    assert unlike[10:22].all()
    assert not unlike[:9].any()


def test_nothing_is_noticed_while_it_lasts() -> None:
    assert not alarms([0.0] * 10 + [1.0] * 40)


def test_nothing_comes_of_nothing() -> None:
    assert not alarms([0.0] * 200)


def test_a_knock_is_too_short() -> None:
    assert not alarms([0.0] * 10 + [1.0] + [0.0] * 20)


def test_a_change_that_stays_is_no_cut() -> None:
    # Switched on: what was before does not come back.
    assert not alarms([0.0] * 10 + [3.0] * 20)


@pytest.mark.parametrize("drift", [0.02, -0.02])
def test_a_gain_that_rides_does_not_hide_it(drift: float) -> None:
    # A fifth of a second a moment: 0.02 nepers of power each is half a decibel a second.
    assert alarms([0.0] * 10 + [1.0] * 12 + [0.0] * 8, drift=drift)
