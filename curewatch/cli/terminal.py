"""Where answers go: a console that fits the terminal, plain lines without one, JSON when asked.

Results go to stdout, trouble to stderr. Plain means: no terminal, ``TERM=dumb``, ``--plain`` or
``$CUREWATCH_PLAIN``; then there is no colour, no cursor movement and no box, so that a pipe or a
screen reader gets lines of text. ``$NO_COLOR`` takes the colour alone.

A reader that has had enough (``| head``) takes nothing from an answer: the rest of it is dropped, and the
command ends with the status it would have had.
"""

import os
import re
import shutil
import sys
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, TextIO

from curewatch.answers.document import as_json
from curewatch.cli.folding import folded

if TYPE_CHECKING:
    from rich.console import Console

WIDTH = 80  # columns where there is no terminal to ask
_BEFORE_UNIT = re.compile(r"(?<=[0-9]) (?=(?:%|K|°C|°F|h|min)\b|%)")


def is_plain(
    asked: bool = False, stream: TextIO | None = None, environment: Mapping[str, str] = os.environ
) -> bool:
    """Whether to write plain lines: asked for, or nothing there that could show more."""
    where = stream or sys.stdout
    return asked_plain(asked, environment) or not where.isatty()


def asked_plain(asked: bool = False, environment: Mapping[str, str] = os.environ) -> bool:
    """Whether somebody wants plain lines, be there a terminal or not."""
    return asked or bool(environment.get("CUREWATCH_PLAIN")) or environment.get("TERM") == "dumb"


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


def columns() -> int:
    """How wide lines may be here: 80 where there is no terminal."""
    return shutil.get_terminal_size().columns if sys.stdout.isatty() else WIDTH


def print_json(document: Any, *, stream: TextIO | None = None, one_line: bool = False) -> None:
    """A document as JSON, ASCII only, so that nothing in it can act on a terminal; NaN is refused."""
    text = as_json(document, one_line=one_line)
    with reader_may_leave():
        print(text, file=stream or sys.stdout, flush=one_line)


@contextmanager
def reader_may_leave() -> Iterator[None]:
    """A pipe whose reader has gone is no failure of what is written there."""
    try:
        yield
    except BrokenPipeError:
        drop_output()


def drop_output() -> None:
    """What is still to be shown has no way out: let it go nowhere, now and at the end."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, sys.stdout.fileno())
    os.close(nowhere)


def note(text: str) -> None:
    """One line of trouble or remark on stderr."""
    from curewatch.safe_text import safe

    print(f"curewatch: {safe(text)}", file=sys.stderr)


def print_lines(lines: Iterable[str], *, plain: bool = False, colour: str = "") -> None:
    """Lines of an answer; the first one, which is the answer, bold and coloured where that shows."""
    import typer

    bare = is_plain(plain) or bool(os.environ.get("NO_COLOR"))
    first, *rest = folded(lines, columns()) or [""]
    with reader_may_leave():
        print(first if bare else typer.style(first, bold=True, fg=colour or None))
        for line in rest:
            print(line)


def say(*lines: str) -> None:
    """Lines on stdout that are no more important than their neighbours; at once, as a journal needs them."""
    with reader_may_leave():
        for line in folded(lines, columns()):
            print(line, flush=True)


def say_paragraphs(lines: Iterable[str], indent: int = 3) -> None:
    """Print, within 80 columns; a number stays with its unit."""
    from curewatch.cli.screens.lines import paragraph

    for line in lines:
        bound = _BEFORE_UNIT.sub("\N{NO-BREAK SPACE}", line)
        shown = paragraph(bound, WIDTH, subsequent_indent=" " * indent) or [""]
        say(*(row.replace("\N{NO-BREAK SPACE}", " ") for row in shown))
