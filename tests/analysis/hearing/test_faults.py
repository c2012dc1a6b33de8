import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.hearing.faults import Fault, FaultKind, SoundLevel, faults_of
from analysis.hearing.passes import HeardPass
from analysis.hearing.spectra import SpectrumGrid
from analysis.hearing.trace import Trace
from tests.analysis.hearing.traces import STEP_S, Cut, frame, trace

Samples = npt.NDArray[np.float32]
RATE_HZ = 44_100


def sine(amplitude: float, *, seconds: float = 1.0, hz: float = 441.7) -> Samples:
    time_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    return (amplitude * np.sin(2 * np.pi * hz * time_s)).astype(np.float32)


def noise(deviation: float, *, seconds: float = 1.0) -> Samples:
    count = round(seconds * RATE_HZ)
    return np.random.default_rng(1).normal(0, deviation, count).astype(np.float32)


def level_of(*blocks: Samples) -> SoundLevel:
    level = SoundLevel()
    for block in blocks:
        level.add(block)
    return level


@given(amplitude=st.floats(0.001, 1))
@settings(max_examples=20, deadline=None)
def test_the_level_of_a_sine_is_its_amplitude_less_three_decibels(amplitude: float) -> None:
    # Within a part in the 442 turns it makes.
    expected = 20 * np.log10(amplitude / 2**0.5)
    assert level_of(sine(amplitude)).level_db == pytest.approx(expected, abs=0.01)


def test_the_level_is_over_all_the_blocks() -> None:
    quiet, loud = sine(0.1), sine(0.5)
    mean = 10 * np.log10((0.1**2 + 0.5**2) / 4)
    assert level_of(quiet, loud).level_db == pytest.approx(mean, abs=0.01)
    assert level_of().level_db == pytest.approx(-200)


@pytest.mark.parametrize("amplitude", [0.1, 0.5, 0.98, 1.0])
def test_a_pure_tone_is_not_clipped_however_loud(amplitude: float) -> None:
    assert level_of(sine(amplitude)).clipped_share == 0


def test_noise_a_ramp_and_silence_are_not_clipped() -> None:
    assert level_of(noise(0.2)).clipped_share == 0
    assert level_of(np.linspace(-1, 1, 30_000, dtype=np.float32)).clipped_share == 0
    assert level_of(np.zeros(30_000, np.float32)).clipped_share == 0
    assert level_of().clipped_share == 0


@pytest.mark.parametrize("ceiling", [1.0, 0.5, 0.12])
def test_clipped_noise_is_told_by_its_share_wherever_the_ceiling_is(ceiling: float) -> None:
    # A phone may clip before its gain: the ceiling need not be full scale.
    loud = noise(0.6 * ceiling, seconds=2.0)
    clipped = np.clip(loud, -ceiling, ceiling)
    share = float(np.mean(np.abs(loud) >= 0.98 * ceiling))
    sigma = (share / (len(loud) / 3)) ** 0.5  # every third sample is looked at
    assert level_of(clipped).clipped_share == pytest.approx(share, abs=4 * sigma)


def test_a_tone_clipped_by_three_decibels_is_clipped() -> None:
    clipped = np.clip(sine(1.0), -0.708, 0.708)
    # Half of the turn lies over 0.707 of the peak.
    assert level_of(clipped).clipped_share == pytest.approx(0.5, abs=0.02)


def faults(
    made: Trace,
    *,
    contact: npt.NDArray[np.bool_] | None = None,
    passes: tuple[HeardPass, ...] = (),
    level: SoundLevel | None = None,
    rate_hz: float = RATE_HZ,
) -> dict[FaultKind, Fault]:
    told = faults_of(
        level or level_of(noise(0.1)), trace=made, passes=passes, grid=SpectrumGrid(rate_hz),
        contact=np.zeros(len(made.lead), bool) if contact is None else contact,
    )  # fmt: skip
    return {fault.kind: fault for fault in told}


A_PASS = HeardPass(
    entry_s=5.0, exit_s=9.0, time_u95_s=0.1, moving_time_u95_s=0.1, spindle_rpm=18_000.0,
    spindle_rpm_u95=9.0, sag_percent=None, dwells=(), liftoffs=(), evenness=1.0, complete=True,
)  # fmt: skip


def test_a_good_take_has_no_faults() -> None:
    assert faults(trace([Cut(5, 9)], seconds=14), passes=(A_PASS,)) == {}


def test_no_router_and_no_cut() -> None:
    silent = trace([], seconds=10, off=[Cut(0, 10)])
    assert list(faults(silent)) == [FaultKind.NO_ROUTER]
    idling = faults(trace([], seconds=10, off=[Cut(0, 4)]))
    assert list(idling) == [FaultKind.NO_CUT]
    assert idling[FaultKind.NO_CUT].measure == pytest.approx(6.0, abs=STEP_S)
    assert idling[FaultKind.NO_CUT].unit == "s"


def test_clipped_and_too_quiet_are_told_with_their_measure() -> None:
    made = trace([Cut(5, 9)], seconds=14)
    clipped = faults(made, passes=(A_PASS,), level=level_of(np.clip(noise(0.5), -0.8, 0.8)))
    assert list(clipped) == [FaultKind.CLIPPED]
    assert clipped[FaultKind.CLIPPED].unit == "%"
    assert 5 < clipped[FaultKind.CLIPPED].measure < 20  # 1.57 deviations: 11.7 %
    quiet = faults(made, passes=(A_PASS,), level=level_of(noise(0.0005)))
    assert list(quiet) == [FaultKind.TOO_QUIET]
    assert quiet[FaultKind.TOO_QUIET].measure == pytest.approx(-66.02, abs=0.1)
    assert faults(made, passes=(A_PASS,), level=level_of(noise(0.002))) == {}  # -54 dB


@pytest.mark.parametrize(("rate_hz", "narrow"), [(8_000, True), (11_025, False), (16_000, False)])
def test_a_telephones_band_is_too_narrow(rate_hz: float, narrow: bool) -> None:
    told = faults(trace([Cut(5, 9)], seconds=14), passes=(A_PASS,), rate_hz=rate_hz)
    assert (FaultKind.BAND_TOO_NARROW in told) is narrow
    if narrow:
        assert told[FaultKind.BAND_TOO_NARROW].measure == 4_000


def riding(climb_db: float, *, cuts: list[Cut], seconds: float = 30.0) -> dict[FaultKind, Fault]:
    """Faults of a take in which the level climbs back evenly for two seconds after each cut."""
    made = trace(cuts, seconds=seconds, spread=0.05)
    contact = np.zeros(len(made.lead), bool)
    for cut in cuts:
        first, end = frame(cut.start_s), frame(cut.end_s)
        contact[first:end] = True
        back = np.arange(len(made.bands) - end) * STEP_S / 2.0
        low = -climb_db * np.log(10) / 10 * np.clip(1 - back, 0, 1)
        made.bands[end:] += low[:, None].astype(np.float32)
    return faults(made, contact=contact, passes=(A_PASS,))


def test_a_gain_that_comes_back_after_a_cut_is_told() -> None:
    told = riding(9.0, cuts=[Cut(4, 8), Cut(14, 18)])
    # From 0.3 to 0.49 s after the cut (mean 0.39) to 1.61 to 1.99 s (mean 1.80).
    assert told[FaultKind.GAIN_RIDING].measure == pytest.approx(9.0 * (1.80 - 0.39) / 2, abs=0.4)
    assert told[FaultKind.GAIN_RIDING].unit == "dB"
    assert riding(3.0, cuts=[Cut(4, 8), Cut(14, 18)]) == {}
    assert riding(0.0, cuts=[Cut(4, 8), Cut(14, 18)]) == {}


def test_riding_is_not_judged_where_the_next_cut_or_the_end_comes_too_soon() -> None:
    assert riding(12.0, cuts=[Cut(4, 8), Cut(9.5, 29)]) == {}
    assert riding(12.0, cuts=[Cut(4, 29)]) == {}


def test_riding_is_not_judged_by_what_is_heard_once_the_router_is_off() -> None:
    made = trace([Cut(4, 8)], seconds=20, off=[Cut(9, 20)])
    contact = np.zeros(len(made.lead), bool)
    contact[frame(4) : frame(8)] = True
    made.bands[frame(9) :] += 12.0  # a vacuum, say
    assert faults(made, contact=contact, passes=(A_PASS,)) == {}
