"""The ``curewatch`` command: a table of commands, each imported only when it is called.

Typing ``--help`` must not pay for numpy; so the table carries each command's one-line help and the
module that holds it. A command file defines ``app``: a function with typer's annotations.
"""

import importlib
import sys
from typing import Any

import typer
from typer.core import TyperCommand, TyperGroup
from typer.main import get_command

from curewatch import __version__
from curewatch.errors import CurewatchError, ExitStatus

# name -> (module under curewatch.cli.commands, one line of help). Order is the order of --help.
COMMANDS: dict[str, tuple[str, str]] = {
    "air": ("air", "Dew point, frost point and vapour pressure of humid air."),
}


class Table(TyperGroup):
    """A group that knows its commands by name and imports one only to run it or to show its help."""

    def list_commands(self, ctx: Any) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        """Only a name and its line of help: what a list of commands needs."""
        if cmd_name not in COMMANDS:
            return None
        line = COMMANDS[cmd_name][1]
        return TyperCommand(cmd_name, help=line, short_help=line)

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        """The command that was typed, imported now: to run it or to show its own help."""
        name, command, rest = super().resolve_command(ctx, args)
        if name in COMMANDS:
            holder = importlib.import_module(f"curewatch.cli.commands.{COMMANDS[name][0]}")
            application: typer.Typer = holder.app
            command = get_command(application)
            command.name = name
        return name, command, rest


application = typer.Typer(cls=Table, no_args_is_help=True, add_completion=True, rich_markup_mode=None)


@application.callback(invoke_without_command=True)
def _start(
    version: bool = typer.Option(False, "--version", help="Show the version and stop."),
) -> None:
    """Decide, time and record cure conditions in a cold, damp shed."""
    if version:
        typer.echo(f"curewatch {__version__}")
        raise typer.Exit


def run(arguments: list[str] | None = None) -> Any:
    """Run the command; a :class:`CurewatchError` becomes its message on stderr and its exit status."""
    try:
        application(args=arguments)
    except CurewatchError as trouble:
        typer.echo(f"curewatch: {trouble}", err=True)
        sys.exit(int(trouble.exit_status))
    except KeyboardInterrupt:
        sys.exit(int(ExitStatus.FAILURE))
