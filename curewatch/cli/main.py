"""The ``curewatch`` command: a table of commands, each imported only when it is called.

Typing ``--help`` must not pay for numpy; so the table carries each command's one line of help and the
module that holds it. A command file defines ``app``: a function with typer's annotations, or a
``typer.Typer`` with several commands in it.

A name of two words is a command inside a group (``resin fit``). Its module may hold that one command,
or a Typer that has the second word among its commands; so one group can be spread over several files.
"""

import gc
import importlib
import os
import shutil
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from difflib import get_close_matches
from functools import cache
from typing import Any

import typer
from click.exceptions import NoArgsIsHelpError
from click.exceptions import UsageError as MistypedError
from click.types import FloatParamType, StringParamType
from typer.core import TyperCommand, TyperGroup
from typer.main import get_command

from curewatch import __version__
from curewatch.cli import ascii_fallback, go_together, which_shed
from curewatch.cli.supported import check_supported
from curewatch.cli.terminal import drop_output, reader_may_leave
from curewatch.errors import CurewatchError, ExitStatus, UsageError, reason

# One answer is too little work to share out: more threads only spin beside each other (measured).
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# heading -> name -> (module under curewatch.cli.commands, one line of help). Order is the order of --help.
SECTIONS: dict[str, dict[str, tuple[str, str]]] = {
    "First": {
        "demo": ("demo", "A recorded evening in an invented shed, in under a minute."),
        "setup": ("setup", "Find your sensors, write curewatch.toml: a short conversation."),
        "doctor": ("doctor", "Is everything there, fresh and kept? What to do if not."),
        "explain": ("explain", "A term of the trade in four sentences, with its caution."),
    },
    "Decide": {
        "choose": ("choose", "Which resin for this repair, and what would change that."),
        "tonight": ("tonight", "Go, no-go or unknown for a start now or later, and why."),
        "forecast": ("forecast", "Feed a forecast of the air outside, or see the one in use."),
        "windows": ("windows", "When in the coming days a layer may be laid."),
        "sheds": ("sheds", "All sheds in a line each, worst first: which one needs you."),
        "watch": ("watch", "The live board: verdict, countdowns, chart, alerts."),
        "page": ("page", "Let a phone on your network open the page; who may, taking it back."),
    },
    "At the bench": {
        "layup": ("layup", "From the hole to the schedule: scarf, layers, resin, batches."),
        "bench": ("bench", "Large keys for one hand in gloves: mixed, laid, gelled ..."),
        "layer": ("layer", "Say that you started a layer; see the countdowns."),
        "observe": ("observe", "Say what you saw (kicked, tack-free, ...): the model learns."),
        "alerts": ("alerts", "The active alerts, what to do; acknowledge one."),
        "notify": ("notify", "Try every receiver of notices."),
        "tabs": ("tabs", "Own bond tests: an order by lot, loads as they break, what they say."),
        "job": ("job", "The job log: open, batches, layers, checks, notes, close."),
    },
    "Look up": {
        "cure": ("cure", "Cure of one layer over time, at a temperature or a history."),
        "air": ("air", "Dew point, frost point and vapour pressure of humid air."),
        "resin list": ("resin", "The resin systems there are."),
        "resin show": ("resin", "One resin system, every number with its origin."),
        "resin fit": ("resin_fit", "A resin system from a maker's sheet."),
        "resin compare": ("resin", "All resin systems side by side, in one shed."),
    },
    "Sensors": {
        "ingest": ("ingest", "The daemon without a board: for a service."),
        "heartbeat": ("heartbeat", "On another machine: ring when the daemon dies while a layer cures."),
        "replay": ("replay", "A recording through the same path as live bytes."),
        "sensor": ("sensor", "Sensors: list them, check one against a saturated salt."),
        "simulate": ("simulate", "A simulated shed on a serial port or a broker."),
        "metrics": ("metrics", "What is known now as OpenMetrics text."),
    },
    "Prove and keep": {
        "record": ("record", "The cure record of a job: write it, verify one."),
        "logbook": ("logbook", "The logbook: verify, back up, salvage, export."),
        "heads": ("heads", "The heads of all sheds in one signed list: make one, check one."),
        "fleet": ("fleet", "Many sheds: readings from queues into a database."),
        "service": ("service", "The systemd unit: a daemon that starts with the machine."),
        "manual": ("manual", "The manual page of all commands."),
    },
}
COMMANDS: dict[str, tuple[str, str]] = {
    name: entry for section in SECTIONS.values() for name, entry in section.items()
}
GROUPS: dict[str, str] = {
    "resin": "Resin systems: list, show, fit, compare.",
}


class CommandTable(TyperGroup):
    """A group that knows its commands by name and imports one only to run it or to show its help."""

    prefix = ""  # "" at the top, "resin " inside that group

    def list_commands(self, ctx: Any) -> list[str]:
        return [name for names in _rows(self.prefix).values() for name in names]

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        name = self.prefix + cmd_name
        if name in GROUPS:
            return _group(name)
        return command(name) if name in COMMANDS else None

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        known = self.list_commands(ctx)
        if args[0] not in known and not args[0].startswith("-"):
            raise UsageError(_unknown(args[0], known, ctx.command_path))
        return super().resolve_command(ctx, args)

    def make_context(self, *arguments: Any, **more: Any) -> Any:
        with _reader_left():
            return super().make_context(*arguments, **more)

    def invoke(self, ctx: Any) -> Any:
        with _reader_left():
            return super().invoke(ctx)

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        for heading, rows in _rows(self.prefix).items():
            with formatter.section(heading):
                formatter.write_dl(list(rows.items()))

    def shell_complete(self, ctx: Any, incomplete: str) -> Any:
        from click.shell_completion import CompletionItem

        lines = {name: line for rows in _rows(self.prefix).values() for name, line in rows.items()}
        return [
            CompletionItem(name, help=line) for name, line in lines.items() if name.startswith(incomplete)
        ] + [
            CompletionItem(option)
            for parameter in self.get_params(ctx)
            for option in parameter.opts
            if incomplete.startswith("-") and option.startswith(incomplete)
        ]


def _rows(prefix: str) -> dict[str, dict[str, str]]:
    """Heading -> the next word -> its line of help, for one level of the table."""
    if prefix:
        inside = {
            name.removeprefix(prefix): line for name, (_, line) in COMMANDS.items() if name.startswith(prefix)
        }
        return {"Commands": inside}
    return {
        heading: {
            word: GROUPS.get(word, line)
            for name, (_, line) in section.items()
            for word in (name.partition(" ")[0],)
        }
        for heading, section in SECTIONS.items()
    }


def _group(name: str) -> CommandTable:
    group = CommandTable(name=name, help=GROUPS[name], no_args_is_help=True, rich_markup_mode=None)
    group.prefix = f"{name} "
    return group


ROOMS = 60_000  # things, before the first look for garbage: what a command imports is about 40,000, and none
SELDOM = 20_000  # things more than at the last look


@cache
def command(name: str) -> Any:
    """The command behind a name of the table, made once: its module is imported here and nowhere else."""
    app = importlib.import_module(f"curewatch.cli.commands.{COMMANDS[name][0]}").app
    if not gc.isenabled():  # as it was started; what is there now stays, so nobody need go through it
        gc.freeze()
        gc.set_threshold(ROOMS)
        gc.callbacks.append(lambda *_: gc.set_threshold(SELDOM))
        gc.enable()
    if not isinstance(app, typer.Typer):
        function, app = app, typer.Typer(add_completion=False)
        app.command()(function)
    app.rich_markup_mode = None
    app.pretty_exceptions_enable = False
    found = get_command(app)
    if isinstance(found, TyperGroup):
        found.no_args_is_help = not found.invoke_without_command
    last = name.rpartition(" ")[2]
    if isinstance(found, TyperGroup) and " " in name:
        found = found.commands[last]
    if isinstance(found, TyperCommand | TyperGroup):
        found.rich_markup_mode = None
    found.name = last
    _in_our_words(found, name)
    return found


def _in_our_words(found: Any, full_name: str) -> None:
    """Python's names of types are no help at a bench: an option says what is wanted, an argument its name."""
    for word, inside in getattr(found, "commands", {}).items():
        _in_our_words(inside, f"{full_name} {word}")
    which_shed.add_to(found, full_name)
    go_together.add_to(found, full_name)
    for parameter in found.params:
        _as_typed(parameter)
        if parameter.param_type_name == "option" and parameter.metavar is None and not parameter.is_flag:
            parameter.metavar = "TEXT" if isinstance(parameter.type, StringParamType) else "NUMBER"


def _as_typed(parameter: Any) -> None:
    """A number may have a decimal comma and its unit."""
    if isinstance(parameter.type, FloatParamType):
        from curewatch.cli.typed_option import TypedNumber

        parameter.type = TypedNumber(parameter.type, parameter.metavar or "NUMBER")


def _unknown(word: str, known: Iterable[str], path: str) -> str:
    near = get_close_matches(word.lower(), known, n=1, cutoff=0.5)
    meant = f"did you mean `{path} {near[0]}`?" if near else f"`{path} --help` lists them."
    return f"there is no command {word!r}; {meant}"


# a word in a message about what makes sense -> the term that tells why
READ_MORE = {"peroxide": "peroxide", "humidity": "relative humidity", "pot": "pot life", "seal": "seal"}


def _read_more(message: str) -> str:
    """A pointer to the term that a message is about, where there is one and it does not point already."""
    words = set(message.lower().replace(",", " ").replace(": ", " ").split())
    found = next((term for word, term in READ_MORE.items() if word in words), None)
    of_a_form = "CSV" in message or "SenML" in message  # about how a file is written, not about the term
    return f" (curewatch explain {found})" if found and "curewatch" not in message and not of_a_form else ""


application = typer.Typer(
    cls=CommandTable,
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


@application.callback(invoke_without_command=True)
def _start(
    context: typer.Context,
    version: bool = typer.Option(False, "--version", help="Show the version and stop."),
    completion: str | None = typer.Option(
        None,
        "--completion",
        metavar="SHELL",
        help="Show the lines by which bash, zsh or fish completes commands, for its settings, and stop.",
        show_default=False,
    ),
    shed: str | None = typer.Option(
        None, "--shed", metavar="NAME", envvar=which_shed.VARIABLE, help=which_shed.HELP, show_default=False
    ),
) -> None:
    """Decide, time and record cure conditions in a cold, damp shed."""
    which_shed.name(context, shed)
    if version:
        typer.echo(f"curewatch {__version__}")
        raise typer.Exit
    if completion is not None:
        typer.echo(_how_to_complete(completion))
        raise typer.Exit


USUAL_HELP = 52  # columns of a terminal from which help is laid out by the library alone
COMPLETES = "_CUREWATCH_COMPLETE"  # set by a shell that asks what could be typed next
SHELLS = ("bash", "zsh", "fish")


def _how_to_complete(shell: str) -> str:
    """The lines for the settings of this shell."""
    from click.shell_completion import get_completion_class

    asked = get_completion_class(shell) if shell in SHELLS else None
    if asked is None:
        raise UsageError(f"shell: found {shell!r}. Use {', '.join(SHELLS)}")
    return asked(get_command(application), {}, "curewatch", COMPLETES).source()


def _complete(instruction: str) -> int:
    """What could be typed next, for the shell that asks."""
    from click.shell_completion import shell_complete

    return shell_complete(get_command(application), {}, "curewatch", COMPLETES, instruction)


def _narrow() -> int | None:
    """The width of a terminal too narrow for the usual help pages, which are never under 50 columns."""
    wide = shutil.get_terminal_size().columns
    return wide if wide < USUAL_HELP else None


def run(arguments: list[str] | None = None) -> Any:
    """Run the command; a :class:`CurewatchError` becomes its message on stderr and its exit status."""
    _open_what_is_closed()
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors=ascii_fallback.register())  # no traceback where there is no UTF-8
    try:
        check_supported()
        if instruction := os.environ.get(COMPLETES):
            sys.exit(_complete(instruction))
        status = application(
            args=arguments, prog_name="curewatch", standalone_mode=False, terminal_width=_narrow()
        )
        with reader_may_leave():
            sys.stdout.flush()
        sys.exit(status or 0)
    except NoArgsIsHelpError as nothing_typed:
        nothing_typed.show()
        sys.exit(nothing_typed.exit_code)
    except MistypedError as mistake:
        from curewatch.cli.refusal import refusal
        from curewatch.safe_text import safe

        typer.echo(f"curewatch: {safe(refusal(mistake))}", err=True)
        sys.exit(mistake.exit_code)
    except CurewatchError as trouble:
        from curewatch.safe_text import safe

        typer.echo(f"curewatch: {safe(str(trouble))}{_read_more(str(trouble))}", err=True)
        sys.exit(int(trouble.exit_status))
    except OSError as rejected:
        _say_rejected(rejected)
        sys.exit(int(ExitStatus.FAILURE))
    except KeyboardInterrupt:
        sys.exit(int(ExitStatus.FAILURE))


def _open_what_is_closed() -> None:
    """A caller that closed a standard stream wants the exit status alone: nothing comes or is shown there."""
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, mode, encoding="utf-8"))  # noqa: PTH123, SIM115 - for good


@contextmanager
def _reader_left() -> Iterator[None]:
    """Where a stream is written for as long as somebody reads it, the reader's leaving is the end."""
    try:
        yield
    except BrokenPipeError:
        drop_output()
        raise typer.Exit(int(ExitStatus.READER_GONE)) from None


def _say_rejected(rejected: OSError) -> None:
    """What the system would not do."""
    from curewatch.safe_text import safe

    drop_output()
    where = rejected.filename or "the output"
    typer.echo(f"curewatch: {safe(str(where))}: {reason(rejected)}; see to it", err=True)
