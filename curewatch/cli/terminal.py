"""Where answers go: a console that fits the terminal, plain lines without one, JSON when asked.

Results go to stdout, trouble to stderr. Plain means: no terminal, ``TERM=dumb``, ``--plain`` or
``$CUREWATCH_PLAIN``; then there is no colour, no cursor movement and no box, so that a pipe or a
screen reader gets lines of text. ``$NO_COLOR`` takes the colour alone.
"""

import json
import os
import sys
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any, TextIO

if TYPE_CHECKING:
    from rich.console import Console

WIDTH = 80  # columns where there is no terminal to ask


def is_plain(
    asked: bool = False, stream: TextIO | None = None, environment: Mapping[str, str] = os.environ
) -> bool:
    """Whether to write plain lines: asked for, or nothing there that could show more."""
    where = stream or sys.stdout
    return (
        asked
        or bool(environment.get("CUREWATCH_PLAIN"))
        or environment.get("TERM") == "dumb"
        or not where.isatty()
    )


def console(*, plain: bool = False, width: int | None = None, stream: TextIO | None = None) -> "Console":
    """A console that reads no markup, guesses no highlights, and keeps to 80 columns when plain."""
    from rich.console import Console

    bare = is_plain(plain, stream)
    return Console(
        file=stream or sys.stdout,
        width=width or (WIDTH if bare else None),
        markup=False,
        emoji=False,
        highlight=False,
        force_terminal=False if bare else None,
        no_color=True if bare else None,
        soft_wrap=False,
    )


def print_json(value: Any, *, stream: TextIO | None = None, one_line: bool = False) -> None:
    """One JSON document, ASCII only, so that nothing in it can act on a terminal; NaN is refused."""
    text = json.dumps(value, allow_nan=False, indent=None if one_line else 2)
    print(text, file=stream or sys.stdout, flush=one_line)


def note(text: str) -> None:
    """One line of trouble or remark on stderr."""
    from curewatch.cli.safe_text import safe

    print(f"curewatch: {safe(text)}", file=sys.stderr)


def print_lines(lines: Iterable[str], *, plain: bool = False, colour: str = "") -> None:
    """Lines of an answer; the first one, which is the answer, bold and coloured where that shows."""
    import typer

    bare = is_plain(plain) or bool(os.environ.get("NO_COLOR"))
    for index, line in enumerate(lines):
        if index or bare:
            print(line)
        else:
            print(typer.style(line, bold=True, fg=colour or None))
