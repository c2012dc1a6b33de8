"""Every machine that sounds is listed, however they drown each other."""

import numpy as np
import numpy.typing as npt
import pytest

from analysis.hearing.path import OFF
from analysis.hearing.scanning import APART, machines_heard
from tests.analysis.hearing.searches import RATE_HZ, searched

SECONDS = 6.0
HUM_ORDERS = (1, 2, 3, 5, 7, 10)
NEAR = 0.01  # enough for following it from there: windows are three times as wide


def machine(rotation_hz: float, amplitude: float) -> npt.NDArray[np.float64]:
    """Orders of one steady rotation."""
    time_s = np.arange(round(SECONDS * RATE_HZ)) / RATE_HZ
    tones = [np.sin(2 * np.pi * n * rotation_hz * time_s + n**2) for n in HUM_ORDERS]
    return np.asarray(amplitude * np.sum(tones, axis=0), np.float64)


def noise() -> npt.NDArray[np.float64]:
    rng = np.random.default_rng(7)
    return np.asarray(0.03 * rng.normal(size=round(SECONDS * RATE_HZ)))


def speeds_hz(sound: npt.NDArray[np.float64], most: int = 8) -> list[float]:
    search = searched(sound)
    paths = machines_heard(search, most)
    return [float(np.median(search.candidates.rotation_hz[path[path != OFF]])) for path in paths]


@pytest.mark.parametrize("loud_hz", [211.0, 313.0])
def test_a_machine_that_is_never_the_loudest_is_listed(loud_hz: float) -> None:
    faint_hz = 211.0 + 313.0 - loud_hz
    heard = speeds_hz(noise() + machine(loud_hz, 0.08) + machine(faint_hz, 0.012))
    for hz in (loud_hz, faint_hz):
        assert any(other == pytest.approx(hz, rel=NEAR) for other in heard)


def test_no_machine_is_listed_twice_and_no_more_than_asked_for() -> None:
    heard = speeds_hz(noise() + machine(211.0, 0.08) + machine(313.0, 0.05), most=4)
    assert len(heard) <= 4
    assert np.diff(np.log(np.sort(heard))).min() > APART * 0.9  # to a candidate


def test_in_noise_alone_next_to_nothing_is_listed() -> None:
    assert len(speeds_hz(noise())) <= 1


def test_where_only_some_steps_are_asked_about_the_others_say_nothing() -> None:
    """The louder machine runs in the first half alone, and the second half is asked about."""
    half = round(SECONDS / 2 * RATE_HZ)
    loud, faint = machine(211.0, 0.08), machine(313.0, 0.05)
    loud[half:] = 0.0
    faint[:half] = 0.0
    search = searched(noise() + loud + faint)
    steps = np.arange(len(search.excess)) > 0.55 * len(search.excess)
    paths = machines_heard(search, 1, steps)
    assert [float(np.median(search.candidates.rotation_hz[p[p != OFF]])) for p in paths] == [
        pytest.approx(313.0, rel=NEAR)
    ]
    assert all((path[~steps] == OFF).all() for path in paths)
