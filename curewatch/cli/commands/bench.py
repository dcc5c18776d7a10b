"""``curewatch bench``: a page of large keys, for one hand in gloves."""

import sys
from typing import TYPE_CHECKING, Annotated

import typer

from curewatch.cli.options import ConfigOption, PlainOption, UnitsOption, settings
from curewatch.errors import UsageError

if TYPE_CHECKING:
    from curewatch.cli.bench_loop import BenchPage


def app(
    *,
    job: Annotated[
        str | None, typer.Option("--job", help="Which job; else the one that is open, or you choose.")
    ] = None,
    part: Annotated[
        str | None, typer.Option("--part", help="Which part of the work; else its last one, or you choose.")
    ] = None,
    config: ConfigOption = None,
    units: UnitsOption = None,
    plain: PlainOption = False,
) -> None:
    """A page of large keys at the bench: mixed, laid, peel ply, gelled, tack-free, firm, pot empty, note.

    Job and part are chosen once. One key press records it, and a line confirms it; u undoes it for a
    minute. It works at 40 columns and over ssh, beside a daemon. With --plain each key is a line.

    Example: curewatch bench --job rudder-cheek --part "rudder cheek"
    """
    from curewatch.cli.bench_loop import BenchPage
    from curewatch.cli.telling import open_to_tell
    from curewatch.cli.terminal import is_plain
    from curewatch.clock import SystemClock
    from curewatch.configuration import logbook_path
    from curewatch.jobs import PART_LONGEST

    configuration, words = settings(config, units)
    if not sys.stdin.isatty():
        raise UsageError("bench: found no terminal. Use `curewatch job` and `curewatch layer` in a script")
    if part is not None and not 1 <= len(part.strip()) <= PART_LONGEST:
        raise UsageError(f"--part: found {part!r}. Use 1 to {PART_LONGEST} characters")
    path = logbook_path(configuration)
    nowhere = not path.exists()  # where none is, none is made
    with open_to_tell(configuration, path, read_only=nowhere) as logbook:
        chosen = (part or "").strip()
        at_bench = BenchPage(logbook, configuration, words, SystemClock(), job=job or "", part=chosen)
        raise typer.Exit(_by_lines(at_bench) if is_plain(plain) else _whole(at_bench))


def _whole(page: "BenchPage") -> int:
    """On the whole terminal, until somebody leaves or the program is ended."""
    import signal

    from curewatch.cli.screens.keys import page as drawn
    from curewatch.cli.terminal import console
    from curewatch.cli.whole_screen import whole_screen

    rang = None
    with whole_screen(console()) as screen:
        while not page.left and screen.ended_by is None:
            state = page.document()
            if state.alert is not None and state.alert != rang:
                screen.ring()
            rang = state.alert
            screen.draw(drawn(state, page.words, *screen.size()))
            typed = screen.typed(1.0)
            if typed == "\f":  # Ctrl-L
                screen.forget()
            elif typed:
                page.typed(typed)
    if screen.ended_by in {None, signal.SIGINT}:
        return 0
    return 128 + (screen.ended_by or 0)


def _by_lines(page: "BenchPage") -> int:
    """One line a key: for a screen reader, or a terminal that cannot be drawn on."""
    from curewatch.cli.asking import ask
    from curewatch.cli.bench_loop import WRITES
    from curewatch.safe_text import safe_line

    while not page.left:
        state = page.document()
        shown = [f"{key.press} {key.label.lower()}" for key in state.keys]
        typer.echo(", ".join([*shown, "u undo, j job, p part, q leave"]))
        prompt = f"{state.question}. Keep it (y/n)" if state.question else state.asks or "key"
        try:
            typed = ask(f"{safe_line(prompt)}: ")
        except EOFError:
            return 0
        page.typed(typed + "\n" if page.mode in WRITES else typed.strip()[:1])
        if page.line:
            typer.echo(safe_line(page.line))
    return 0
