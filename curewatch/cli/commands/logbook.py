"""``curewatch logbook``: is it whole, put a copy aside, take readings out, let old ones go."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from curewatch.cli.options import ConfigOption, JsonOption, UnitsOption
from curewatch.cli.terminal import print_json, say

if TYPE_CHECKING:
    from curewatch.configuration import Configuration
    from curewatch.export import Selection
    from curewatch.logbook import LogbookStore

app = typer.Typer(
    add_completion=False, help="The logbook: status, verify, seal, back up, salvage, export, prune."
)

SinceOption = Annotated[
    str | None,
    typer.Option("--since", metavar="TIME", help="From this time on: 2026-11-25 or 2026-11-25T16:00."),
]
UntilOption = Annotated[str | None, typer.Option("--until", metavar="TIME", help="Before this time.")]


@contextmanager
def opened(config: Path | None, *, read_only: bool = True) -> Iterator["tuple[LogbookStore, Configuration]"]:
    """The logbook of the configuration, and the configuration."""
    from curewatch.cli.telling import open_to_tell
    from curewatch.cli.which_shed import configured
    from curewatch.configuration import logbook_path
    from curewatch.errors import StoreFailed

    configuration = configured(config)
    path = logbook_path(configuration)
    if not path.exists():
        raise StoreFailed(f"there is no logbook at {path}; `curewatch ingest` or `watch` begins one")
    with open_to_tell(configuration, path, read_only=read_only) as logbook:
        yield logbook, configuration


@app.command()
def status(config: ConfigOption = None, units: UnitsOption = None, json: JsonOption = False) -> None:
    """What the logbook holds: sensors, entries, where the chain stands, the last seal, what was rejected.

    Example: curewatch logbook status
    """
    from curewatch.answers.logbook import logbook_status_document
    from curewatch.cli.screens.logbook import status_lines
    from curewatch.clock import SystemClock
    from curewatch.wording import wording

    with opened(config) as (logbook, configuration):
        words = wording(configuration.zone, units, configured=configuration.shed.units)
        document = logbook_status_document(logbook)
    print_json(document) if json else say(*status_lines(document, words, SystemClock().now().utc))


@app.command()
def verify(
    code: Annotated[
        str | None,
        typer.Option("--code", help="A seal code that was written down: nothing before it was changed."),
    ] = None,
    config: ConfigOption = None,
    json: JsonOption = False,
) -> None:
    """Walk the whole chain and check every seal; exit status 5 names the first thing that is not as it was.

    Example: curewatch logbook verify
    """
    from curewatch.answers.logbook import broken_document, logbook_whole_document
    from curewatch.cli.screens.logbook import whole_lines
    from curewatch.clock import SystemClock
    from curewatch.errors import RecordBroken
    from curewatch.logbook import checked, sealing

    with opened(config) as (logbook, _):
        try:
            verified = logbook.verify()
            signed = sealing.check_seals(logbook)
            proved = None if code is None else sealing.found(signed.seals, code)
        except RecordBroken as broken:
            if json:
                print_json(broken_document(broken))
                raise typer.Exit(int(broken.exit_status)) from broken
            raise
        checked.note_walk(logbook.path, SystemClock().now().utc)
    document = logbook_whole_document(verified, signed, proved)
    print_json(document) if json else say(*whole_lines(document))


@app.command()
def seal(
    restored: Annotated[
        bool, typer.Option("--restored", help="Go on from an older copy; the logbook is told of it.")
    ] = False,
    config: ConfigOption = None,
    json: JsonOption = False,
) -> None:
    """Seal the logbook now and show the code to write down; later it proves that nothing before changed.

    Example: curewatch logbook seal
    """
    from curewatch.answers.logbook import logbook_seal_document
    from curewatch.cli.screens.logbook import seal_lines
    from curewatch.clock import SystemClock
    from curewatch.logbook import sealing, stamping

    with opened(config, read_only=False) as (logbook, configuration):
        now, kept = SystemClock().now().utc, configuration.logbook
        if restored:
            sealing.go_on(logbook, now)
        made = sealing.seal(logbook, reason="day", at=now)
        undated = stamping.date_newest(logbook, kept.stamp_authority, kept.stamp_roots_file, now)
        document = logbook_seal_document(made, undated)
    print_json(document) if json else say(*seal_lines(document))


@app.command()
def stamp(config: ConfigOption = None, json: JsonOption = False) -> None:
    """Have the newest seal dated by the authority that is configured; later it shows that nothing is newer.

    Each seal is dated when it is made, if the authority can be reached. Use this after days without a
    network, and before the authority's certificate ends: seal first, then stamp.

    Example: curewatch logbook stamp
    """
    from curewatch.answers.logbook import logbook_stamp_document
    from curewatch.cli.screens.logbook import stamp_lines
    from curewatch.clock import SystemClock
    from curewatch.logbook import stamping

    with opened(config, read_only=False) as (logbook, configuration):
        kept = configuration.logbook
        authority = stamping.read_authority(kept.stamp_authority, kept.stamp_roots_file)
        if authority is not None:
            stamping.stamp_last(logbook, authority, SystemClock().now().utc)
        document = logbook_stamp_document(logbook)
    print_json(document) if json else say(*stamp_lines(document))


@app.command()
def backup(
    target: Annotated[Path, typer.Argument(metavar="FILE", help="The copy: a new file.")],
    config: ConfigOption = None,
    json: JsonOption = False,
) -> None:
    """A whole and verified copy, also while the daemon is writing. The signing key is not in it.

    Example: curewatch logbook backup copy-of-november.sqlite
    """
    from curewatch.answers.logbook import logbook_backup_document
    from curewatch.cli.screens.logbook import backup_lines
    from curewatch.logbook import backup as copying
    from curewatch.logbook.keys import key_path

    with opened(config) as (logbook, _):
        made = copying.backup(logbook, target)
        document = logbook_backup_document(made, logbook.path, key_path(logbook.path))
    print_json(document) if json else say(*backup_lines(document))


@app.command()
def key(
    *,
    backup: Annotated[
        Path | None, typer.Option("--backup", metavar="FILE", help="Copy the private key to another disk.")
    ] = None,
    restore: Annotated[
        Path | None, typer.Option("--restore", metavar="FILE", help="Put a copy of it back.")
    ] = None,
    new: Annotated[bool, typer.Option("--new", help="Change it: the old key signs the new one.")] = False,
    lost: Annotated[
        bool, typer.Option("--lost", help="Begin a new one: no copy of the old is left.")
    ] = False,
    config: ConfigOption = None,
    json: JsonOption = False,
) -> None:
    """Show the key that signs, by its fingerprint; copy it, put it back, change it.

    Keep a copy of the key where only you can read it, and not with the copies of the logbook.
    A change is told in the logbook. What was sealed before stays valid.

    Example: curewatch logbook key
    """
    from curewatch.answers.logbook import logbook_key_document
    from curewatch.cli.screens.logbook import key_lines
    from curewatch.clock import SystemClock
    from curewatch.errors import UsageError
    from curewatch.logbook import keys

    if sum((backup is not None, restore is not None, new, lost)) > 1:
        raise UsageError("found several of --backup, --restore, --new and --lost. Use one of them")
    with opened(config, read_only=not (new or lost)) as (logbook, _):
        if backup is not None:
            keys.back_up_key(logbook, backup)
        if restore is not None:
            keys.restore_key(logbook, restore)
        if new or lost:
            keys.change_key(logbook, SystemClock().now().utc, lost=lost)
        document = logbook_key_document(logbook, backup)
    print_json(document) if json else say(*key_lines(document))


@app.command()
def salvage(
    target: Annotated[Path, typer.Argument(metavar="FILE", help="The new logbook: a new file.")],
    config: ConfigOption = None,
    json: JsonOption = False,
) -> None:
    """A new logbook of all that verifies in a damaged one; what is lost is named by hours and entries.

    The damaged file stays as it is. Stop the daemon first.

    Example: curewatch logbook salvage salvaged.sqlite
    """
    from curewatch.answers.logbook import logbook_salvage_document
    from curewatch.cli.screens.logbook import salvage_lines
    from curewatch.cli.which_shed import configured
    from curewatch.clock import SystemClock
    from curewatch.configuration import logbook_path
    from curewatch.errors import StoreFailed
    from curewatch.logbook import salvage as salvaging
    from curewatch.wording import wording

    configuration, now = configured(config), SystemClock().now().utc
    path = logbook_path(configuration)
    if not path.exists():
        raise StoreFailed(f"there is no logbook at {path}; `curewatch ingest` or `watch` begins one")
    document = logbook_salvage_document(path, salvaging.salvage(path, target, at=now))
    words = wording(configuration.zone, None, configured=configuration.shed.units)
    print_json(document) if json else say(*salvage_lines(document, words, now))


@app.command()
def prepare(
    address: Annotated[
        Path | None,
        typer.Argument(
            metavar="FILE",
            help="Names the database, as its owner: postgresql://OWNER@HOST/NAME?shed=none.",
            show_default=False,
        ),
    ] = None,
    show: Annotated[bool, typer.Option("--show", help="Print the SQL, and do nothing else.")] = False,
) -> None:
    """Lay out a PostgreSQL database for the logbooks of many sheds, or bring it up to this edition.

    A shed then uses it through a file of its own at logbook.path: postgresql://ROLE@HOST/NAME?shed=SHED.

    Example: curewatch logbook prepare --show
    """
    from curewatch.errors import UsageError
    from curewatch.logbook.postgres.layouts import layouts
    from curewatch.logbook.postgres.layouts import prepare as bring_up

    if show:
        for name, statements in layouts().values():
            say(f"-- layout {name}", statements)
        return
    if address is None:
        raise UsageError("FILE: found none. Name the file with the database's address")
    applied = bring_up(address)
    numbers = ", ".join(str(number) for number in applied)
    say(f"layout {numbers}: applied" if applied else "the layout is that of this edition; nothing was done")


@app.command()
def export(
    target: Annotated[
        Path, typer.Argument(metavar="FILE", help="A new file: .csv, .senml, .parquet or .jsonl.")
    ],
    *,
    form: Annotated[
        str | None, typer.Option("--format", help="csv, senml, parquet or entries; else by the file's name.")
    ] = None,
    sensor: Annotated[str | None, typer.Option("--sensor", help="Of this sensor only.")] = None,
    since: SinceOption = None,
    until: UntilOption = None,
    config: ConfigOption = None,
    json: JsonOption = False,
) -> None:
    """Readings as CSV, SenML or Parquet, or entries as JSON lines, for other programs. Times are UTC.

    Example: curewatch logbook export november.csv --since 2026-11-01 --until 2026-12-01
    """
    from curewatch.answers.logbook import logbook_export_document
    from curewatch.cli.screens.logbook import export_lines
    from curewatch.export import Selection
    from curewatch.export import export as write_out

    entries = form == "entries" or (form is None and target.suffix.lower() == ".jsonl")
    with opened(config) as (logbook, configuration):
        zone = configuration.zone
        chosen = Selection(_moment(since, zone, "--since"), _moment(until, zone, "--until"), sensor)
        _can_be_met(chosen, until, (*configuration.sensors, *logbook.sensors()), entries=entries)
        count = write_out(logbook, target, form, chosen)
    document = logbook_export_document(target, count, entries=entries)
    print_json(document) if json else say(*export_lines(document))


def _can_be_met(chosen: "Selection", until: str | None, sensors: Sequence[str], *, entries: bool) -> None:
    """A slip in a name or a date would give a file with nothing in it.

    Raises
    ------
    UsageError
        Nothing can be of this sensor, or of these times.
    """
    from curewatch.errors import UsageError

    if chosen.sensor is not None and entries:
        raise UsageError(f"--sensor: found {chosen.sensor!r}, but entries are of no sensor. Leave it out")
    if chosen.sensor is not None and chosen.sensor not in sensors:
        known = ", ".join(dict.fromkeys(sensors)) or "one that has spoken: none has"
        raise UsageError(f"--sensor: found {chosen.sensor!r}. Use {known}")
    if chosen.start is not None and chosen.end is not None and chosen.end <= chosen.start:
        raise UsageError(f"--until: found {until!r}, not after --since. Use a later time")


@app.command()
def prune(
    older_than: Annotated[
        int | None,
        typer.Option("--older-than", metavar="DAYS", min=30, help="Days to keep; else [logbook] keep_days."),
    ] = None,
    rehearse: Annotated[bool, typer.Option("--dry-run", help="Say what would go; change nothing.")] = False,
    config: ConfigOption = None,
    json: JsonOption = False,
) -> None:
    """Let old readings go that no job needs. Readings of a job stay; the chain can still be verified.

    Example: curewatch logbook prune --older-than 400 --dry-run
    """
    from curewatch.answers.logbook import logbook_prune_document
    from curewatch.cli.screens.logbook import prune_lines
    from curewatch.clock import SystemClock
    from curewatch.errors import UsageError
    from curewatch.logbook import retention
    from curewatch.units import DAY

    with opened(config, read_only=rehearse) as (logbook, configuration):
        days = older_than if older_than is not None else configuration.logbook.keep_days
        if days is None:
            raise UsageError("for how long? say --older-than DAYS, or set keep_days in [logbook]")
        now = SystemClock().now().utc
        done = retention.prune(logbook, now - days * DAY, at=now, rehearse=rehearse)
    document = logbook_prune_document(done, rehearsed=rehearse)
    print_json(document) if json else say(*prune_lines(document))


def _moment(text: str | None, zone: Any, option: str) -> float | None:
    from datetime import datetime

    from curewatch.errors import UsageError

    if text is None:
        return None
    try:
        stamp = datetime.fromisoformat(text)
    except ValueError as trouble:
        raise UsageError(
            f"{option}: found {text!r}. Use 2026-11-25 or 2026-11-25T16:00, the shed's time"
        ) from trouble
    return (stamp if stamp.tzinfo else stamp.replace(tzinfo=zone)).timestamp()
