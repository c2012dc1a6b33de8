"""`toothbeat plan`: six jobs, nonsense refused, names, and what machines read."""

import json
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.listen.conftest import Said

Command = Callable[..., Said]

TRIM = (
    "--bit", "1/2in", "--flutes", 2, "--style", "up-cut", "--body", "carbide",
    "--trim", "1/16in", "--material", "beech", "--edge", "24in", "--thickness", "3/4in",
    "--cutting-length", "1-1/4in", "--range", "8000-24000", "--power", "1400",
)  # fmt: skip
BUDGET_S = 0.4


@pytest.fixture(autouse=True)
def own_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TOOTHBEAT_HOME", str(tmp_path / "home"))


def changed(*changes: object) -> tuple[object, ...]:
    """The trimming job with some options given anew; later ones win."""
    return (*TRIM, *changes)


def told(toothbeat: Command, *arguments: object) -> dict[str, Any]:
    said = toothbeat("plan", *arguments, "--json", "-q")
    assert said.status == 0, said.err
    assert said.out.count("\n") == 1
    plan: dict[str, Any] = json.loads(said.out)
    return plan


JOBS = {
    "hand-held trim with a half-inch spiral": TRIM,
    "quarter-inch bit into quarter-inch corners": changed(
        "--bit", "1/4in", "--shank", "1/4in", "--radius", "1/4in", "--trim", "1/32in"
    ),
    "seven-eighths bit at the table": changed(
        "--bit", "7/8in", "--style", "straight", "--guide", "tip", "--mounting", "table",
        "--radius", "1/4in",
    ),
    "buried cut": changed("--bit", "6mm", "--trim", "buried", "--thickness", "3mm"),
    "large profile bit": changed(
        "--bit", "45mm", "--style", "profile", "--mounting", "table", "--max-rpm", "18000",
        "--trim", "3mm", "--body", "brazed", "--shank", "12mm",
    ),
    "MDF template": changed("--material", "MDF", "--style", "straight", "--guide", "tip"),
}  # fmt: skip


@pytest.mark.parametrize("job", JOBS.values(), ids=JOBS.keys())
def test_six_jobs_fit_the_terminal_and_leave_a_card_and_a_figure(
    toothbeat: Command, tmp_path: Path, job: tuple[object, ...]
) -> None:
    card, figure = tmp_path / "card.pdf", tmp_path / "plan.svg"
    said = toothbeat("plan", *job, "--card", card, "--figure", figure)
    assert said.status == 0, said.err
    assert max(len(line) for line in said.out.splitlines()) <= 80
    assert "Will it do" in said.out
    assert "Unplug the router" in said.out
    assert "climb cut" in said.out
    assert card.read_bytes().startswith(b"%PDF")
    assert figure.read_text().count("<svg") == 1


def test_the_card_is_a6(toothbeat: Command, tmp_path: Path) -> None:
    """ISO 216: A6 is 105 mm x 148 mm; a PDF point is 1/72 in."""
    card = tmp_path / "card.pdf"
    assert toothbeat("plan", *TRIM, "--card", card, "-q").status == 0
    box = card.read_bytes().split(b"/MediaBox [")[1].split(b"]")[0].split()
    size_mm = [float(value) * 25.4 / 72 for value in box[2:]]
    assert size_mm == pytest.approx([105, 148], abs=0.1)


def test_machines_read_the_same_plan(toothbeat: Command) -> None:
    plan = told(toothbeat, *TRIM)
    assert plan["schema"] == 1
    assert plan["will_do"] is True
    start = plan["speed"]["start"]
    assert start["rpm"] <= plan["speed"]["work_up_to"]["rpm"]
    assert start["time_low_s"] < plan["beat_s"] < start["time_high_s"]
    assert plan["quarters_s"][-1] == pytest.approx(plan["beat_s"])
    rooms = [limit["room"] for limit in plan["limits"]]
    assert rooms == sorted(rooms)
    assert [limit["binds"] for limit in plan["limits"]].count(True) == 1
    low, high = plan["band"]["low_mm"], plan["band"]["high_mm"]
    assert low <= plan["figures"]["chip_thickness_mm"] <= high


def test_a_seven_eighths_bit_does_not_reach_quarter_inch_corners(toothbeat: Command) -> None:
    plan = told(toothbeat, *JOBS["seven-eighths bit at the table"])
    assert plan["fits"] is True
    assert plan["will_do"] is False
    assert plan["notes"][0]["weight"] == "stop"


def test_a_speed_of_ones_own(toothbeat: Command) -> None:
    at_18_000 = told(toothbeat, *TRIM, "--speed", "18000")
    assert at_18_000["speed"]["start"]["rpm"] == 18_000
    too_fast = told(toothbeat, *TRIM, "--max-rpm", "16000", "--speed", "18000")
    assert too_fast["fits"] is False
    assert too_fast["in_the_way"] == ["maximum marked on the bit"]


def test_names_stand_for_bit_router_and_material(toothbeat: Command) -> None:
    for words in (
        ("bits", "add", "spiral half", "--diameter", "1/2in", "--flutes", 2),
        ("routers", "add", "bench", "--range", "10000-22000", "--mounting", "table"),
        ("materials", "add", "pear", "--kind", "hardwood", "--density", "700"),
    ):
        said = toothbeat(*words)
        assert said.status == 0, said.err
    plan = told(
        toothbeat, "--bit", "spiral half", "--router", "bench", "--material", "pear",
        "--edge", "610mm", "--trim", "1.6mm",
    )  # fmt: skip
    assert plan["setup"]["bit"]["diameter_mm"] == pytest.approx(12.7)
    assert plan["setup"]["router"]["plate_range_rpm"] == [10_000, 22_000]
    assert plan["setup"]["router"]["mounting"] == "in a table"
    assert plan["setup"]["work"]["material"]["density_kg_m3"] == 700


def test_a_calibrated_dial_gives_settings(toothbeat: Command) -> None:
    from analysis.dial.curve import curve_to_json
    from analysis.dial.fitting import fit_curve
    from analysis.dial.settings import parse_settings
    from listen.store.names import name_store

    curve = fit_curve(
        settings=parse_settings("1,2,3,4"),
        speeds_rpm=[10_000.0, 14_000.0, 18_000.0, 22_000.0],
        speeds_u95_rpm=[5.0] * 4,
    )
    with name_store() as store:
        store.keep_calibration("bench", {"curve": curve_to_json(curve)})
    plan = told(toothbeat, *TRIM[:14], "--router", "bench")
    # 15,500 rpm lies three eighths of the way from 2 to 3 on a straight dial.
    assert float(plan["speed"]["start"]["setting"]) == pytest.approx(2.4, abs=0.1)
    assert [row["setting"] for row in plan["pace"]] == ["1", "2", "3", "4"]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--bit", "1/2in"), "tell also --flutes, --trim and --material"),
        (changed("--thickness", "2in"), "The flutes are 1-1/4 in long and the wood is 2 in"),
        (changed("--max-rpm", "60000"), "60,000 rpm cannot be"),
        (changed("--range", "8000-60000"), "60,000 rpm cannot be"),
        (changed("--speed", "60000"), "No router turns at 60,000 rpm"),
        (changed("--radius", "1mm"), "smallest common one"),
        (changed("--trim", "15mm"), "wider than the bit"),
        (changed("--max-rpm", "6000"), "must not run in this router"),
        (changed("--stick-out", "1/2in"), "do not belong in the collet"),
        (changed("--material", "beach"), "beech"),
        (changed("--bit", "no such bit"), 'no bit called "no such bit"'),
        (changed("--router", "ghost"), 'no router called "ghost"'),
        (changed("--edge", "0mm"), "out of range"),
        (changed("--edge", "12 parsecs"), "parsecs"),
        (changed("--flutes", "-2"), "1 to 12 flutes"),
        (changed("--grain", "sideways"), "along, against, end"),
        (changed("--power", "none"), "not a number of W"),
        (changed("--figure", "plan.txt"), ".png, .svg or .pdf"),
        (changed("--card", "card.png"), ".pdf"),
        (changed("--card", "/no/such/folder/card.pdf"), "no folder"),
    ],
)
def test_nonsense_gets_one_clear_sentence(
    toothbeat: Command, arguments: tuple[object, ...], words: str
) -> None:
    said = toothbeat("plan", *arguments)
    assert said.status == 2
    assert words in said.err
    assert said.out == ""
    assert "Traceback" not in said.err


def test_a_job_that_cannot_be_says_what_would_help(toothbeat: Command) -> None:
    said = toothbeat(
        "plan", *changed("--bit", "3mm", "--trim", "2mm", "--thickness", "30mm", "--shank", "6mm",
                         "--cutting-length", "32mm", "--grain", "end", "--edge-state", "dull"),
    )  # fmt: skip
    assert said.status == 0
    assert "No. " in said.out
    assert "What helps: " in said.out


def test_a_plan_comes_at_once() -> None:
    """The best of five, in turn with a bare interpreter."""

    def seconds(*arguments: object) -> float:
        start_s = time.perf_counter()
        subprocess.run([sys.executable, *map(str, arguments)], check=True, capture_output=True)
        return time.perf_counter() - start_s

    bare_s, plan_s = zip(
        *((seconds("-c", "pass"), seconds("-m", "listen", "plan", *TRIM)) for _ in range(5)),
        strict=True,
    )
    assert min(plan_s) - min(bare_s) < BUDGET_S
