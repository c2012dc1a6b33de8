"""Two routers that are set in one take: refused, and nothing that is kept changes."""

from pathlib import Path

import pytest
from scipy.io import wavfile

from listen.cli import run
from listen.store.names import name_store
from tests.analysis.dial.free_running import SAMPLE_RATE_HZ, row_of_speeds, sound_of

SPEEDS_RPM = [10_130.0, 12_210.0, 14_500.0, 17_230.0, 19_800.0, 22_340.0]
OTHERS_RPM = [11_300.0, 13_900.0, 15_800.0, 18_700.0, 21_300.0, 23_600.0]


def test_two_routers_at_once_are_refused_and_what_is_kept_stays(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    alone, _ = row_of_speeds(SPEEDS_RPM, held_s=4, between_s=0.6, off_between=False)
    beside, _ = row_of_speeds(OTHERS_RPM, held_s=4.7, between_s=0.6, off_between=False)
    one = sound_of(alone, noise=0.05)
    other = sound_of(
        beside, noise=0.05, seed=2, orders={1: 0.012, 2: 0.008, 7: 0.03, 14: 0.014, 11: 0.02}
    )
    wavfile.write(tmp_path / "alone.wav", SAMPLE_RATE_HZ, one)
    length = min(len(one), len(other))
    wavfile.write(tmp_path / "both.wav", SAMPLE_RATE_HZ, one[:length] + other[:length])
    named = ["--router", "bench", "--settings", "1..6"]
    assert run(["calibrate", str(tmp_path / "alone.wav"), *named, "-q"]) == 0
    with name_store() as store:
        before = store.calibration("bench")
    for extra in ([], ["--check"]):
        capsys.readouterr()
        assert run(["calibrate", str(tmp_path / "both.wav"), *named, *extra]) == 2
        told = capsys.readouterr().err
        assert "Two machines are heard" in told
        assert max(map(len, told.splitlines())) <= 80
    with name_store() as store:
        assert store.calibration("bench") == before
