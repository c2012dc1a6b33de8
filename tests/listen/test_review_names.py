"""A review by the names of bit, router and material."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.listen.conftest import Said

Command = Callable[..., Said]
REST = ("--edge", "600mm", "--trim", "1.6mm")


@pytest.fixture
def shelf(toothbeat: Command) -> None:
    """A bit, a router and a material that are kept."""
    for words in (
        ("bits", "add", "spiral half", "--diameter", "1/2in", "--flutes", 2, "--max-rpm", 22_000),
        ("routers", "add", "bench", "--range", "8000-24000"),
        ("materials", "add", "old beam", "--kind", "softwood", "--density", 480),
    ):
        said = toothbeat(*words)
        assert said.status == 0, said.err


@pytest.mark.usefixtures("shelf")
def test_names_stand_for_what_is_kept(toothbeat: Command, take: Path) -> None:
    said = toothbeat(
        "review", take, *REST, "--bit", "spiral half", "--router", "bench",
        "--material", "old beam", "--json", "-q",
    )  # fmt: skip
    told = json.loads(said.out)
    assert told["setup"]["bit_diameter_mm"] == pytest.approx(12.7)
    assert told["setup"]["flutes"] == 2
    assert told["setup"]["bit_max_rpm"] == 22_000
    assert told["setup"]["plate_range_rpm"] == [8_000, 24_000]
    assert (told["setup"]["bit"], told["setup"]["router"]) == ("spiral half", "bench")
    assert "softwood" in told["band"]["basis"]


@pytest.mark.usefixtures("shelf")
def test_what_is_typed_comes_before_what_is_kept(toothbeat: Command, take: Path) -> None:
    said = toothbeat(
        "review", take, *REST, "--bit", "spiral half", "--flutes", 3, "--router", "bench",
        "--range", "10000-20000", "--band", "0.08mm-0.15mm", "--json", "-q",
    )  # fmt: skip
    told = json.loads(said.out)
    assert told["setup"]["flutes"] == 3
    assert told["setup"]["plate_range_rpm"] == [10_000, 20_000]
    assert told["band"]["low_mm"] == pytest.approx(0.08)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--bit", "spiral hal"), 'There is no bit called "spiral hal"'),
        (("--router", "bensh"), 'There is no router called "bensh"'),
    ],
)
def test_a_name_that_is_not_kept_is_refused(
    toothbeat: Command, take: Path, options: tuple[str, str], words: str
) -> None:
    said = toothbeat("review", take, *REST, *options)
    assert (said.status, said.out) == (2, "")
    assert words in said.err
