"""The command line: a table of commands and the one place where errors become words."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from importlib import import_module
from typing import NamedTuple, NoReturn

import click

from analysis.errors import ToothbeatError

BAD_INPUT = 2
INTERRUPTED = 130


class Command(NamedTuple):
    """Where a command lives, and its line in the list; read without importing it."""

    target: str
    summary: str


COMMANDS = {
    "bits": Command("listen.commands.names:bits", "Keep bits by name."),
    "calibrate": Command(
        "listen.commands.calibrate:calibrate", "Learn what a router's dial really does."
    ),
    "demo": Command("listen.commands.demo:demo", "Review the practice takes that come with it."),
    "listen": Command("listen.commands.listen:listen", "Coach passes live, by the microphone."),
    "materials": Command("listen.commands.names:materials", "Keep materials of your own."),
    "names": Command("listen.commands.names:names", "Carry what you keep to another machine."),
    "page": Command("listen.commands.page:page", "Open the page, here or on a phone."),
    "plan": Command("listen.commands.plan:plan", "Plan a cut before you make it."),
    "review": Command("listen.commands.review:review", "Review a recording of your passes."),
    "routers": Command("listen.commands.names:routers", "Keep routers by name."),
}


class CommandTable(click.Group):
    """A group that imports a command's module when that command is asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        return sorted(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        if cmd_name not in COMMANDS:
            return None
        module, name = COMMANDS[cmd_name].target.split(":")
        command = getattr(import_module(module), name)
        if not isinstance(command, click.Command):
            raise TypeError(f"{module}:{name} is not a command")
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, COMMANDS[name].summary) for name in self.list_commands(ctx)])


@click.group(
    cls=CommandTable,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80},
)
@click.version_option(package_name="toothbeat", message="%(prog)s %(version)s")
def cli() -> None:
    """Hear what a router bit is doing, and what to change on the next pass.

    Start here: toothbeat demo
    """


def run(arguments: Sequence[str] | None = None) -> int:
    """Run one command; return its exit status: 0, 2 for bad input, 130 when interrupted."""
    try:
        status = cli.main(args=arguments, prog_name="toothbeat", standalone_mode=False)
    except click.UsageError as error:
        return _refuse(error.format_message(), hint=_help_hint(error.ctx))
    except click.ClickException as error:
        return _refuse(error.format_message())
    except ToothbeatError as error:
        return _refuse(str(error))
    except (KeyboardInterrupt, click.Abort):
        click.echo("Stopped.", err=True)
        return INTERRUPTED
    except BrokenPipeError:
        # The reader (head, less) has gone: nothing is wrong, and nothing more can be said.
        sys.stderr.close()
        return 0
    return status if isinstance(status, int) else 0


def main() -> NoReturn:
    """Entry point of the `toothbeat` command."""
    sys.exit(run())


def _refuse(message: str, hint: str = "") -> int:
    click.echo(f"toothbeat: {message}", err=True)
    if hint:
        click.echo(hint, err=True)
    return BAD_INPUT


def _help_hint(context: click.Context | None) -> str:
    return f"See: {context.command_path} --help" if context is not None else ""
