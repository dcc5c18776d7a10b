"""``curewatch logbook``: is it whole, put a copy aside, take readings out, let old ones go."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from curewatch.cli.options import ConfigOption, JsonOption, UnitsOption
from curewatch.cli.safe_text import safe_line
from curewatch.cli.terminal import print_json, say
from curewatch.clock import iso_utc

if TYPE_CHECKING:
    from curewatch.configuration import Configuration
    from curewatch.logbook import LogbookStore

app = typer.Typer(help="The logbook: status, verify, seal, back up, export, prune.")

SinceOption = Annotated[
    str | None,
    typer.Option("--since", metavar="TIME", help="From this time on: 2026-11-25 or 2026-11-25T16:00."),
]
UntilOption = Annotated[str | None, typer.Option("--until", metavar="TIME", help="Before this time.")]


@contextmanager
def opened(config: Path | None, *, read_only: bool = True) -> Iterator["tuple[LogbookStore, Configuration]"]:
    """The logbook of the configuration, and the configuration."""
    from curewatch.configuration import load, logbook_path
    from curewatch.errors import StoreFailed
    from curewatch.logbook import open_logbook

    configuration = load(config)
    path = logbook_path(configuration)
    if not path.exists():
        raise StoreFailed(f"there is no logbook at {path}; `curewatch ingest` or `watch` begins one")
    with open_logbook(path, read_only=read_only) as logbook:
        yield logbook, configuration


@app.command()
def status(config: ConfigOption = None, units: UnitsOption = None, json: JsonOption = False) -> None:
    """What the logbook holds: sensors, entries, where the chain stands, the last seal, what was refused.

    Example: curewatch logbook status
    """
    from curewatch.clock import SystemClock, utc_from_iso
    from curewatch.logbook import sealing
    from curewatch.wording import wording

    now = SystemClock().now().utc
    with opened(config) as (logbook, configuration):
        words = wording(configuration.zone, units, configured=configuration.shed.units)
        head, sensors = logbook.head(), logbook.sensors()
        seals = sealing.seals(logbook)
        rejected: dict[str, int] = {}
        for refusal in logbook.rejected():
            rejected[refusal.reason] = rejected.get(refusal.reason, 0) + refusal.times
        said: dict[str, Any] = {
            "path": str(logbook.path),
            "bytes": logbook.size(),
            "readings": head.readings,
            "entries": head.entries,
            "block": head.block,
            "head": head.head,
            "sensors": {
                name: {
                    "readings": one.readings,
                    "earliest": iso_utc(one.earliest),
                    "latest": iso_utc(one.latest),
                }
                for name, one in sensors.items()
            },
            "last_seal": None if not seals else {"code": seals[-1].code, "at": seals[-1].at},
            "rejected": rejected,
        }
    if json:
        print_json(said)
        return
    say(f"{safe_line(said['path'])}  ({_size(said['bytes'])})")
    say(f"{head.readings:,} readings, {head.entries:,} entries, {head.block:,} blocks")
    for name, one in sensors.items():
        span = f"{words.moment(one.earliest, now)} to {words.moment(one.latest, now)}"
        say(f"  {safe_line(name, 24):24s} {one.readings:>12,}  {span}")
    for reason, times in rejected.items():
        say(f"  refused: {safe_line(reason, 40)} {times:,}")
    if seals:
        say(f"last seal  {seals[-1].code}, {words.moment(utc_from_iso(seals[-1].at), now)}")
    say(f"head       {head.head}")


def _size(count: int) -> str:
    """Bytes in words: thousands, or millions with a decimal."""
    return f"{count / 1000:.0f} kB" if count < 1_000_000 else f"{count / 1e6:,.1f} MB"


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
    from curewatch.errors import RecordBroken
    from curewatch.logbook import sealing

    with opened(config) as (logbook, _):
        try:
            verified = logbook.verify()
            seals = sealing.check_seals(logbook)
            proved = None if code is None else sealing.found(seals, code)
        except RecordBroken as broken:
            if json:
                print_json(
                    {
                        "holds": False,
                        "entry": broken.entry,
                        "expected": broken.expected,
                        "found": broken.found,
                    }
                )
                raise typer.Exit(int(broken.exit_status)) from broken
            raise
    head = verified.head
    if json:
        print_json(
            {
                "holds": True,
                "readings": head.readings,
                "entries": head.entries,
                "blocks": verified.blocks,
                "pruned_blocks": verified.pruned,
                "seals": len(seals),
                "head": head.head,
                "proved": None
                if proved is None
                else {"code": proved.code, "at": proved.at, "block": proved.block},
            }
        )
        return
    say("holds: every reading and entry is as it was written")
    pruned = f", {verified.pruned:,} of them pruned" if verified.pruned else ""
    blocks = f"{verified.blocks:,} blocks{pruned}"
    say(f"  {head.readings:,} readings, {head.entries:,} entries, {blocks}, {len(seals)} seals")
    if proved is not None:
        say(f"  seal code {proved.code}: nothing before {proved.at} was changed since")


@app.command()
def seal(config: ConfigOption = None, json: JsonOption = False) -> None:
    """Seal the logbook now and show the code to write down; later it proves that nothing before changed.

    Example: curewatch logbook seal
    """
    from curewatch.clock import SystemClock
    from curewatch.logbook import sealing

    with opened(config, read_only=False) as (logbook, _):
        made = sealing.seal(logbook, why="day", at=SystemClock().now().utc)
    if json:
        print_json(
            {"code": made.code, "at": made.at, "block": made.block, "head": made.head, "key": made.public_key}
        )
        return
    say(f"seal code  {made.code}")
    say("Write it on the job card, or send it to somebody: it fixes everything before it.")


@app.command()
def backup(
    target: Annotated[Path, typer.Argument(metavar="FILE", help="The copy: a new file.")],
    config: ConfigOption = None,
    json: JsonOption = False,
) -> None:
    """A whole and verified copy, also while the daemon is writing. The signing key is not in it.

    Example: curewatch logbook backup copy-of-november.sqlite
    """
    from curewatch.logbook import backup as copying
    from curewatch.logbook.sealing import key_path

    with opened(config) as (logbook, _):
        made = copying.backup(logbook, target)
        key = key_path(logbook.path)
    if json:
        print_json({"backup": str(made), "bytes": made.stat().st_size, "key": str(key)})
        return
    say(f"{safe_line(str(made))}  ({_size(made.stat().st_size)}), verified")
    say(f"The signing key is not in it: keep a copy of {safe_line(str(key))} where only you can read it.")


@app.command()
def export(
    target: Annotated[
        Path, typer.Argument(metavar="FILE", help="A new file: .csv, .senml, .parquet or .jsonl.")
    ],
    *,
    form: Annotated[
        str | None, typer.Option("--form", help="csv, senml, parquet or entries; else by the file's name.")
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
    from curewatch.logbook.export import Selection
    from curewatch.logbook.export import export as write_out

    with opened(config) as (logbook, configuration):
        zone = configuration.zone
        chosen = Selection(_moment(since, zone, "--since"), _moment(until, zone, "--until"), sensor)
        count = write_out(logbook, target, form, chosen)
    if json:
        print_json({"file": str(target), "count": count, "bytes": target.stat().st_size})
        return
    what = "entries" if form == "entries" or target.suffix.lower() == ".jsonl" else "readings"
    say(f"{safe_line(str(target))}: {count:,} {what}")


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
    if json:
        print_json(
            {
                "rehearsed": rehearse,
                "readings": done.readings,
                "blocks": len(done.blocks),
                "kept_for": list(done.kept_for),
            }
        )
        return
    word = "would go" if rehearse else "gone"
    say(f"{done.readings:,} readings in {len(done.blocks):,} blocks {word}")
    if done.kept_for:
        say(f"kept for: {safe_line(', '.join(done.kept_for))}")


def _moment(text: str | None, zone: Any, option: str) -> float | None:
    from datetime import datetime

    from curewatch.errors import UsageError

    if text is None:
        return None
    try:
        stamp = datetime.fromisoformat(text)
    except ValueError as trouble:
        raise UsageError(
            f"{option} {text!r}; allowed: 2026-11-25 or 2026-11-25T16:00, the shed's time"
        ) from trouble
    return (stamp if stamp.tzinfo else stamp.replace(tzinfo=zone)).timestamp()
