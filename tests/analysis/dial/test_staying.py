"""What runs on while a dial is turned is known by its lines, and not taken for the router's."""

import numpy as np
import numpy.typing as npt
import pytest

from analysis.dial.calibration import plateaus_heard
from analysis.dial.listening import Sound, hear_running_free
from analysis.dial.log_axis import LOWEST_HZ, log_axis
from analysis.dial.spectra import take_spectra
from analysis.dial.staying import staying_lines
from analysis.hearing.orders import LOG_STEP, log_axis_excess
from analysis.hearing.spectra import SpectrumGrid
from tests.analysis.dial.free_running import SAMPLE_RATE_HZ, row_of_speeds, sound_of

PLATE_RPM = (10_000.0, 22_000.0)
SPEEDS_RPM = [10_130.0, 12_210.0, 14_500.0, 17_230.0, 19_800.0, 22_340.0]


def tones(count: int, hz: npt.NDArray[np.float64], orders: list[int], level: float) -> Sound:
    """Orders of a rotation, `hz` of shape (count,), as samples."""
    turns = np.cumsum(hz) / SAMPLE_RATE_HZ
    samples = sum(level * np.sin(2 * np.pi * order * turns + order) for order in orders)
    return Sound(np.asarray(samples, np.float32)[:count], SAMPLE_RATE_HZ)


def known(sound: npt.NDArray[np.float32], line_hz: float, at_s: float) -> bool:
    """Whether a frequency is taken for something that stays, at some time."""
    grid = SpectrumGrid(SAMPLE_RATE_HZ)
    raw = log_axis_excess(take_spectra(sound, grid=grid).excess, grid=grid, lowest_hz=LOWEST_HZ)
    axis = log_axis(raw, raw, grid=grid, reach=20)
    cell = round(np.log(line_hz / LOWEST_HZ) / LOG_STEP)
    return bool(staying_lines(axis)[int(at_s / axis.chunk_s), cell])


def turning(noise: float = 0.05) -> npt.NDArray[np.float32]:
    corners, _ = row_of_speeds(SPEEDS_RPM, held_s=5, between_s=0.6, off_between=False)
    return sound_of(corners, noise=noise)


def test_a_drifting_vacuum_is_followed_and_the_router_is_not() -> None:
    sound = turning()
    # It warms up from 331 Hz by 1.5 %: its 14th order moves by 70 Hz, six bins.
    hz = 331.0 * (1 + 0.015 * np.arange(len(sound)) / len(sound))
    both = sound + tones(len(sound), hz, [1, 2, 7, 14], 0.02).samples
    for share in (0.2, 0.8):
        at_s = share * len(sound) / SAMPLE_RATE_HZ
        assert known(both, 7 * 331.0 * (1 + 0.015 * share), at_s)
    # Fourth plateau: 17,230 rpm from 1 + 3 * 5.6 + 0.6 s on, its ninth order at 2584.5 Hz.
    assert not known(both, 9 * 17_230 / 60, 20.5)


@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
def test_mains_buzz_is_known_at_its_multiples(mains_hz: float) -> None:
    sound = turning()
    hz = np.full(len(sound), 2 * mains_hz)
    both = sound + tones(len(sound), hz, list(range(1, 17)), 0.01).samples
    assert known(both, 2 * mains_hz * 5, 12.0)


def test_a_router_alone_has_nothing_that_stays() -> None:
    assert not known(turning(), 9 * 17_230 / 60, 20.5)


def test_two_settings_whose_lines_lie_in_the_same_places_are_no_machine_that_stays() -> None:
    # 10,000 and 14,000 rpm are as 5 to 7: the 7th order of one is the 5th of the other, and so
    # on. Set one after the other and again, they have these lines for 22 s of the take.
    speeds_rpm = [8_300.0, 10_000.0, 14_000.0, 14_000.0, 10_000.0]
    corners, held = row_of_speeds(speeds_rpm, held_s=5, between_s=0.9, off_between=False)
    sound = sound_of(corners, orders=dict.fromkeys([*range(1, 36)], 0.008))
    at_s = (held[2].start_s + held[2].end_s) / 2
    assert not known(sound, 11 * 14_000 / 60, at_s)
    heard = hear_running_free((Sound(sound, SAMPLE_RATE_HZ),), plate_range_rpm=(8_000, 16_000))
    found = [p.spindle_rpm for p in plateaus_heard(heard)]
    assert found == pytest.approx([8_300, 10_000, 14_000, 10_000], rel=3e-4)


def test_a_slow_setting_is_heard_though_its_lines_are_fainter() -> None:
    # Sound rises with the speed: at 10,130 rpm it lies 14 dB under that at 22,340 (squared law),
    # under noise that does not fall with it.
    sound = turning(noise=0.02)
    rng = np.random.default_rng(5)
    noisy = sound + 0.012 * rng.standard_normal(len(sound)).astype(np.float32)
    heard = hear_running_free((Sound(noisy, SAMPLE_RATE_HZ),), plate_range_rpm=PLATE_RPM)
    assert [p.spindle_rpm for p in plateaus_heard(heard)] == pytest.approx(SPEEDS_RPM, rel=3e-4)
