"""The pace's ticks leak from headphones into the microphone: they must not move a figure."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from scipy.signal import resample_poly

import recordings_synthetic
from analysis.coaching.summary import Review, review_take
from analysis.hearing.listener import Listener
from listen.decoding import open_take
from listen.live.frames import Samples
from listen.live.sounds import RATE_HZ, tick
from listen.setup import Bench, bench_of

TAKES = Path(recordings_synthetic.__file__).parent / "takes"


def review(sound: Samples, rate_hz: int, bench: Bench) -> Review:
    listener = Listener(
        sample_rate_hz=rate_hz,
        flutes=bench.cut.flutes,
        plate_range_rpm=bench.cut.plate_range_rpm,
    )
    listener.feed(sound)
    return review_take(listener.finish(), bench.cut)


@pytest.mark.parametrize("name", ["3-in-a-hurry", "4-finding-the-pace"])
def test_ticks_as_loud_as_the_router_itself_change_no_verdict(name: str) -> None:
    """Far worse than any headphones: each tick's peak at the router's own rms."""
    bench = bench_of(json.loads((TAKES / f"{name}.json").read_text())["setup"])
    with open_take(TAKES / f"{name}.m4a") as take:
        rate_hz = take.sample_rate_hz
        sound = np.concatenate(list(take.blocks()))
    step = np.gcd(rate_hz, RATE_HZ)
    plain = review(sound, rate_hz, bench)
    ticked = sound.copy()
    loudness = float(np.sqrt(np.mean(sound**2)))
    for one in plain.passes:
        for quarter in (1, 2, 3, 4):
            mark = resample_poly(tick(last=quarter == 4), rate_hz // step, RATE_HZ // step)
            mark = mark / np.abs(mark).max() * loudness
            at_s = one.reading.entry_s + quarter / 4 * 0.95 * one.reading.time_s
            first = round(at_s * rate_hz)
            ticked[first : first + len(mark)] += mark
    heard = review(ticked, rate_hz, bench)
    assert len(plain.passes) > 0
    for before, after in zip(plain.passes, heard.passes, strict=True):
        assert after.reading.verdict is before.reading.verdict
        # Within what the review itself calls uncertain.
        assert after.reading.time_s == pytest.approx(
            before.reading.time_s, abs=before.reading.time_u95_s
        )
        assert after.reading.spindle_rpm == pytest.approx(before.reading.spindle_rpm, rel=1e-4)
