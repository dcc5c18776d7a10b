"""``curewatch watch``: the live board; without a terminal, the same as plain lines."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from typing import Annotated

import typer

from curewatch.advice.judge.answer import Verdict
from curewatch.answers.watch import WatchDocument
from curewatch.cli.board_loop import Watched, keep_lines, keep_screen
from curewatch.cli.options import ConfigOption, PlainOption, UnitsOption, settings
from curewatch.cli.screens.board import board
from curewatch.cli.terminal import WIDTH, console, is_plain, print_json
from curewatch.clock import SystemClock, utc_from_iso
from curewatch.configuration import Configuration, logbook_path
from curewatch.daemon.companion import Companion, companion
from curewatch.daemon.edges.process import signals
from curewatch.errors import CurewatchError, ExitStatus, UsageError
from curewatch.logbook import open_logbook
from curewatch.shed.known_names import check_names
from curewatch.wording import Wording

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
    as_json: Annotated[bool, typer.Option("--json", help="With --once: the same picture as JSON.")] = False,
) -> None:
    """The live board: verdict, countdowns, chart, alerts, sensors; it runs the daemon where none runs.

    Keys: a acknowledges the oldest alert, q leaves, Ctrl-L draws anew. Without a terminal, or with
    --plain, it tells the same in lines. Leaving ends a daemon that it runs itself.

    Example: curewatch watch --once --look
    """
    if as_json and not once:
        raise UsageError(
            "--json is of one picture: give --once too; `curewatch ingest --json` tells on and on"
        )
    configuration, words = settings(config, units)
    if once or look:
        show = _document if as_json else partial(_picture, plain=plain)
        raise typer.Exit(_only_look(configuration, words, show if once else partial(keep, plain=plain)))
    check_names(configuration)
    with companion(configuration, config_path=config) as beside, open_logbook(beside.path) as logbook:
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


def _only_look(configuration: Configuration, words: Wording, show: Callable[[Watched], int]) -> int:
    path = logbook_path(configuration)
    with open_logbook(path, read_only=not path.exists()) as logbook:  # looking makes no file
        watched = Watched(logbook, configuration, lambda: "only looking", SystemClock(), words)
        return show(watched)


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
    for row in board(state, utc_from_iso(state.at), watched.words, width, height):
        row.rstrip()
        shown.print(row, soft_wrap=True)
    return _status(state)


def _document(watched: Watched) -> int:
    """The picture as one JSON document."""
    state = watched.look()
    print_json(state)
    return _status(state)


def _status(state: WatchDocument) -> int:
    return int(Verdict(state.advice.verdict).exit_status if state.advice else ExitStatus.UNKNOWN)
