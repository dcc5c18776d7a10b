"""Short forms: one table of fields gives the options, the questions and the checks of a command.

At the bench nobody types options with gloves on: with none given and a terminal there, each field is
asked, Enter takes what stands in brackets (the last entry's value), "-" leaves it out. In a script each
field is an option; then only what is needed and missing is refused. Both ways read with one function.
"""

import inspect
import sys
from collections.abc import Callable, Mapping, Sequence
from datetime import tzinfo
from typing import Annotated, Any

import typer

from curewatch.cli.asking import ask
from curewatch.errors import UsageError
from curewatch.wording import Wording
from curewatch.worklog.fields import Field

Ask = Callable[[str, str], str]  # question, default -> what was typed


def fill(
    fields: Sequence[Field],
    given: Mapping[str, str | None],
    last: Mapping[str, Any],
    ask: Ask | None = None,
    words: Wording | None = None,
) -> dict[str, Any]:
    """Values by key, from the options, the last entry and, where ``ask`` is given, the person.

    Raises
    ------
    UsageError
        A needed field is missing and there is nobody to ask, or an option's text is not a value.
    """
    words = words or Wording()
    asks_all = ask is not None and nothing_given(given)
    values: dict[str, Any] = {}
    missing = []
    for field in fields:
        text = given.get(field.key)
        before = field.say(last[field.key], words) if last.get(field.key) is not None else ""
        if text is not None and not text.strip() and field.needed:
            missing.append(f"{field.option} ({field.question.lower()}; it was empty)")
        elif text is not None:
            values[field.key] = field.value(text, words)
        elif ask is not None and (
            (asks_all and field.asked) or (field.needed and not (field.carried and before))
        ):
            values[field.key] = answered(field, before, ask, words)
        elif before and field.carried:
            values[field.key] = field.value(before, words)
        elif field.needed:
            missing.append(f"{field.option} ({field.question.lower()})")
    if missing:
        raise UsageError(
            f"missing: {', '.join(missing)}; or run it on a terminal without options to be asked"
        )
    return {key: value for key, value in values.items() if value not in (None, "")}


def answered(field: Field, before: str, ask: Ask, words: Wording | None = None) -> Any:
    """Ask until the answer can be read; an empty one, or "-", leaves out a field that is not needed."""
    while True:
        text = ask(field.question, before)
        if text.strip() in {"", "-"} and not field.needed:
            return None
        if not text.strip():
            typer.echo("  this cannot be left out; Ctrl-C leaves, and nothing is written down", err=True)
            continue
        try:
            return field.value(text, words or Wording())
        except UsageError as trouble:
            typer.echo(f"  {trouble}", err=True)


def nothing_given(given: Mapping[str, str | None]) -> bool:
    """No option was typed: the whole form is asked."""
    return all(text is None for text in given.values())


def ask_when(ask: Ask, zone: tzinfo, now: float, usual: str = "now") -> float | None:
    """When it was, from the person; None for what is usual."""
    from curewatch.cli.typed import past_from_text

    def read(text: str, option: str) -> float | None:
        return None if text.strip() == usual else past_from_text(text, zone, now, option=option)

    return answered(Field("when", "When: now, 20 min ago or 21:40", read, needed=True), usual, ask)  # type: ignore[no-any-return]


def at_terminal() -> Ask | None:
    """How to ask, if somebody is there: standard input is a terminal."""
    return _prompt if sys.stdin.isatty() else None


def _prompt(question: str, before: str) -> str:
    from curewatch.safe_text import safe_line

    shown = f"{question} [{safe_line(before)}]: " if before else f"{question}: "
    try:
        typed = ask(shown)
    except EOFError as end:
        raise UsageError("stopped before the end of the form; nothing was written down") from end
    return typed if typed.strip() else before


def _text(typed: str | list[str] | None) -> str | None:
    return (", ".join(typed) or None) if isinstance(typed, list) else typed


def with_fields(fields: Sequence[Field], function: Callable[..., None]) -> Callable[..., None]:
    """The command ``function(given, **rest)`` with one option for each field in its signature."""
    rest = [p for p in inspect.signature(function).parameters.values() if p.name != "given"]
    options = [
        inspect.Parameter(
            field.key,
            inspect.Parameter.KEYWORD_ONLY,
            default=None,
            annotation=Annotated[
                list[str] | None if field.many else str | None,
                typer.Option(field.option, help=field.question, show_default=False),
            ],
        )
        for field in fields
    ]

    def command(**arguments: Any) -> None:
        given = {field.key: _text(arguments.pop(field.key)) for field in fields}
        function(given, **arguments)

    command.__signature__ = inspect.Signature(  # type: ignore[attr-defined]
        [*options, *(p.replace(kind=inspect.Parameter.KEYWORD_ONLY) for p in rest)]
    )
    command.__annotations__ = {p.name: p.annotation for p in [*options, *rest]}
    command.__doc__ = function.__doc__
    command.__name__ = function.__name__
    return command
