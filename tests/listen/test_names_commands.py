"""`toothbeat bits`, `routers`, `materials`, `names` at the prompt."""

from collections.abc import Callable
from pathlib import Path

import pytest

from tests.listen.conftest import Said

Command = Callable[..., Said]


@pytest.fixture(autouse=True)
def own_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TOOTHBEAT_HOME", str(tmp_path / "home"))


def done(said: Said) -> str:
    assert said.status == 0, said.err
    return said.out


def test_a_bit_from_add_to_remove(toothbeat: Command) -> None:
    said = done(
        toothbeat("bits", "add", "spiral half", "--diameter", "1/2in", "--flutes", 2,
                  "--style", "up-cut", "--band", "0.003in-0.006in")
    )  # fmt: skip
    assert said == "Kept: spiral half, 1/2 in, up-cut, 2 flutes.\n"
    assert done(toothbeat("bits", "list")) == "spiral half  1/2 in, up-cut, 2 flutes\n"
    shown = done(toothbeat("bits", "show", "Spiral Half"))
    assert "0.003 in to 0.006 in" in shown
    said = done(
        toothbeat("bits", "change", "spiral half", "--max-rpm", 22_000, "--forget", "style")
    )
    assert said == "Kept: spiral half, 1/2 in, 2 flutes, at most 22,000 rpm.\n"
    done(toothbeat("bits", "change", "spiral half", "--new-name", "old spiral"))
    assert "old spiral" in done(toothbeat("bits", "list"))
    assert done(toothbeat("bits", "remove", "old spiral")).startswith("Forgotten: old spiral")
    assert "No bits yet" in done(toothbeat("bits", "list"))


def test_routers_and_materials(toothbeat: Command) -> None:
    done(toothbeat("routers", "add", "bench", "--range", "8000-24000", "--power", "1400 W"))
    shown = done(toothbeat("routers", "show", "bench"))
    assert "24,000 rpm" in shown
    assert "not calibrated" in shown
    done(toothbeat("materials", "add", "pear", "--kind", "hardwood", "--density", "700"))
    assert "hardwood, 700 kg/m3" in done(toothbeat("materials", "list"))


def test_export_and_import(
    toothbeat: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    done(toothbeat("bits", "add", "spiral", "--diameter", "12mm"))
    file = tmp_path / "shop.json"
    done(toothbeat("names", "export", file))
    assert done(toothbeat("names", "export", "-")) == file.read_text(encoding="utf-8")
    monkeypatch.setenv("TOOTHBEAT_HOME", str(tmp_path / "other"))
    assert "Taken in: 1" in done(toothbeat("names", "import", file))
    done(toothbeat("bits", "change", "spiral", "--diameter", "10mm"))
    refused = toothbeat("names", "import", file)
    assert refused.status == 2
    assert "bit spiral" in refused.err
    done(toothbeat("names", "import", file, "--replace"))
    assert "12 mm" in done(toothbeat("bits", "list"))


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("bits", "add", "spiral"), "give --diameter"),
        (("bits", "add", "1/2 spiral", "--diameter", "1/2in"), "starts like a size"),
        (("bits", "add", "x", "--diameter", "12.7"), "has no unit"),
        (("bits", "show", "ghost"), 'no bit called "ghost"'),
        (("bits", "remove", "ghost"), 'no bit called "ghost"'),
        (("bits", "change", "ghost", "--flutes", 2), 'no bit called "ghost"'),
        (
            ("bits", "add", "x", "--diameter", "6mm", "--cutting-length", "30mm",
             "--stick-out", "20mm"),
            "do not belong in the collet",
        ),
        (("routers", "add", "x", "--range", "24000-8000"), "lower speed to the higher"),
        (("routers", "add", "x", "--mounting", "ceiling"), "hand, table"),
        (("materials", "add", "x", "--kind", "cheese", "--density", 1), "cheese"),
        (("materials", "add", "x"), "--kind and --density"),
        (("names", "import", "/no/such/file"), "cannot be read"),
    ],
)  # fmt: skip
def test_nonsense_gets_one_clear_sentence(
    toothbeat: Command, arguments: tuple[object, ...], words: str
) -> None:
    said = toothbeat(*arguments)
    assert said.status == 2
    assert words in said.err
    assert "Traceback" not in said.err


def test_what_cannot_be_forgotten_is_told_with_what_can(toothbeat: Command) -> None:
    done(toothbeat("bits", "add", "spiral", "--diameter", "12mm"))
    said = toothbeat("bits", "change", "spiral", "--forget", "diameter")
    assert said.status == 2
    assert "cutting-length" in said.err
