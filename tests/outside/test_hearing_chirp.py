"""A chirp whose instantaneous frequency scipy documents, followed as a rotation's orders."""

from typing import Literal

import numpy as np
import numpy.typing as npt
import pytest
from scipy.signal import chirp

from analysis.hearing.listener import Listener

SAMPLE_RATE_HZ = 48_000
LENGTH_S = 8.0
ORDERS = range(1, 9)


Method = Literal["linear", "quadratic", "logarithmic"]


@pytest.mark.parametrize("method", ["linear", "quadratic", "logarithmic"])
@pytest.mark.parametrize(("first_hz", "last_hz"), [(300.0, 330.0), (330.0, 300.0)])
def test_the_track_follows_scipys_chirp(method: Method, first_hz: float, last_hz: float) -> None:
    # 600 rpm in 8 s and less is what a drifting or sagging motor does.
    time_s = np.arange(round(LENGTH_S * SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ
    sound = 0.002 * np.random.default_rng(5).standard_normal(len(time_s))
    for order in ORDERS:
        sound += 0.1 / order * chirp(
            time_s, order * first_hz, LENGTH_S, order * last_hz, method=method, phi=40.0 * order
        )  # fmt: skip
    listener = Listener(sample_rate_hz=SAMPLE_RATE_HZ, plate_range_rpm=(12_000, 24_000))
    listener.feed(sound.astype(np.float32))
    track = listener.finish().track
    true_hz = instantaneous_hz(track.time_s, method, first_hz, last_hz)
    inside = (track.time_s > 0.25) & (track.time_s < LENGTH_S - 0.25)
    errors = np.abs(track.spindle_rpm[inside] / 60 / true_hz[inside] - 1)
    # 0.05 %: the median error that the speed must keep; at -34 dB of noise it is far below.
    assert np.median(errors) < 5e-4
    assert np.max(errors) < 5e-3  # no frame unheard (NaN would fail) or off by half a percent


def instantaneous_hz(
    time_s: npt.NDArray[np.float64], method: Method, first_hz: float, last_hz: float
) -> npt.NDArray[np.float64]:
    """f(t) as the documentation of scipy.signal.chirp gives it, t1 being `LENGTH_S`.

    linear: f0 + (f1 - f0) t / t1; quadratic (vertex at zero): f0 + (f1 - f0) t^2 / t1^2;
    logarithmic: f0 (f1 / f0)^(t / t1).
    """
    share = time_s / LENGTH_S
    if method == "logarithmic":
        return np.asarray(first_hz * (last_hz / first_hz) ** share)
    return np.asarray(
        first_hz + (last_hz - first_hz) * share ** (2 if method == "quadratic" else 1)
    )
