"""The README says what the program does: its commands exist, its fields are the real ones."""

import re
import shlex
from pathlib import Path

import click
import pytest

from analysis.coaching.summary import review_take
from analysis.coaching.wording import Units
from listen import cli
from listen.contract import review_json
from listen.units import Length, parse_length_range
from tests.listen.hearings import BENCH, SETUP, heard_take

HOUSE = Path(__file__).parent.parent
README = (HOUSE / "README.md").read_text()


def shown_commands() -> list[list[str]]:
    blocks = re.findall(r"^```\n(.*?)^```", README, re.MULTILINE | re.DOTALL)
    lines = [line for block in blocks for line in block.replace("\\\n", " ").splitlines()]
    return [shlex.split(line)[1:] for line in lines if line.startswith("toothbeat ")]


@pytest.mark.parametrize("arguments", shown_commands(), ids=" ".join)
def test_the_commands_that_are_shown_can_be_typed(arguments: list[str]) -> None:
    with click.Context(cli.cli) as context:
        command = cli.cli.get_command(context, arguments[0])
        assert command is not None
        command.make_context(arguments[0], arguments[1:])


def test_the_lengths_that_are_shown_can_be_read() -> None:
    shown = re.search(r"Lengths carry their unit: (.*?)\. ", README, re.DOTALL)
    assert shown is not None
    for text in re.findall(r"`([^`]+)`", shown.group(1)):
        assert Length.parse(text).mm > 0
    assert parse_length_range("0.08mm-0.15mm")


def test_every_field_of_the_json_is_described() -> None:
    import json

    take = heard_take()
    review = review_take(take.hearing, SETUP, Units.MM)
    told = json.loads(review_json(take=take, bench=BENCH, review=review))
    described = set(re.findall(r"`([a-z0-9_]+)(?:\[\])?`", README))
    fields = set(told) | set().union(
        *(told[part] for part in ("recording", "setup", "spindle", "band")), told["passes"][0]
    )
    assert fields - described == set()


def test_every_option_of_review_is_described() -> None:
    with click.Context(cli.cli) as context:
        command = cli.cli.get_command(context, "review")
    assert command is not None
    options = {name for option in command.params for name in option.opts if name.startswith("--")}
    assert {name for name in options if name not in README} <= {"--quiet"}


def test_every_command_is_described() -> None:
    section = README.split("## The commands")[1].split("\n## ")[0]
    described = set(re.findall(r"`(?:toothbeat )?([a-z]+)`", section))
    assert set(cli.COMMANDS) <= described


def test_the_first_paragraph_states_the_job() -> None:
    first = README.split("\n\n")[1]
    for word in ("recording", "router", "spindle speed", "chip load", "next\npass"):
        assert word in first
