"""The command line itself: quick to start, and every ending a clean one."""

import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import click
import pytest

from listen import cli
from tests.listen.conftest import Said

HEAVY = {"numpy", "scipy", "matplotlib", "av", "aiohttp", "sounddevice", "jinja2", "cryptography"}
# The goal for `--help` over a bare interpreter.
HELP_BUDGET_S = 0.3


def seconds(*arguments: str) -> float:
    start_s = time.perf_counter()
    subprocess.run([sys.executable, *arguments], check=True, capture_output=True)
    return time.perf_counter() - start_s


def commands() -> list[tuple[str, click.Command]]:
    with click.Context(cli.cli) as context:
        found = {name: cli.cli.get_command(context, name) for name in cli.COMMANDS}
    return [(name, command) for name, command in found.items() if command is not None]


def test_help_comes_at_once() -> None:
    # The best of five of each, in turn: a busy machine slows both alike.
    bare_s, help_s = zip(
        *((seconds("-c", "pass"), seconds("-m", "listen", "--help")) for _ in range(5)),
        strict=True,
    )
    assert min(help_s) - min(bare_s) < HELP_BUDGET_S


@pytest.mark.parametrize("arguments", [["--help"], ["review", "--help"]])
def test_help_imports_nothing_heavy(arguments: list[str]) -> None:
    program = (
        "import sys\nfrom listen.cli import run\n"
        f"run({arguments!r})\nprint(sorted({HEAVY!r} & set(sys.modules)))"
    )
    said = subprocess.run(
        [sys.executable, "-c", program], check=True, capture_output=True, text=True
    )
    assert said.stdout.splitlines()[-1] == "[]"


def test_every_command_is_found() -> None:
    assert [name for name, _ in commands()] == list(cli.COMMANDS)


@pytest.mark.parametrize(("name", "command"), commands())
def test_every_command_has_help_with_an_example(name: str, command: click.Command) -> None:
    subcommands = list(command.commands.values()) if isinstance(command, click.Group) else []
    for one in [command, *subcommands]:
        assert one.help is not None, one.name
    examples = [one for one in subcommands or [command] if "Example:" in (one.help or "")]
    assert examples, f"{name} shows no example"


@pytest.mark.parametrize(("name", "command"), commands())
def test_every_option_says_what_it_is_for(name: str, command: click.Command) -> None:
    for option in command.params:
        if isinstance(option, click.Option):
            assert option.help, f"{name} {option.opts}"


def test_an_unknown_command_is_refused(toothbeat: Callable[..., Said]) -> None:
    said = toothbeat("bake")
    assert said.status == 2
    assert said.err == "toothbeat: No such command 'bake'.\nSee: toothbeat --help\n"


def test_an_interrupted_run_ends_without_a_traceback(
    toothbeat: Callable[..., Said], take: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("listen.ears.hear_take", interrupted)
    said = toothbeat("review", take)
    assert (said.status, said.out, said.err) == (130, "", "\nStopped.\n")


def test_a_bug_keeps_its_traceback(take: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("listen.ears.hear_take", broken)
    with pytest.raises(ZeroDivisionError, match=r"^$"):
        cli.run(["review", str(take)])
