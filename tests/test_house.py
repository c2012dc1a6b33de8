"""The rules of the house that a machine can check."""

import ast
import re
from pathlib import Path

import pytest

HOUSE = Path(__file__).parent.parent
EFFECTS = {
    "aiohttp", "av", "click", "http", "io", "jinja2", "os", "pathlib", "platformdirs", "random",
    "requests", "shutil", "socket", "sounddevice", "sqlite3", "subprocess", "sys", "tempfile",
    "threading", "time", "urllib",
}  # fmt: skip
LONGEST_MODULE = 400  # lines
TOP = {
    "README.md", "DEVELOPERS.md", "pyproject.toml", "analysis", "listen",
    "recordings_synthetic", "tests",
}  # fmt: skip
# Written in pieces, so that this file does not find itself.
ARRANGEMENTS = [
    "/" + "work/", "/" + "tmp/w", "issues" + "-tool", "git" + "hub.com", "py" + "pi.org",
    "co-" + "founder", "the " + "founder", "sub" + "agent", "chat" + "bot", "language " + "model",
]  # fmt: skip


def python_files(*rooms: str) -> list[Path]:
    return sorted(path for room in rooms for path in (HOUSE / room).rglob("*.py"))


def imported(path: Path) -> set[str]:
    """Full names of every module that a file imports, wherever in the file."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
    return names


def roots(path: Path) -> set[str]:
    return {name.split(".")[0] for name in imported(path)}


def name_of(path: Path) -> str:
    return str(path.relative_to(HOUSE))


@pytest.mark.parametrize("path", python_files("analysis"), ids=name_of)
def test_the_computation_has_no_effects(path: Path) -> None:
    used = roots(path)
    assert not used & EFFECTS
    assert not used & {"listen", "recordings_synthetic", "tests"}
    calls = {
        node.func.id
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
    }
    assert not calls & {"print", "open", "input"}


@pytest.mark.parametrize("path", python_files("analysis"), ids=name_of)
def test_only_pictures_draw(path: Path) -> None:
    if "pictures" not in path.parts:
        assert "matplotlib" not in roots(path)
    # Figures are saved by the shell; pyplot would keep them in a global.
    assert "matplotlib.pyplot" not in imported(path)
    assert ".savefig(" not in path.read_text()


@pytest.mark.parametrize("path", python_files("recordings_synthetic"), ids=name_of)
def test_the_rendered_router_knows_nothing_of_what_listens(path: Path) -> None:
    assert not roots(path) & {"analysis", "listen"}


@pytest.mark.parametrize(
    "path", python_files("analysis", "listen", "recordings_synthetic"), ids=name_of
)
def test_modules_stay_small_and_are_named_by_their_subject(path: Path) -> None:
    assert len(path.read_text().splitlines()) <= LONGEST_MODULE
    assert path.stem not in {"utils", "helpers", "common", "misc"}
    assert "tests" not in roots(path)


def test_the_top_level_holds_what_it_should_and_nothing_else() -> None:
    found = {path.name for path in HOUSE.iterdir() if not path.name.startswith(".")}
    assert found <= TOP
    assert TOP - found <= {"recordings_synthetic", "DEVELOPERS.md"}


def test_nothing_tells_how_or_where_it_was_written() -> None:
    files = [
        path
        for path in HOUSE.rglob("*")
        if path.suffix in {".py", ".md", ".toml", ".html", ".js", ".css", ".sh", ".json"}
        and not any(part.startswith(".") for part in path.relative_to(HOUSE).parts)
    ]
    found = [
        f"{name_of(path)}: {word}"
        for path in files
        for word in ARRANGEMENTS
        if re.search(re.escape(word), path.read_text(errors="replace"), re.IGNORECASE)
    ]
    assert found == []
