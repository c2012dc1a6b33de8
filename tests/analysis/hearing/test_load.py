"""What comes off along one edge is the same however fast it is fed."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.hearing.load import load_of, removed_s
from analysis.hearing.trace import Trace
from tests.analysis.hearing.traces import BANDS, STEP_S, TEETH, Cut, frame

IDLE, FREE_S = -6.0, 3.0
EDGE_S = 6.0  # at the usual feed
STILL = 0.02  # nepers by which a band's level strays


def fed(feeds: list[float], *, chips: float, colour: bool = False) -> tuple[Trace, list[Cut]]:
    """Passes over one edge at so many times the usual feed.

    The force on an edge goes with the chip's thickness (milling's linear force model: specific
    cutting force times the chip's section, common in handbooks [memory]), and sound pressure with
    the force: so the chips' power, `chips` times running free's at the usual feed, goes with the
    feed squared, and the time with one over the feed. With `colour` the chips are heard in two
    bands only.
    """
    rng = np.random.default_rng(3)
    cuts, now_s = [], FREE_S
    for feed in feeds:
        cuts.append(Cut(now_s, now_s + EDGE_S / feed))
        now_s = cuts[-1].end_s + FREE_S
    power = np.ones((frame(now_s), BANDS))
    heard = slice(BANDS - 2, None) if colour else slice(None)
    for cut, feed in zip(cuts, feeds, strict=True):
        power[frame(cut.start_s) : frame(cut.end_s), heard] += chips * feed**2
    contact = power[:, -1] > 1
    trace = Trace(
        step_s=STEP_S,
        bands=(IDLE + np.log(power) + rng.normal(0, STILL, power.shape)).astype(np.float32),
        rotation_hz=np.full(len(power), 300.0),
        deviation_hz=np.full(len(power), 0.03),
        lead=np.where(contact, 6.0, -6.0),
        cutting=contact,
        teeth=np.zeros((len(power), TEETH), np.float32),
    )
    return trace, cuts


def taken(trace: Trace, cuts: list[Cut]) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    stretches = [(frame(cut.start_s), frame(cut.end_s)) for cut in cuts]
    return removed_s(load_of(trace, stretches), stretches, step_s=STEP_S)


@given(st.lists(st.floats(0.6, 1.6), min_size=3, max_size=6), st.floats(6, 60))
@settings(max_examples=15, deadline=None)
def test_one_edge_is_the_same_wood_at_any_feed(feeds: list[float], chips: float) -> None:
    each_s = taken(*fed(feeds, chips=chips))
    # Power over idle is read to STILL over its own share of the level, amplitude to half of that.
    worst = STILL * (1 + 1 / (chips * min(feeds) ** 2)) / 2 + STEP_S * max(feeds) / EDGE_S
    assert np.ptp(np.log(each_s)) <= 2 * worst


def test_usual_cutting_takes_off_what_its_time_says() -> None:
    each_s = taken(*fed([1.0, 1.0, 1.0], chips=20.0))
    assert each_s == pytest.approx(EDGE_S, rel=0.02)


def test_half_of_an_edge_is_half_of_the_wood() -> None:
    trace, (before, cut, after) = fed([0.8, 1.3, 1.0], chips=20.0)
    middle_s = (cut.start_s + cut.end_s) / 2
    halves = [Cut(cut.start_s, middle_s), Cut(middle_s, cut.end_s)]
    whole_s = taken(trace, [before, cut, after])
    parted_s = taken(trace, [before, *halves, after])
    assert parted_s[1] == pytest.approx(parted_s[2], rel=0.03)
    assert parted_s[1] + parted_s[2] == pytest.approx(whole_s[1])


def test_chips_in_few_bands_are_told_by_the_colour_of_the_sound() -> None:
    feeds = [0.7, 1.4, 1.0, 1.2]
    each_s = taken(*fed(feeds, chips=20.0, colour=True))
    by_time = np.ptp(np.log(feeds))
    assert np.ptp(np.log(each_s)) < by_time / 2


def test_where_nothing_runs_free_time_is_all_there_is() -> None:
    trace, _ = fed([1.0], chips=20.0)
    whole = [(0, len(trace.bands))]
    seconds = len(trace.bands) * STEP_S
    assert removed_s(load_of(trace, whole), whole, step_s=STEP_S)[0] == pytest.approx(seconds)


def test_the_load_is_the_feed() -> None:
    trace, cuts = fed([0.7, 1.0, 1.4], chips=20.0)
    load = load_of(trace, [(frame(cut.start_s), frame(cut.end_s)) for cut in cuts])
    each = [np.median(load[frame(cut.start_s) : frame(cut.end_s)]) for cut in cuts]
    assert np.array(each) / each[1] == pytest.approx([0.7, 1.0, 1.4], rel=0.03)
    assert load[: frame(FREE_S)].mean() < 0.05
