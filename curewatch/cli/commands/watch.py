"""``curewatch watch``: the live board; without a terminal, the same as plain lines."""

import os
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from curewatch.advice.judge.answer import Verdict
from curewatch.answers.watch import WatchDocument
from curewatch.cli.board_loop import BoardOfSheds, Watched, keep_lines, keep_screen, tell_all
from curewatch.cli.configuration_again import ConfigurationAgain
from curewatch.cli.options import ConfigOption, PlainOption, UnitsOption
from curewatch.cli.terminal import WIDTH, asked_plain, console, is_plain, note, print_json, say
from curewatch.cli.which_shed import named
from curewatch.clock import SystemClock, utc_from_iso
from curewatch.configuration import load, logbook_path, one_shed
from curewatch.daemon.edges.process import signals
from curewatch.errors import CurewatchError, ExitStatus, UsageError
from curewatch.logbook import open_logbook, watched
from curewatch.logbook.forwarded import kept_by_another
from curewatch.shed.known_names import check_names

if TYPE_CHECKING:  # who only looks runs no daemon
    from curewatch.daemon.companion import Companion

NO_DAEMON = "NO DAEMON RUNS: curewatch watch"
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
    --plain, it shows the same in lines. Leaving ends a daemon that it runs itself. Of several sheds it shows
    a row each above one's board: --shed names that, or a key; else it is the worst.

    Example: curewatch watch --once --look
    """
    if as_json and not once:
        raise UsageError(
            "--json is of one picture: give --once too; `curewatch ingest --json` goes on and on"
        )
    whole = load(config)
    asked = one_shed(whole, named()).label if as_json or named() is not None else ""
    kept = ConfigurationAgain(whole, units)
    if once or look:
        show = _document if as_json else partial(_picture, plain=plain)
        show = show if once else partial(keep, plain=plain)
        with _opened(kept, partial(_looking, kept), asked) as shown:
            raise typer.Exit(show(shown))
    from curewatch.daemon.companion import companion

    for shed in whole.each.values():
        check_names(shed)
    with companion(whole, config_path=config) as beside:
        told = daemon_words(beside, kept)
        with _opened(kept, told, asked) as shown:
            raise typer.Exit(keep(shown, plain=plain))


@contextmanager
def _opened(kept: ConfigurationAgain, told: Callable[[], str], asked: str) -> Iterator[BoardOfSheds]:
    """The logbook of each shed, to look at; looking makes no file. Of several sheds those that have one."""
    whole = kept.whole
    places = {label: logbook_path(shed) for label, shed in whole.each.items()}
    begun = [label for label, path in places.items() if path.exists() or label == asked] or [*places][:1]
    with ExitStack() as open_ones:
        sheds = {}
        for label, path in places.items():
            if label not in begun:
                note(f"{label}: there is no logbook at {path}; `curewatch ingest` or `watch` begins one")
                continue
            logbook = open_ones.enter_context(open_logbook(path, read_only=not _written(path)))
            shed, words = kept.of(label)
            sheds[label] = Watched(logbook, shed, told, SystemClock(), words, partial(kept.of, label))
        yield BoardOfSheds(sheds, asked)


def _written(path: Path) -> bool:
    """Whether an alert can be acknowledged in it: by us, or through its service."""
    return os.access(path, os.W_OK) or kept_by_another(path)


def _looking(kept: ConfigurationAgain) -> str:
    """That nothing is kept by this board; and by nobody else, where something could come in."""
    whole = kept.whole
    alone = any(watched(logbook_path(shed)) is False for shed in whole.each.values())
    return f"only looking; {NO_DAEMON}" if alone and (whole.serial or whole.mqtt) else "only looking"


def daemon_words(beside: "Companion", kept: ConfigurationAgain) -> Callable[[], str]:
    """Who keeps the logbook, in a few words; raises when our own daemon ended by itself."""

    def told() -> str:
        if beside.failure is not None:
            raise CurewatchError(f"the daemon ended: {beside.failure}") from beside.failure
        if beside.attached_to:
            return f"readings are kept by {beside.attached_to}" if beside.running else NO_DAEMON
        if not (kept.whole.serial or kept.whole.mqtt):
            return "NO SOURCE in the configuration: curewatch setup"
        return "readings are kept while this runs"

    return told


def keep(shown: BoardOfSheds, *, plain: bool) -> int:
    """The board until somebody leaves: on the whole terminal, or as lines."""
    if not is_plain(plain):
        return keep_screen(shown, console())
    with ending() as ended:
        return keep_lines(shown, typer.echo, ended)


@contextmanager
def ending() -> Iterator[Callable[[], bool]]:
    """Signals that end the program only make this say so, while inside."""
    with signals() as caught:
        yield lambda: bool(caught)


def _picture(shown: BoardOfSheds, *, plain: bool) -> int:
    shown.look_at_all()
    statuses = [_status(state) for shed, state in shown.states.items() if shown.asked in {"", shed}]
    if asked_plain(plain):
        tell_all(shown, say)
        return max(statuses)
    onto = console(plain=plain)
    height = ROWS if is_plain() else onto.height - 1
    width = WIDTH if is_plain() else onto.width
    for row in shown.rows(utc_from_iso(shown.state.at), width, height):
        row.rstrip()
        onto.print(row, soft_wrap=True)
    return max(statuses)


def _document(shown: BoardOfSheds) -> int:
    """The picture of one shed as one JSON document."""
    shown.look(shown.asked)
    print_json(shown.states[shown.asked])
    return _status(shown.states[shown.asked])


def _status(state: WatchDocument) -> int:
    return int(Verdict(state.advice.verdict).exit_status if state.advice else ExitStatus.UNKNOWN)
