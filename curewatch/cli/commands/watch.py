"""``curewatch watch``: the live board; without a terminal, the same as plain lines."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Annotated

import typer

from curewatch.cli.board_loop import Watched, keep_lines, keep_screen
from curewatch.cli.options import ConfigOption, PlainOption, UnitsOption, settings
from curewatch.cli.screens.board import board
from curewatch.cli.terminal import WIDTH, console, is_plain
from curewatch.cli.wording import Wording
from curewatch.clock import SystemClock
from curewatch.configuration import Configuration, logbook_path
from curewatch.errors import CurewatchError, ExitStatus
from curewatch.ingest.companion import Companion, companion
from curewatch.ingest.edges.process import signals
from curewatch.ingest.known_names import check_names
from curewatch.logbook import Logbook

ROWS = 24  # of one picture where there is no terminal to ask


def app(
    *,
    look: Annotated[
        bool, typer.Option("--look", help="Only look: run no daemon, show what is in the logbook.")
    ] = False,
    once: Annotated[
        bool, typer.Option("--once", help="One picture of the board, then stop; the status is the verdict's.")
    ] = False,
    config: ConfigOption = None,
    units: UnitsOption = None,
    plain: PlainOption = False,
) -> None:
    """The live board: verdict, countdowns, chart, alerts, sensors; it runs the daemon where none runs.

    Keys: a acknowledges the oldest alert, q leaves, Ctrl-L draws anew. Without a terminal, or with
    --plain, it tells the same in lines. Leaving ends a daemon that it runs itself.

    Example: curewatch watch --once --look
    """
    configuration, words = settings(config, units)
    if once or look:
        raise typer.Exit(_only_look(configuration, words, once=once, plain=plain))
    check_names(configuration)
    with companion(configuration, config_path=config) as beside, Logbook(beside.path) as logbook:
        told = daemon_words(beside, configuration)
        raise typer.Exit(keep(Watched(logbook, configuration, told, SystemClock(), words), plain=plain))


def daemon_words(beside: Companion, configuration: Configuration) -> Callable[[], str]:
    """Who keeps the logbook, in a few words; raises when our own daemon ended by itself."""
    sources = len(configuration.serial) + len(configuration.mqtt)

    def told() -> str:
        if beside.failure is not None:
            raise CurewatchError(f"the daemon ended: {beside.failure}") from beside.failure
        if beside.attached_to:
            return f"readings are kept by {beside.attached_to}"
        if not sources:
            return "NO SOURCE in the configuration: curewatch setup"
        return "readings are kept while this runs"

    return told


def _only_look(configuration: Configuration, words: Wording, *, once: bool, plain: bool) -> int:
    path = logbook_path(configuration)
    with Logbook(path, read_only=not path.exists()) as logbook:  # looking makes no file
        watched = Watched(logbook, configuration, lambda: "only looking", SystemClock(), words)
        return _picture(watched, plain=plain) if once else keep(watched, plain=plain)


def keep(watched: Watched, *, plain: bool) -> int:
    """The board until somebody leaves: on the whole terminal, or as lines."""
    if not is_plain(plain):
        return keep_screen(watched, console())
    with ending() as ended:
        return keep_lines(watched, typer.echo, ended)


@contextmanager
def ending() -> Iterator[Callable[[], bool]]:
    """Signals that end the program only make this say so, while inside."""
    with signals() as caught:
        yield lambda: bool(caught)


def _picture(watched: Watched, *, plain: bool) -> int:
    shown = console(plain=plain)
    state = watched.look()
    height = ROWS if is_plain(plain) else shown.height - 1
    width = WIDTH if is_plain(plain) else shown.width
    for row in board(state, state.at, watched.words, width, height):
        row.rstrip()
        shown.print(row, soft_wrap=True)
    return int(state.advice.verdict.exit_status if state.advice else ExitStatus.UNKNOWN)
