"""``curewatch record``: the warranty record of a job, and whether one proves what it says."""

from pathlib import Path
from typing import Annotated, Any

import typer

from curewatch.cli.options import ConfigOption, JsonOption, UnitsOption, reader, settings
from curewatch.cli.safe_text import safe_line
from curewatch.cli.terminal import print_json, say
from curewatch.errors import UsageError

app = typer.Typer(help="The warranty record of a job: write it, verify one.")

FORMS = ("both", "pdf", "folder")


@app.command()
def write(
    job: Annotated[str | None, typer.Argument(help="The job; else the one that is open.")] = None,
    *,
    to: Annotated[Path, typer.Option("--to", metavar="FOLDER", help="Where to put it.")] = Path(),
    form: Annotated[str, typer.Option("--form", help="pdf, folder, or both.")] = "both",
    config: ConfigOption = None,
    units: UnitsOption = None,
    json: JsonOption = False,
) -> None:
    """Write the record of a job: one PDF with the proof inside, and the same as a folder with an HTML page.

    Its pages are in your units and say which; the files that prove are SI and UTC.
    A job that is still open gets its record so far. The chain is verified first; the seal code is shown.

    Example: curewatch record write rudder-cheek --to records
    """
    if form not in FORMS:
        raise UsageError(f"--form {form!r}; allowed: {', '.join(FORMS)}")
    from curewatch import worklog
    from curewatch.clock import SystemClock
    from curewatch.configuration import logbook_path
    from curewatch.logbook import open_logbook
    from curewatch.record import writing

    configuration, words = settings(config, units)
    path = logbook_path(configuration)
    if not path.exists():
        raise UsageError(f"there is no logbook at {path}; `curewatch ingest` or `watch` begins one")
    if to.exists() and not to.is_dir():
        raise UsageError(f"--to {to} is a file; give a folder, or a name that is free")
    with open_logbook(path) as logbook:
        name = job or _only_job(worklog.names(logbook), worklog.names(logbook, open_only=True))
        now = SystemClock().now().utc
        written = writing.write(
            logbook,
            name,
            to,
            at=now,
            pdf=form != "folder",
            folder=form != "pdf",
            resins=configuration.resin.folder,
            reader=words,
        )
    said: dict[str, Any] = {
        "job": name,
        "pdf": None if written.pdf is None else str(written.pdf),
        "folder": None if written.folder is None else str(written.folder),
        "seal_code": written.seal.code,
        "public_key": written.seal.public_key,
        "readings": written.readings,
        "entries": written.entries,
    }
    if json:
        print_json(said)
        return
    for place in (written.pdf, written.folder):
        if place is not None:
            say(safe_line(str(place)))
    say(f"seal code  {written.seal.code}  (write it on the job card)")
    say(f"{written.readings:,} readings, {written.entries:,} entries")


def _only_job(known: tuple[str, ...], still_open: tuple[str, ...]) -> str:
    for candidates in (still_open, known):
        if len(candidates) == 1:
            return candidates[0]
    raise UsageError(f"which job? jobs in this logbook: {', '.join(known) or 'none yet'}")


@app.command()
def verify(
    record: Annotated[Path, typer.Argument(metavar="FILE", help="A record's PDF, folder or HTML page.")],
    code: Annotated[
        str | None,
        typer.Option("--code", help="The seal code from the job card: it must be one of this record."),
    ] = None,
    key: Annotated[
        str | None,
        typer.Option("--key", help="The public key (64 hexadecimal digits) it must be signed with."),
    ] = None,
    units: UnitsOption = None,
    json: JsonOption = False,
) -> None:
    """Check a record: is everything as it was when it was sealed? Exit status 5 if not.

    Example: curewatch record verify records/record-rudder-cheek.pdf
    """
    from curewatch.clock import utc_from_iso
    from curewatch.errors import RecordBroken
    from curewatch.record import writing

    try:
        holds = writing.verify(record, code=code, key=key)
    except RecordBroken as broken:
        if json:
            print_json(
                {
                    "holds": False,
                    "entry": safe_line(broken.entry),
                    "expected": safe_line(broken.expected),
                    "found": safe_line(broken.found),
                }
            )
            raise typer.Exit(int(broken.exit_status)) from broken
        raise RecordBroken(*map(safe_line, (broken.entry, broken.expected, broken.found))) from broken
    if json:
        print_json(
            {
                "holds": True,
                "seal_codes": list(holds.codes),
                "code_given": code is not None,
                "public_key": holds.seal.public_key,
                "sealed_at": holds.seal.at,
                "blocks": [holds.first_block, holds.seal.block],
                "readings": holds.readings,
                "entries": holds.entries,
                "entries_of_other_jobs": holds.left_out,
            }
        )
        return
    words = reader(units)
    sealed = f"{words.stamp(utc_from_iso(holds.seal.at))} {words.zone}"
    say("holds: nothing was changed since it was sealed")
    counts = f"{holds.readings:,} readings, {holds.entries:,} entries"
    say(f"  blocks {holds.first_block} to {holds.seal.block}, {counts}")
    say(f"  seal code  {holds.seal.code}, sealed {sealed}")
    say(f"  key        {holds.seal.public_key}")
    if code is None and key is None:
        say("  compare the seal code with the one on the job card: a record made up as a whole holds too")
