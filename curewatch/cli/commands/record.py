"""``curewatch record``: the cure record of a job, and whether one proves what it says."""

from pathlib import Path
from typing import Annotated

import typer

from curewatch.cli.options import ConfigOption, JsonOption, UnitsOption, reader, settings
from curewatch.cli.safe_text import safe_line
from curewatch.cli.terminal import print_json, say
from curewatch.errors import UsageError

app = typer.Typer(help="The cure record of a job: write it, verify one.")

FORMS = ("both", "pdf", "folder")


@app.command()
def write(
    job: Annotated[str | None, typer.Argument(help="The job; else the one that is open.")] = None,
    *,
    to: Annotated[Path, typer.Option("--output", metavar="FOLDER", help="Where to put it.")] = Path(),
    form: Annotated[str, typer.Option("--format", help="pdf, folder, or both.")] = "both",
    config: ConfigOption = None,
    units: UnitsOption = None,
    json: JsonOption = False,
) -> None:
    """Write the record of a job: one PDF with the proof inside, and the same as a folder with an HTML page.

    Its pages are in your units and say which; the files that prove are SI and UTC.
    A job that is still open gets its record so far. The chain is verified first; the seal code is shown.

    Example: curewatch record write rudder-cheek --output records
    """
    if form not in FORMS:
        raise UsageError(f"--format {form!r}; allowed: {', '.join(FORMS)}")
    from curewatch import worklog
    from curewatch.cli.screens.record import written_lines
    from curewatch.clock import SystemClock
    from curewatch.configuration import logbook_path
    from curewatch.logbook import open_logbook
    from curewatch.record import writing
    from curewatch.record.documents import record_write_document

    configuration, words = settings(config, units)
    path = logbook_path(configuration)
    if not path.exists():
        raise UsageError(f"there is no logbook at {path}; `curewatch ingest` or `watch` begins one")
    if to.exists() and not to.is_dir():
        raise UsageError(f"--output {to} is a file; give a folder, or a name that is free")
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
    document = record_write_document(name, written)
    print_json(document) if json else say(*written_lines(document))


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
    from curewatch.answers.logbook import broken_document
    from curewatch.cli.screens.record import whole_lines
    from curewatch.errors import RecordBroken
    from curewatch.record import examination
    from curewatch.record.documents import record_whole_document

    try:
        holds = examination.verify(record, code=code, key=key)
    except RecordBroken as trouble:
        broken = RecordBroken(*map(safe_line, (trouble.entry, trouble.expected, trouble.found)))
        if json:
            print_json(broken_document(broken))
            raise typer.Exit(int(broken.exit_status)) from trouble
        raise broken from trouble
    document = record_whole_document(holds, code_given=code is not None, key_given=key is not None)
    print_json(document) if json else say(*whole_lines(document, reader(units)))
