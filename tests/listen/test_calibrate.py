"""The calibrate command on takes of our own making, in process."""

import json
import re
from pathlib import Path

import numpy as np
import pytest
from scipy.io import wavfile

from listen.cli import run
from listen.store.names import NamingError, name_store, router_named
from tests.analysis.dial.free_running import SAMPLE_RATE_HZ, row_of_speeds, sound_of

SPEEDS_RPM = [10_130.0, 12_210.0, 14_500.0, 17_230.0, 19_800.0, 22_340.0]


def take(path: Path, speeds_rpm: list[float]) -> Path:
    corners, _ = row_of_speeds(speeds_rpm, held_s=4, between_s=0.6, off_between=False)
    wavfile.write(path, SAMPLE_RATE_HZ, sound_of(corners, noise=0.05))
    return path


@pytest.fixture(scope="module")
def dial(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return take(tmp_path_factory.mktemp("takes") / "dial.wav", [*SPEEDS_RPM, 14_530.0])


@pytest.fixture(scope="module")
def three(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return take(tmp_path_factory.mktemp("takes") / "three.wav", SPEEDS_RPM[:3])


def nothing_is_kept(router: str) -> bool:
    with name_store() as store:
        try:
            router_named(store, router)
        except NamingError:
            return store.calibration(router) is None
    return False


def test_one_command_makes_table_card_figure_json_and_keeps_it(
    dial: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    card, figure = tmp_path / "card.pdf", tmp_path / "dial.png"
    arguments = [
        "calibrate", str(dial), "--router", "bench", "--settings", "1..6,3",
        "--nominal", "10000-22000", "--card", str(card), "--figure", str(figure), "--json",
    ]  # fmt: skip
    assert run(arguments) == 0
    printed = capsys.readouterr()
    told = json.loads(printed.out)
    assert told["schema"] == 1
    assert [p["setting"] for p in told["plateaus"]] == ["1", "2", "3", "4", "5", "6", "3"]
    speeds = [p["rpm"] for p in told["plateaus"]]
    assert speeds == pytest.approx([*SPEEDS_RPM, 14_530], rel=2e-4)
    assert all(p["start_s"] < p["end_s"] and p["rpm_u95"] >= 0 for p in told["plateaus"])
    assert told["curve"]["marks"] == "numbers"
    assert {9, 12, 18, 24} <= set(told["voice"]["idle_orders"])
    assert told["notes"]
    assert 'Kept as "bench"' in printed.err
    assert max(map(len, printed.err.splitlines())) <= 80
    assert card.read_bytes().startswith(b"%PDF")
    assert figure.read_bytes().startswith(b"\x89PNG")
    with name_store() as store:
        assert router_named(store, "bench").plate_range_rpm == (10_000, 22_000)
        kept = store.calibration("bench")
    assert kept is not None
    assert kept.calibration["schema"] == 1


def test_a_kept_calibration_serves_plan_and_check(
    dial: Path, three: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["calibrate", str(dial), "--router", "bench", "--settings", "1..6,3", "-q"]) == 0
    assert run(["calibrate", str(three), "--router", "bench", "--settings", "1..3", "--check"]) == 0
    assert " ".join(capsys.readouterr().out.split()).count("still holds") == 3
    plan = (
        "plan --bit 12.7mm --flutes 2 --trim 1.6mm --material hardwood --edge 600mm "
        "--range 10000-22000 --router bench"
    )
    assert run(plan.split()) == 0
    assert re.search(r"dial at \d", capsys.readouterr().out)


def test_a_dial_that_has_moved_is_told_on_check_and_on_calibrating_anew(
    dial: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["calibrate", str(dial), "--router", "bench", "--settings", "1..6,3", "-q"]) == 0
    fast = str(take(tmp_path / "fast.wav", [1.04 * speed for speed in SPEEDS_RPM[:4]]))
    assert run(["calibrate", fast, "--router", "bench", "--settings", "1..4", "--check"]) == 0
    assert "The dial now runs 4.0 % fast" in capsys.readouterr().out
    assert run(["calibrate", fast, "--router", "bench", "--settings", "1..4"]) == 0
    assert "the dial has moved" in " ".join(capsys.readouterr().out.split())


@pytest.mark.parametrize(
    ("settings", "says"),
    [
        ("1,3,2", "does not rise with the dial"),
        ("1,3,2", "They would rise as 1, 2, 3"),
        ("1,2,3,4", "3 steady speeds are heard, but 4 settings are given"),
        ("1,2", "3 steady speeds are heard, but 2 settings are given"),
        ("1,2,B", "numbers or letters, not both"),
        ("fast,slow", "not a dial setting"),
    ],
)
def test_wrong_settings_are_told_and_nothing_is_stored(
    settings: str, says: str, three: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    card = tmp_path / "card.pdf"
    arguments = ["calibrate", str(three), "--router", "new", "--settings", settings]
    assert run([*arguments, "--card", str(card)]) == 2
    printed = capsys.readouterr()
    assert says in " ".join(printed.err.split())
    assert "Traceback" not in printed.err
    assert not card.exists()
    assert nothing_is_kept("new")


def test_a_refusal_draws_what_was_found(
    three: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    figure = tmp_path / "found.png"
    arguments = ["calibrate", str(three), "--settings", "1..6", "--figure", str(figure)]
    assert run(arguments) == 2
    assert figure.read_bytes().startswith(b"\x89PNG")
    assert capsys.readouterr().err.count("rpm  ==") == 3


@pytest.mark.parametrize("kind", ["silence", "noise", "two routers", "one speed"])
def test_takes_that_hold_no_row_of_speeds_store_nothing(
    kind: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rng = np.random.default_rng(2)
    sound = np.zeros(10 * SAMPLE_RATE_HZ, np.float32)
    if kind == "noise":
        sound = (0.05 * rng.standard_normal(len(sound))).astype(np.float32)
    if kind == "one speed":
        sound = sound_of([(0, 17e3), (20, 17e3)], noise=0.05)
    if kind == "two routers":
        rows = [SPEEDS_RPM[:5], SPEEDS_RPM[4::-1]]
        both = [
            sound_of(
                row_of_speeds(row, held_s=4 + 0.7 * i, between_s=0.6, off_between=False)[0],
                noise=0.05,
                seed=i,
                orders=[None, {1: 0.02, 3: 0.03, 7: 0.03, 14: 0.02, 22: 0.02}][i],
            )
            for i, row in enumerate(rows)
        ]
        length = min(map(len, both))
        sound = both[0][:length] + both[1][:length]
    path = tmp_path / "take.wav"
    wavfile.write(path, SAMPLE_RATE_HZ, sound)
    status = run(["calibrate", str(path), "--router", "new", "--settings", "1,5,2,4,3"])
    assert status == 2
    assert "Nothing was stored" in " ".join(capsys.readouterr().err.split())
    assert nothing_is_kept("new")


def test_without_settings_the_speeds_found_are_shown(
    three: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["calibrate", str(three)]) == 2
    told = capsys.readouterr().err
    assert "--settings 1,2,3" in told
    assert "14,500 rpm" in told


@pytest.mark.parametrize(
    ("extra", "says"),
    [
        (["--card", "card.txt"], "must end in .pdf or .png"),
        (["--figure", "dial.doc"], "must end in .png, .svg or .pdf"),
        (["--check"], "--check needs the router's name"),
        (["--router", "12mm"], "starts like a size"),
        (["--router", "never", "--check"], 'no router called "never"'),
        (["--nominal", "22000-10000"], "from the lower speed to the higher"),
    ],
)
def test_options_that_make_no_sense_are_refused(
    extra: list[str], says: str, three: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["calibrate", str(three), "--settings", "1..3", *extra]) == 2
    assert says in " ".join(capsys.readouterr().err.split())


def test_a_take_too_short_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "short.wav"
    wavfile.write(path, 16_000, np.zeros(16_000, np.float32))
    assert run(["calibrate", str(path), "--settings", "1,2"]) == 2
    assert "lasts only 1.0 s" in capsys.readouterr().err
