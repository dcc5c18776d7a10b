"""Which of several sheds a command is about: ``--shed``, the same for all that read a configuration.

Laws: where there is one shed, nothing is asked and nothing is another than without this. Where there are
several and none is named, a command that only reads answers for each in turn; every other is refused with
the names. No shed is ever guessed.
"""

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import click
import typer

from curewatch.errors import CurewatchError

if TYPE_CHECKING:
    from pathlib import Path

    from curewatch.configuration import Configuration

VARIABLE = "CUREWATCH_SHED"
HELP = f"Which shed, where the configuration has several; else ${VARIABLE}."
_NAMED = "curewatch.shed"  # in what click keeps for one run of the program
_READ = "curewatch.configuration"  # by file, in the same place
# Commands that only read: without --shed they answer for each shed in turn.
FOR_EACH = {
    "tonight",
    "windows",
    "doctor",
    "alerts",
    "sensor list",
    "job list",
    "job show",
    "tabs show",
    "forecast",
    "logbook status",
    "logbook verify",
}
_OF_ONE = (
    "json",
    "as_json",
    "acknowledged",
    "code",
    "file",
)  # an option that makes it the answer of one shed


def named() -> str | None:
    """The shed that was named on the command line; none where none was."""
    context = click.get_current_context(silent=True)
    return context.meta.get(_NAMED) if context is not None else None


def name(context: click.Context, shed: str | None) -> None:
    """Remember the shed that was named; one named at the command goes before one named before it."""
    if shed is not None:
        context.meta[_NAMED] = shed


def configured(config: "Path | None") -> "Configuration":
    """The configuration of the one shed that this command is about.

    Raises
    ------
    ConfigurationError, UsageError
        It cannot be read; or there are several sheds, and none, or none of these, was named.
    """
    from curewatch.configuration import one_shed

    return one_shed(_loaded(config), named())


def configured_sheds(config: "Path | None") -> "dict[str, Configuration]":
    """The configuration of each shed that is meant, for a command that can show all."""
    from curewatch.configuration import one_shed

    whole = _loaded(config)
    if named() is None:
        return whole.each
    one = one_shed(whole, named())
    return {one.label: one}


def _loaded(config: "Path | None") -> "Configuration":
    """The file as this command first read it: who asks for the sheds and who answers go by one."""
    from curewatch.configuration import load

    context = click.get_current_context(silent=True)
    if context is None:
        return load(config)
    kept = context.meta.setdefault(_READ, {})
    key = config and str(config)  # a path here, the word as it was typed there
    if key not in kept:
        kept[key] = load(config)
    return kept[key]  # type: ignore[no-any-return]


def all_sheds(config: "Path | None") -> "Configuration":
    """The configuration of every shed together, for what keeps them all.

    Raises
    ------
    ConfigurationError, UsageError
        It cannot be read; or one shed was named.
    """
    from curewatch.configuration import load
    from curewatch.errors import UsageError

    if named() is not None:
        raise UsageError(f"--shed: found {named()!r}. One daemon and its page serve all sheds. Leave it out")
    return load(config)


def add_to(command: Any, full_name: str) -> None:
    """Give a command that reads a configuration its ``--shed``."""
    places = [place for place, each in enumerate(command.params) if "--config" in each.opts]
    if not places:
        return
    option = click.Option(
        ["--shed"],
        metavar="NAME",
        help=HELP,
        expose_value=False,
        callback=lambda ctx, _, shed: name(ctx, shed),
    )
    command.params.insert(places[0] + 1, option)
    if full_name in FOR_EACH:
        command.callback = _each_in_turn(command.callback)


def _each_in_turn(answer: Callable[..., Any]) -> Callable[..., Any]:
    def answer_for_each(**given: Any) -> Any:
        sheds = {} if any(given.get(key) for key in _OF_ONE) else configured_sheds(given.get("config"))
        if len(sheds) < 2:
            return answer(**given)
        statuses = [_answered(shed, given, answer, first=not at) for at, shed in enumerate(sheds.values())]
        raise typer.Exit(max(statuses))

    return answer_for_each


def _answered(
    shed: "Configuration", given: dict[str, Any], answer: Callable[..., Any], *, first: bool
) -> int:
    """Answer for one shed; its exit status. After one that goes wrong comes the next."""
    from curewatch.safe_text import safe

    typer.echo(f"{'' if first else chr(10)}{safe(title(shed))}")
    click.get_current_context().meta[_NAMED] = shed.label
    try:
        answer(**given)
    except click.exceptions.Exit as ended:
        return ended.exit_code
    except CurewatchError as trouble:
        typer.echo(f"curewatch: {shed.label}: {safe(str(trouble))}", err=True)
        return int(trouble.exit_status)
    return 0


def title(shed: "Configuration") -> str:
    """How a shed is named above its answer: by its name in the file, and by its own where that is another."""
    own = shed.shed.name
    return f"[{shed.label}]" if own == shed.label else f"[{shed.label}] {own}"
