"""`toothbeat review` from a file on disk to everything it can say."""

import csv
import io
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.listen.bench_sound import SAMPLE_RATE_HZ, shop_take
from tests.listen.conftest import Said
from tests.listen.encoding import encode

CUT = ("--edge", "600mm", "--bit", "12.7mm", "--flutes", "2", "--trim", "1.6mm",
       "--material", "hardwood", "--range", "8000-24000")  # fmt: skip
Command = Callable[..., Said]


@pytest.fixture
def told(toothbeat: Command, take: Path) -> dict[str, Any]:
    said = toothbeat("review", take, *CUT, "--json", "-q")
    assert (said.status, said.err) == (0, "")
    result: dict[str, Any] = json.loads(said.out)
    return result


def test_the_table_fits_a_terminal_and_ends_in_advice(toothbeat: Command, take: Path) -> None:
    said = toothbeat("review", take, *CUT)
    assert (said.status, said.err) == (0, "")
    assert max(map(len, said.out.splitlines())) <= 80
    assert "shelf.m4a" in said.out
    assert "600 mm edge, 12.7 mm bit, 2 flutes, 1.6 mm trim, hardwood" in said.out
    # 12 s at 17,300 rpm less 1.5 % and 7 s, by hand: 0.7060 / t gives 0.059 and 0.101 mm.
    assert said.out.count("in the band") >= 2
    assert "Change first: " in said.out


def test_inches_in_inches_out(toothbeat: Command, take: Path) -> None:
    said = toothbeat(
        "review", take, "--edge", "24in", "--bit", "1/2in", "--flutes", 2, "--trim", "1/16in",
        "--material", "oak",
    )  # fmt: skip
    assert "24 in edge, 1/2 in bit, 2 flutes, 1/16 in trim, white oak" in said.out
    assert "in/min" in said.out
    assert "mm/s" not in said.out


def test_without_the_edge_the_speed_is_told_and_what_is_missing(
    toothbeat: Command, take: Path
) -> None:
    said = toothbeat("review", take)
    assert said.status == 0
    assert "Running free: 17,3" in said.out
    assert "Not judged: the edge length, the bit's diameter" in " ".join(said.out.split())


def test_json_holds_the_contract_of_schema_1(told: dict[str, Any]) -> None:
    assert told["schema"] == 1
    assert {"duration_s", "sample_rate_hz", "notes"} <= told["recording"].keys()
    assert {"low_mm", "high_mm", "quantity", "basis"} <= told["band"].keys()
    assert told["band"]["quantity"] == "chip_thickness"
    assert {
        "entry_s", "exit_s", "time_s", "time_u95_s", "rpm", "rpm_u95", "sag_percent",
        "pass_feed_mm_s", "feed_mm_s", "feed_u95_mm_s", "chip_load_mm", "chip_load_u95_mm",
        "chip_thickness_mm", "verdict", "complete", "evenness", "dwells", "liftoffs", "advice",
    } <= told["passes"][0].keys()  # fmt: skip
    assert {"setup", "summary"} <= told.keys()


def test_json_spindle_is_an_even_grid_with_null_where_off(told: dict[str, Any]) -> None:
    spindle = told["spindle"]
    columns = ("time_s", "rpm", "rpm_u95", "confidence")
    assert len({len(spindle[column]) for column in columns}) == 1
    steps = [b - a for a, b in zip(spindle["time_s"], spindle["time_s"][1:], strict=False)]
    assert max(steps) <= 0.05
    assert spindle["rpm"][0] is None
    assert spindle["rpm"][-1] is None
    # The bench turns at 17,300 rpm, wandering by 0.1 %.
    assert spindle["idle_rpm"] == pytest.approx(17_300, rel=0.001)


def test_json_passes_are_those_that_were_cut(told: dict[str, Any]) -> None:
    _, truth = shop_take()
    assert len(told["passes"]) == len(truth)
    for found, (entry_s, exit_s) in zip(told["passes"], truth, strict=True):
        assert found["entry_s"] == pytest.approx(entry_s, abs=0.15)
        assert found["exit_s"] == pytest.approx(exit_s, abs=0.15)
        # A stopwatch's feed, and the contact travel 600 + sqrt(1.6 * 11.1) mm over the time.
        assert found["pass_feed_mm_s"] == pytest.approx(600 / found["time_s"], rel=1e-6)
        assert found["feed_mm_s"] == pytest.approx(604.214 / found["moving_time_s"], rel=1e-5)
        assert found["chip_load_mm"] == pytest.approx(
            found["feed_mm_s"] / (found["rpm"] / 60 * 2), rel=1e-6
        )


def test_json_alone_on_standard_output_even_with_the_table(toothbeat: Command, take: Path) -> None:
    said = toothbeat("review", take, *CUT, "--json")
    assert json.loads(said.out)["schema"] == 1
    assert "Change first: " in said.err


def test_csv_has_a_row_for_each_pass(toothbeat: Command, take: Path, tmp_path: Path) -> None:
    path = tmp_path / "passes.csv"
    printed = toothbeat("review", take, *CUT, "-q", "--csv")
    written = toothbeat("review", take, *CUT, "-q", "--csv", path)
    assert (written.status, written.out) == (0, "")
    rows = list(csv.DictReader(io.StringIO(path.read_text())))
    assert [row["verdict"] for row in rows] == ["in the band", "in the band"]
    assert list(csv.DictReader(io.StringIO(printed.out))) == rows


def test_two_things_are_not_printed_at_once(toothbeat: Command, take: Path) -> None:
    said = toothbeat("review", take, "--json", "--csv")
    assert said.status == 2
    assert "give --csv a file name" in said.err


@pytest.mark.parametrize(
    ("name", "starts"), [("a.png", b"\x89PNG"), ("a.svg", b"<?xml"), ("a.pdf", b"%PDF")]
)
def test_figures_are_what_their_name_says(
    toothbeat: Command, take: Path, tmp_path: Path, name: str, starts: bytes
) -> None:
    said = toothbeat("review", take, *CUT, "-q", "--figure", tmp_path / name)
    assert (said.status, said.out, said.err) == (0, "", "")
    assert (tmp_path / name).read_bytes().startswith(starts)


@pytest.mark.parametrize("kind", [".wav", ".opus", ".mp3", ".mp4", ".flac", ".mov"])
def test_the_verdicts_do_not_depend_on_the_kind_of_file(
    toothbeat: Command, told: dict[str, Any], tmp_path: Path, kind: str
) -> None:
    samples, _ = shop_take()
    path = encode(tmp_path / f"shelf{kind}", samples, sample_rate_hz=SAMPLE_RATE_HZ)
    said = toothbeat("review", path, *CUT, "--json", "-q")
    same = json.loads(said.out)
    assert [one["verdict"] for one in same["passes"]] == [one["verdict"] for one in told["passes"]]


def test_a_speech_codec_is_told_and_never_judged_otherwise(
    toothbeat: Command, told: dict[str, Any], tmp_path: Path
) -> None:
    samples, _ = shop_take()
    # Down to 8 kHz by means of six samples: crude, as a voice recorder is.
    slow = samples[: len(samples) // 6 * 6].reshape(-1, 6).mean(axis=1)
    path = encode(tmp_path / "shelf.3gp", slow, sample_rate_hz=8_000)
    said = toothbeat("review", path, *CUT, "--json", "-q")
    heard = json.loads(said.out)
    assert any("frequencies of speech" in note for note in heard["recording"]["notes"])
    for found, right in zip(heard["passes"], told["passes"], strict=True):
        assert found["verdict"] in {right["verdict"], "unsure"}


def test_what_is_noted_beside_a_kept_take_counts(
    toothbeat: Command, told: dict[str, Any], tmp_path: Path
) -> None:
    """The same sound as a kept take, with a note that some of its second pass was lost."""
    samples, _ = shop_take()
    kept = encode(tmp_path / "sound.flac", samples, sample_rate_hz=SAMPLE_RATE_HZ)
    exit_s = told["passes"][1]["exit_s"]
    note = {"kind": "notice", "text": "0.5 s were lost.", "gap_s": [exit_s - 0.7, exit_s - 0.2]}
    (tmp_path / "events.jsonl").write_text('{"kind": "entered"}\n' + json.dumps(note))
    said = toothbeat("review", kept, *CUT, "--json", "-q")
    passes = json.loads(said.out)["passes"]
    assert [one["verdict"] is None for one in passes[:2]] == [False, True]
    assert passes[1]["not_judged_because"] == "part of its sound was lost"
    assert passes[0]["verdict"] == told["passes"][0]["verdict"]
