from functools import cache

import numpy as np
import numpy.typing as npt
import pytest

from analysis.errors import InputError
from analysis.hearing.faults import FaultKind
from analysis.hearing.listener import Hearing, Listener
from tests.analysis.hearing.sounds import router
from tests.analysis.hearing.traces import Cut

Samples = npt.NDArray[np.float32]
PLATE_RPM = (8_000.0, 24_000.0)
CUTS = [Cut(3, 7), Cut(11, 15)]
# A step of the engine is 47 ms; the bit's way in takes 40 ms, and a frame holds 93 ms.
ENDS_S = 0.1


def hear(
    samples: Samples,
    *,
    rate_hz: float = 16_000,
    block: int | None = None,
    flutes: int | None = 2,
    plate_range_rpm: tuple[float, float] | None = PLATE_RPM,
) -> Hearing:
    listener = Listener(sample_rate_hz=rate_hz, flutes=flutes, plate_range_rpm=plate_range_rpm)
    block = block or len(samples)
    for first in range(0, len(samples), block):
        listener.feed(samples[first : first + block])
    return listener.finish()


@cache
def take() -> Samples:
    return router(CUTS, seconds=18)


@cache
def heard_whole() -> Hearing:
    return hear(take())


def assert_heard(hearing: Hearing, cuts: list[Cut], *, idle_rpm: float, sag: float = 0.03) -> None:
    assert hearing.track.idle_rpm == pytest.approx(idle_rpm, rel=5e-4)
    assert len(hearing.passes) == len(cuts)
    for told, cut in zip(hearing.passes, cuts, strict=True):
        assert told.entry_s == pytest.approx(cut.start_s, abs=ENDS_S)
        assert told.exit_s == pytest.approx(cut.end_s, abs=ENDS_S)
        # The track turns over a third of a second, where here the speed does in 40 ms: at
        # either end that hides some 0.04 s of the sag, of at least 2 s.
        hidden = 0.04 * sag
        assert told.spindle_rpm == pytest.approx((1 - sag) * idle_rpm, rel=hidden + 1e-4)
        assert told.sag_percent == pytest.approx(100 * sag, abs=100 * hidden + 0.02)
        assert told.complete
        assert told.dwells == told.liftoffs == ()


def assert_same(one: Hearing, other: Hearing) -> None:
    """Bit for bit."""
    assert one.passes == other.passes
    assert one.duration_s == other.duration_s
    assert one.sample_rate_hz == other.sample_rate_hz
    assert one.track.idle_rpm == other.track.idle_rpm
    assert one.track.idle_rpm_u95 == other.track.idle_rpm_u95
    for name in ("time_s", "spindle_rpm", "spindle_rpm_u95", "confidence"):
        a, b = getattr(one.track, name), getattr(other.track, name)
        assert np.array_equal(a, b, equal_nan=True)
    assert np.array_equal(one.overview.level_db, other.overview.level_db)
    assert one.voices is not None
    assert other.voices is not None
    assert np.array_equal(one.voices.idle, other.voices.idle)
    assert np.array_equal(one.voices.cutting, other.voices.cutting)
    assert [fault.kind for fault in one.faults] == [fault.kind for fault in other.faults]


def test_a_take_is_heard_as_it_was_made() -> None:
    hearing = heard_whole()
    assert_heard(hearing, CUTS, idle_rpm=18_000)
    assert hearing.faults == ()
    assert hearing.duration_s == pytest.approx(18.0)
    assert hearing.sample_rate_hz == 16_000
    assert hearing.track.confidence.min() > 0.5
    assert np.isfinite(hearing.track.spindle_rpm).all()


@pytest.mark.parametrize("block", [64, 4_096, 999, 100_000])
def test_the_same_take_in_blocks_gives_the_same_hearing(block: int) -> None:
    assert_same(hear(take(), block=block), heard_whole())


@pytest.mark.parametrize("block", [64, 4_096])
def test_blocks_make_no_difference_to_a_clipped_take_either(block: int) -> None:
    loud = np.clip(6 * take(), -0.25, 0.25)
    whole, parts = hear(loud), hear(loud, block=block)
    assert_same(whole, parts)
    assert [fault.kind for fault in whole.faults] == [FaultKind.CLIPPED]


@pytest.mark.parametrize("rate_hz", [8_000, 16_000, 44_100, 48_000, 96_000, 192_000])
def test_every_sample_rate_tells_the_same_speed(rate_hz: int) -> None:
    cuts = [Cut(2, 4), Cut(6.5, 8.5)]
    hearing = hear(router(cuts, seconds=10, rate_hz=rate_hz), rate_hz=rate_hz)
    assert_heard(hearing, cuts, idle_rpm=18_000)
    kinds = [fault.kind for fault in hearing.faults]
    assert kinds == ([FaultKind.BAND_TOO_NARROW] if rate_hz == 8_000 else [])


@pytest.mark.parametrize("plate_rpm", [PLATE_RPM, None], ids=["plate", "no plate"])
@pytest.mark.parametrize(
    ("flutes", "idle_rpm"), [(1, 11_000), (2, 23_000), (3, 12_180), (3, 18_000), (4, 15_000)]
)
def test_neither_half_nor_double_nor_the_teeth_are_taken_for_the_rotation(
    flutes: int, idle_rpm: float, plate_rpm: tuple[float, float] | None
) -> None:
    cuts = [Cut(2, 5), Cut(8, 11)]
    sound = router(cuts, seconds=13, flutes=flutes, idle_rpm=idle_rpm)
    assert_heard(hear(sound, flutes=flutes, plate_range_rpm=plate_rpm), cuts, idle_rpm=idle_rpm)


@pytest.mark.parametrize("vacuum_rpm", [13_300, 20_700])
def test_a_vacuum_that_runs_on_is_not_the_router(vacuum_rpm: float) -> None:
    cuts = [Cut(2, 5), Cut(8, 11)]
    sound = router(cuts, seconds=13)
    turns = vacuum_rpm / 60 * np.arange(len(sound)) / 16_000
    for order, amplitude in {1: 0.03, 2: 0.04, 4: 0.03, 7: 0.05, 14: 0.03}.items():
        sound += np.float32(amplitude) * np.sin(2 * np.pi * order * turns).astype(np.float32)
    assert_heard(hear(sound), cuts, idle_rpm=18_000)


@pytest.mark.parametrize("sag", [0.005, 0.15])
def test_a_regulated_and_a_plain_motor(sag: float) -> None:
    cuts = [Cut(2, 5), Cut(8, 11)]
    assert_heard(hear(router(cuts, seconds=13, sag=sag)), cuts, idle_rpm=18_000, sag=sag)


def test_a_pass_that_the_take_cuts_off_is_not_complete() -> None:
    begun = hear(take()[5 * 16_000 :])
    assert [told.complete for told in begun.passes] == [False, True]
    assert begun.passes[0].entry_s == 0
    ended = hear(take()[: 14 * 16_000])
    assert [told.complete for told in ended.passes] == [True, False]
    assert ended.passes[1].exit_s == pytest.approx(14.0, abs=ENDS_S)


def test_the_router_is_off_until_it_is_switched_on() -> None:
    cuts = [Cut(5, 8), Cut(11, 14)]
    hearing = hear(router(cuts, seconds=16, on_s=2.5))
    assert_heard(hearing, cuts, idle_rpm=18_000)
    on = np.isfinite(hearing.track.spindle_rpm)
    assert not on[hearing.track.time_s < 2.5].any()
    assert on[hearing.track.time_s > 3.1].all()  # it comes up in half a second


def test_a_long_take_is_heard_in_sections_without_a_seam() -> None:
    # 8 kHz, 121 s: longer than a section with both its margins.
    cuts = [Cut(4 + 9 * i, 8 + 9 * i) for i in range(13)]
    sound = router(cuts, seconds=121, rate_hz=8_000)
    whole = hear(sound, rate_hz=8_000)
    assert_heard(whole, cuts, idle_rpm=18_000)
    assert np.diff(whole.track.time_s) == pytest.approx(whole.track.time_s[1])
    assert whole.track.time_s[-1] == pytest.approx(121, abs=0.05)
    assert_same(whole, hear(sound, rate_hz=8_000, block=4_096))


def test_what_the_voices_taught_is_used_on_the_next_take() -> None:
    voices = heard_whole().voices
    assert voices is not None
    listener = Listener(
        sample_rate_hz=16_000, flutes=2, plate_range_rpm=PLATE_RPM, known_voices=voices
    )
    listener.feed(router(CUTS, seconds=18, idle_rpm=14_000, seed=2))
    assert_heard(listener.finish(), CUTS, idle_rpm=14_000)


def tune(seconds: float) -> Samples:
    rng = np.random.default_rng(1)
    notes_hz = rng.choice([220, 247, 262, 294, 330, 349, 392, 440], round(4 * seconds))
    phase = 2 * np.pi * np.cumsum(np.repeat(notes_hz, 4_000)) / 16_000
    tones = np.sum([np.sin(k * phase) / k for k in range(1, 6)], axis=0)
    return np.asarray(0.2 * tones + 0.003 * rng.normal(size=len(phase)), np.float32)


@pytest.mark.parametrize("what", ["silence", "noise", "tune", "tone"])
def test_where_there_is_no_router_none_is_heard(what: str) -> None:
    count = 10 * 16_000
    rng = np.random.default_rng(1)
    tone = 0.3 * np.sin(2 * np.pi * 440 * np.arange(count) / 16_000)
    sounds: dict[str, npt.NDArray[np.floating]] = {
        "silence": np.zeros(count),
        "noise": 0.1 * rng.normal(size=count),
        "tune": tune(10),
        "tone": tone,
    }
    hearing = hear(sounds[what].astype(np.float32))
    kinds = [fault.kind for fault in hearing.faults]
    assert kinds == [FaultKind.NO_ROUTER, *([FaultKind.TOO_QUIET] if what == "silence" else [])]
    assert np.isnan(hearing.track.spindle_rpm).all()
    assert hearing.track.idle_rpm is None
    assert hearing.passes == ()
    assert hearing.voices is None


def test_running_free_only_is_told_as_no_cut() -> None:
    hearing = hear(router([], seconds=8))
    assert [fault.kind for fault in hearing.faults] == [FaultKind.NO_CUT]
    assert hearing.track.idle_rpm == pytest.approx(18_000, rel=5e-4)
    assert hearing.passes == ()


@pytest.mark.parametrize("samples", [1, 400, 4_800])
def test_the_shortest_sounds_are_no_router(samples: int) -> None:
    hearing = hear(np.full(samples, 1e-3, np.float32))
    assert [fault.kind for fault in hearing.faults][:1] == [FaultKind.NO_ROUTER]
    assert hearing.passes == ()


def test_nonsense_is_refused_by_name() -> None:
    with pytest.raises(InputError, match=r"flutes must be a whole number from 1 to 12"):
        Listener(sample_rate_hz=44_100, flutes=0)
    with pytest.raises(InputError, match=r"flutes"):
        Listener(sample_rate_hz=44_100, flutes=13)
    for wrong in ((24_000.0, 8_000.0), (0.0, 24_000.0), (-1.0, 5.0)):
        with pytest.raises(InputError, match=r"speed range \(rpm\) must be a low and a higher"):
            Listener(sample_rate_hz=44_100, plate_range_rpm=wrong)
    with pytest.raises(InputError, match=r"sample rate"):
        Listener(sample_rate_hz=4_000)
