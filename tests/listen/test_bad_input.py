"""What cannot be reviewed gets one clear sentence, exit status 2, and leaves nothing behind."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tests.listen.conftest import Said

Command = Callable[..., Said]


def refused(said: Said, words: str) -> None:
    assert said.status == 2
    assert said.out == ""
    assert said.err.startswith("toothbeat: ")
    assert words in said.err
    assert "Traceback" not in said.err
    # The sentence, and for a slip in the options where to look them up.
    lines = said.err.rstrip("\n").split("\n")
    assert lines[1:] in ([], ["See: toothbeat review --help"])


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--edge", "0mm"], '"0mm" is out of range: an edge is from 10mm to'),
        (["--edge", "3km"], '"3km" is out of range'),
        (["--edge", "-600mm"], '"-600mm" is out of range'),
        (["--edge", "12 parsecs"], 'don\'t know the unit "parsecs"'),
        (["--edge", "600"], "Write 600mm for millimetres or 600in for inches"),
        (["--bit", "0.1mm"], "a bit's diameter is from"),
        (["--flutes", "-2"], "a bit has 1 to 12 flutes, not -2"),
        (["--flutes", "two"], "not a whole number of flutes"),
        (["--flutes", "1.5"], "not a whole number of flutes"),
        (["--trim", "20mm", "--bit", "12.7mm"], "A trim of 20 mm is wider than the bit, 12.7 mm"),
        (["--trim", "buried"], "give its diameter with --bit"),
        (["--material", "cheese"], 'I don\'t know "cheese"'),
        (["--band", "0.15mm-0.08mm"], "from a smaller to a larger length"),
        (["--band", "5mm-9mm"], "a chip load is from"),
        (["--range", "8000"], "not a range of speeds"),
        (["--range", "24000-8000"], "from the lower speed to the higher one"),
        (["--range", "10-20"], "routers turn at 3,000 to 60,000 rpm"),
        (["--max-rpm", "900000"], "routers turn at"),
        (["--figure", "picture.gif"], "must end in .png, .svg or .pdf"),
        (["--report", "no/such/folder/take.html"], "There is no folder"),
        (["--report", "."], "is a folder"),
        (["--loud"], "No such option '--loud'"),
    ],
)
def test_values_that_make_no_sense(
    toothbeat: Command, take: Path, options: list[str], words: str
) -> None:
    refused(toothbeat("review", take, *options), words)


def test_no_take_at_all(toothbeat: Command) -> None:
    refused(toothbeat("review"), "Missing argument 'TAKE'")


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("gone.m4a", None, "There is no file"),
        ("empty.m4a", b"", "is empty"),
        ("letter.m4a", b"Dear diary, today I routed a shelf.\n" * 40, "not a sound file"),
        ("cut.wav", b"RIFF\xff\xff\x00\x00WAVEfmt ", "cut short or damaged"),
    ],
)
def test_files_that_hold_no_take(
    toothbeat: Command, tmp_path: Path, name: str, content: bytes | None, words: str
) -> None:
    if content is not None:
        (tmp_path / name).write_bytes(content)
    refused(toothbeat("review", tmp_path / name), words)


def test_a_folder(toothbeat: Command, tmp_path: Path) -> None:
    refused(toothbeat("review", tmp_path), "is a folder")


def test_a_recording_that_was_never_finished(
    toothbeat: Command, take: Path, tmp_path: Path
) -> None:
    data = take.read_bytes()
    (tmp_path / "half.m4a").write_bytes(data[: len(data) // 2])
    refused(toothbeat("review", tmp_path / "half.m4a"), "cut short or damaged")


def test_a_take_of_a_blink(toothbeat: Command, tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    soundfile.write(tmp_path / "blink.wav", rng.normal(0, 0.1, int(0.3 * 44_100)), 44_100)
    refused(toothbeat("review", tmp_path / "blink.wav"), "lasts only 0.3 s")


@pytest.mark.parametrize("level", [0.0, 1e-4, 0.1], ids=["silence", "hiss", "noise"])
def test_a_take_without_a_router(toothbeat: Command, tmp_path: Path, level: float) -> None:
    rng = np.random.default_rng(2)
    soundfile.write(tmp_path / "room.wav", level * rng.normal(size=10 * 44_100), 44_100)
    report = tmp_path / "report.html"
    report.write_text("last week's")
    refused(toothbeat("review", tmp_path / "room.wav", "--report", report), "No router is heard")
    assert report.read_text() == "last week's"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["report.html", "room.wav"]


def test_music_is_no_router(toothbeat: Command, tmp_path: Path) -> None:
    # Plucked notes of a scale, each with seven harmonics that die away, two voices.
    rng = np.random.default_rng(3)
    rate_hz = 44_100
    time_s = np.arange(10 * rate_hz) / rate_hz
    sound = np.zeros_like(time_s)
    for _ in range(2):
        start_s = 0.0
        while start_s < 9:
            length_s = float(rng.choice([0.25, 0.5, 1.0]))
            note_hz = 220 * 2 ** (rng.integers(0, 24) / 12)
            here = (time_s >= start_s) & (time_s < start_s + length_s)
            since_s = time_s[here] - start_s
            for harmonic in range(1, 8):
                sound[here] += (
                    0.07 / harmonic * np.sin(2 * np.pi * note_hz * harmonic * since_s)
                ) * np.exp(-3 * since_s)
            start_s += length_s
    soundfile.write(tmp_path / "tune.wav", sound, rate_hz)
    refused(toothbeat("review", tmp_path / "tune.wav"), "No router is heard")
