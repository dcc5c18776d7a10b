"""``curewatch fleet``: many sheds behind brokers, their logbooks in a database."""

import signal
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from click.exceptions import NoArgsIsHelpError

from curewatch.cli.options import JsonOption, UnitsOption
from curewatch.cli.terminal import note, say
from curewatch.errors import ExitStatus, UsageError

if TYPE_CHECKING:
    from curewatch.fleet.phone_page import FleetPage
    from curewatch.fleet.serving import FleetProcess

app = typer.Typer(
    add_completion=False,
    help="Many sheds: their readings from queues, copies of their logbooks, files for servers.\n\n"
    "Alone it shows every shed in a line, worst first, as `sheds` does: those of ./fleet.toml.\n\n"
    "Example: curewatch fleet",
)
HERE = Path("fleet.toml")  # as `intake --example` calls it


PlanFile = Annotated[
    Path | None,
    typer.Argument(metavar="FILE", help="Names the brokers and the sheds.", show_default=False),
]


@app.callback(invoke_without_command=True)
def bare(context: typer.Context) -> None:
    """What `curewatch fleet` alone does."""
    if context.invoked_subcommand is None:
        if not HERE.exists():
            raise NoArgsIsHelpError(context)
        sheds(HERE)


@app.command()
def intake(
    file: PlanFile = None,
    example: Annotated[
        bool, typer.Option("--example", help="Print such a file, and do nothing else.")
    ] = False,
) -> None:
    """Take the readings of many sheds from their queues, store them, and only then acknowledge them.

    Any number of these may serve the same sheds. Each shed's queue has one that takes from it; if that one
    dies, the next takes over. Of sheds with their own daemon it keeps the closed blocks as they come.

    Example: curewatch fleet intake --example
    """
    if example:
        return deploy("fleet.toml")
    from curewatch.clock import SystemClock
    from curewatch.fleet.plan import load_plan
    from curewatch.fleet.worker import Worker

    return _served(Worker(*load_plan(_named(file)), SystemClock(), say))


@app.command()
def look(file: PlanFile = None) -> None:
    """Work out the advice of the sheds of which something changed, as the workers ask for it.

    Any number of these share the work; one for each core. Set OPENBLAS_NUM_THREADS=1.

    Example: curewatch fleet look fleet.toml
    """
    from curewatch.clock import SystemClock
    from curewatch.fleet.looker import Looker
    from curewatch.fleet.plan import load_plan

    return _served(Looker(*load_plan(_named(file)), SystemClock(), say))


@app.command()
def sheds(
    file: PlanFile = None,
    metrics: Annotated[
        bool, typer.Option("--metrics", help="As OpenMetrics text, for rules that ring an operator.")
    ] = False,
    units: UnitsOption = None,
    as_json: JsonOption = False,
) -> None:
    """Every shed in a line by its last look, worst first: alerts, unknown, no-go, go.

    A shed whose last look is older than 15 minutes is unknown. The last line has the command for a board.

    Example: curewatch fleet sheds fleet.toml
    """
    from curewatch.answers.metrics import open_metrics
    from curewatch.cli.screens import sheds as screen
    from curewatch.cli.terminal import print_json, print_lines
    from curewatch.clock import SystemClock
    from curewatch.fleet import boards
    from curewatch.fleet.plan import load_plan
    from curewatch.wording import wording

    place = _named(file)
    _, found = load_plan(place)
    now = SystemClock().now().utc
    seen = boards.seen(found, now)
    if metrics:
        return typer.echo(open_metrics({"": boards.families(seen)}), nl=False)
    answer = boards.fleet_document(seen, now)
    if as_json:
        return print_json(answer)
    first = next(iter(found.values()))
    words = wording(first.zone, units, configured=first.shed.units)
    board = f"--look --config {found[answer.sheds[0].shed].file}"
    return print_lines(screen.lines(answer, words, board))


@app.command()
def serve(file: PlanFile = None) -> None:
    """The page of all sheds for phones, as `curewatch fleet sheds` has them; each opens to its board.

    It only shows. It listens as [page] of the file asks, else on this machine alone.

    Example: curewatch fleet serve fleet.toml
    """
    from curewatch.fleet.phone_page import FleetPage
    from curewatch.fleet.plan import load_plan

    place = _named(file)
    return _served(FleetPage(place, *load_plan(place), say))


@app.command()
def page(
    file: PlanFile = None,
    name: Annotated[
        str, typer.Option("--name", metavar="NAME", help="Whose phone it is.", show_default=False)
    ] = "",
    listed: Annotated[bool, typer.Option("--list", help="Only list the codes there are.")] = False,
    revoke: Annotated[
        int | None, typer.Option("--revoke", metavar="NUMBER", help="Take a code back.", show_default=False)
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """A code that lets a phone open the page of all sheds, to look: as an address and as a square.

    It is shown once. `curewatch fleet serve` is what it opens.

    Example: curewatch fleet page fleet.toml --name "Ana's phone"
    """
    from curewatch.cli.page_codes import codes
    from curewatch.cli.screens.page import lines
    from curewatch.cli.terminal import print_json, print_lines
    from curewatch.clock import SystemClock
    from curewatch.fleet.plan import load_plan
    from curewatch.page.tokens import TokenKind, tokens_path
    from curewatch.wording import plain_wording

    place = _named(file)
    plan, _ = load_plan(place)
    path, now = tokens_path(place), SystemClock().now().utc
    document = codes(plan.page, path, now, kind=TokenKind.VIEW, name=name, listed=listed, revoke=revoke)
    shown = lines(document, plain_wording(), now, f"fleet page {place}")
    print_json(document) if as_json else print_lines(shown)


@app.command()
def send(file: PlanFile = None) -> None:
    """Beside a shed's own daemon, as its user: send its closed blocks to a fleet, and show what it refuses.

    Nothing is lost meanwhile: what has not come through is sent again. If the fleet does not follow this
    logbook, the shed's alerts say so.

    Example: curewatch fleet send sender.toml
    """
    from curewatch.clock import SystemClock
    from curewatch.fleet.plan import load_plan
    from curewatch.fleet.sender import Sender

    return _served(Sender(*load_plan(_named(file)), SystemClock(), say))


@app.command()
def heads(
    file: PlanFile = None,
    *,
    output: Annotated[
        Path | None,
        typer.Option("--output", metavar="LIST", help="The list: a new file, or one to go on with."),
    ] = None,
    check_file: Annotated[
        Path | None, typer.Option("--check", metavar="LIST", help="Instead: check this list.")
    ] = None,
    roots: Annotated[
        Path | None,
        typer.Option("--roots", metavar="FILE", help="With --check: trust these to date it."),
    ] = None,
    units: UnitsOption = None,
    as_json: JsonOption = False,
) -> None:
    """Seal every shed and list the newest seals, signed with the operator's key; or check a list.

    Each shed gets the list's code into its logbook; one with its own daemon with the next answer. Once a day
    is meant. Keep the list on another machine. The key is made at the first list, beside FILE.
    Exit status 5: a chain is not what was listed.

    Example: curewatch fleet heads fleet.toml --output heads.txt
    """
    from curewatch.answers.heads import heads_document
    from curewatch.cli.screens.heads import lines
    from curewatch.cli.terminal import print_json, print_lines
    from curewatch.clock import SystemClock
    from curewatch.fleet import listing
    from curewatch.fleet.plan import load_plan
    from curewatch.logbook.heads import load
    from curewatch.logbook.keys import load_key, public_of
    from curewatch.logbook.stamping import read_authority, read_roots
    from curewatch.wording import wording

    place, now = _named(file), SystemClock().now().utc
    if (output is None) == (check_file is None):
        raise UsageError("heads: found no one list. Use --output LIST to make one, --check LIST for one")
    plan, found = load_plan(place)
    if check_file is None:
        authority = read_authority(plan.heads.stamp_authority, plan.heads.stamp_roots_file)
        made, left = listing.listed(output or Path(), place, plan, found, authority=authority, at=now)
        for name in left:
            note(f"{name}: no sealed block of it has come yet; it is not listed")
    else:
        made, key = load(check_file), public_of(load_key(listing.key_path(place)))
        listing.check(made, found, key, None if roots is None else read_roots(roots))
    answer = heads_document(made, output or check_file or Path(), checked=check_file is not None)
    first = next(iter(found.values()))
    words = wording(first.zone, units, configured=first.shed.units)
    print_json(answer) if as_json else print_lines(lines(answer, words, now))


@app.command()
def settle(
    file: PlanFile = None,
    copied: Annotated[str, typer.Option("--copy", metavar="NAME", help="One of [copies].")] = "",
    shed: Annotated[
        str, typer.Option("--shed", metavar="NAME", help="Instead: its logbook is this shed's from now on.")
    ] = "",
) -> None:
    """Let go of what stands against a copied shed, once its cause was found. It comes back if it is still so.

    With --shed for a shed that was renamed.

    Example: curewatch fleet settle fleet.toml --copy yard
    """
    from curewatch.configuration import logbook_path
    from curewatch.fleet import copying, shed_name
    from curewatch.fleet.plan import load_plan
    from curewatch.logbook import open_logbook

    plan, sheds = load_plan(_named(file))
    if shed:
        if shed not in sheds:
            raise UsageError(f"--shed: found {shed!r}. Use one of {', '.join(sheds)}")
        with open_logbook(logbook_path(sheds[shed])) as logbook:
            shed_name.rename(logbook, shed)
        return say(f"{shed}: its logbook is {logbook_path(sheds[shed])}")
    if copied not in plan.copies:
        raise UsageError(
            f"--copy: found {copied!r}. Use one of {', '.join(plan.copies) or 'none: no copies'}"
        )
    with open_logbook(logbook_path(sheds[copied])) as logbook:
        found = copying.trouble_of(logbook)
        copying.settle(logbook)
    return say(f"{copied}: {'nothing stood against it' if found is None else f'let go of: {found[0].told}'}")


def _named(file: Path | None) -> Path:
    if file is None:
        raise UsageError("FILE: found none. Use a file as `curewatch fleet intake --example` prints it")
    return file


def _served(process: "FleetProcess | FleetPage") -> None:
    def stop(*_: Any) -> None:
        process.stopping = True

    signal.signal(signal.SIGTERM, stop)
    signal.signal(signal.SIGINT, stop)
    process.run()


@app.command()
def check(
    file: Annotated[
        Path | None, typer.Argument(metavar="FILE", help="A worker's file.", show_default=False)
    ] = None,
    explain: Annotated[bool, typer.Option("--explain", help="Say what is looked at, and why.")] = False,
) -> None:
    """Which settings of store and brokers can lose what was acknowledged. Exit status 1: some can.

    Example: curewatch fleet check --explain
    """
    from curewatch.fleet import checking
    from curewatch.fleet.plan import load_plan

    if explain:
        for name, (_, loses, use) in checking.STORE.items():
            say(f"{name}: otherwise {loses}. Use {use}")
        say(f"{checking.SESSIONS}: with too few {checking.NO_SESSION}. Use two for each shed, more for looks")
        say(f"brokers: with fewer than {checking.LEAST_HOSTS} nodes {checking.BROKERS}")
        return
    doubts = checking.check(*load_plan(_named(file)))
    for one in doubts:
        say(f"{one.place}: found {one.found}: {one.loses}. Use {one.use}")
    if doubts:
        raise typer.Exit(ExitStatus.FAILURE)
    say("nothing found that loses what was acknowledged")


@app.command()
def deploy(
    name: Annotated[
        str, typer.Argument(metavar="[NAME]", help="The file to print; without it their names.")
    ] = "",
) -> None:
    """Print a file for a server: a unit for systemd, settings of RabbitMQ and PostgreSQL.

    Example: curewatch fleet deploy intake.service
    """
    there = {one.name: one for one in files("curewatch.fleet").joinpath("deploy").iterdir()}
    if name and name not in there:
        raise UsageError(f"NAME: found {name!r}. Use one of {', '.join(sorted(there))}")
    typer.echo(there[name].read_text(encoding="utf-8") if name else "\n".join(sorted(there)), nl=not name)
