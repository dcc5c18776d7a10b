"""``curewatch manual``: the manual page, made from the table of commands, so that both always agree."""

from collections.abc import Iterator
from typing import Annotated, Any

import typer

from curewatch import __version__
from curewatch.answers.catalogue import schema as schema_of
from curewatch.cli import main
from curewatch.errors import ExitStatus

EXIT_STATUSES = {
    ExitStatus.OK: "go, or done",
    ExitStatus.FAILURE: "it failed: a disk, a cable, a broker; the message names it",
    ExitStatus.USAGE: "the command was wrong",
    ExitStatus.NO_GO: "no-go",
    ExitStatus.UNKNOWN: "unknown: never to be taken as go",
    ExitStatus.RECORD_BROKEN: "a record or a logbook does not prove what it claims",
    ExitStatus.CONFIGURATION: "the configuration is wrong: file, line and key are named",
    ExitStatus.READER_GONE: "whoever read a stream (| head) went before its end",
}
ENVIRONMENT = {
    "CUREWATCH_CONFIG": "The configuration file, where --config does not name one.",
    "CUREWATCH_SHED": "The shed, where the configuration has several and --shed does not name one.",
    "CUREWATCH_MQTT_PASSWORD": "The broker's password; with _NAME at the end, that of one source.",
    "CUREWATCH_UNITS": "As --units: C or F, g or oz, 24h or 12h, separated by commas.",
    "CUREWATCH_PLAIN": "When set, as --plain: lines without colour, boxes or cursor movement.",
    "NO_COLOR": "When set, no colour.",
}
FILES = {
    "./curewatch.toml": "The configuration, looked for first.",
    "~/.config/curewatch/curewatch.toml": "The user's own configuration.",
    "~/.local/share/curewatch/logbook.sqlite": "The logbook, unless the configuration names another.",
}
DESCRIPTION = (
    "Reads the shed's sensors over a serial line or MQTT. Answers go, no-go or unknown for a layer of epoxy "
    "or polyester, with every reason. Shows when the next layer may go on, and until when it still bonds. "
    "Keeps a record that can be checked. Unknown is never go. Terms: curewatch explain."
)
CAUTION = (
    "Advice is about cure quality only. A pot can heat itself until it smokes; resins sensitise the skin; "
    "peroxide and accelerator must never meet neat; vapour and unflued heaters harm. The makers' sheets, "
    "local rules, and for structural work a surveyor or a licensed repairer come first."
)


def app(
    *,
    schema: Annotated[
        str | None,
        typer.Option("--schema", metavar="NAME", help="Instead: the JSON schema of a command's --json."),
    ] = None,
) -> None:
    """The manual page in the form that man reads; or the shape of an answer in JSON.

    Schemas of what is published: mqtt-state, mqtt-alerts, mqtt-seal; advice is as tonight.

    Example: curewatch manual > curewatch.1
    """
    typer.echo(page() if schema is None else schema_of(schema), nl=False)


def every_command() -> Iterator[tuple[str, Any]]:
    """Every command that can be typed, with its full name: ``resin list``; groups themselves left out."""
    for name in main.COMMANDS:
        yield from _leaves(name, main.command(name))


def _leaves(name: str, command: Any) -> Iterator[tuple[str, Any]]:
    inside = getattr(command, "commands", None)
    if inside is None:
        yield name, command
        return
    if command.invoke_without_command:
        yield name, command
    for word, each in inside.items():
        yield from _leaves(f"{name} {word}", each)


def page() -> str:
    """The whole page as roff."""
    parts = [
        f'.TH CUREWATCH 1 "" "curewatch {__version__}" "User Commands"',
        ".SH NAME",
        r"curewatch \- decide, time and record cure conditions in a cold, damp shed",
        ".SH SYNOPSIS",
        ".B curewatch",
        r"[\fB\-\-version\fR] [\fB\-\-help\fR] \fICOMMAND\fR [\fIARGUMENTS\fR]",
        ".SH DESCRIPTION",
        _escaped(DESCRIPTION),
        ".SH COMMANDS",
        *(line for name, command in every_command() for line in _command_lines(name, command)),
    ]
    for heading, table in (("ENVIRONMENT", ENVIRONMENT), ("FILES", FILES)):
        parts += [f".SH {heading}", *_pairs(table)]
    parts += [".SH EXIT STATUS", *_pairs({str(int(status)): said for status, said in EXIT_STATUSES.items()})]
    parts += [".SH CAUTION", _escaped(CAUTION)]
    return "\n".join(parts) + "\n"


def _command_lines(name: str, command: Any) -> list[str]:
    context = typer.Context(command, info_name=f"curewatch {name}")
    usage = " ".join(command.collect_usage_pieces(context))
    lines = [f".SS {_escaped(f'curewatch {name}')}", f"\\fBcurewatch {_escaped(name)}\\fR {_escaped(usage)}"]
    for paragraph in (command.help or "").replace("\b", "").split("\n\n"):
        if paragraph.strip():
            lines += [".PP", _escaped(" ".join(paragraph.split()))]
    for parameter in command.get_params(context):
        record = parameter.get_help_record(context)
        if record:
            lines += _pairs({record[0]: record[1]})
    return lines


def _pairs(table: dict[str, str]) -> list[str]:
    return [line for term, said in table.items() for line in (".TP", f".B {_escaped(term)}", _escaped(said))]


def _escaped(text: str) -> str:
    """Text that means nothing to roff."""
    text = " ".join(text.split()).replace("\\", "\\e").replace("-", "\\-")
    return f"\\&{text}" if text[:1] in {".", "'"} or not text else text
