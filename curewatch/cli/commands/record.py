"""``curewatch record``: the cure record of a job, and whether one proves what it says."""

from pathlib import Path
from typing import Annotated

import typer

from curewatch.cli.options import ConfigOption, JsonOption, UnitsOption, reader, settings
from curewatch.cli.terminal import print_json, say
from curewatch.errors import UsageError
from curewatch.safe_text import safe_line

app = typer.Typer(add_completion=False, help="The cure record of a job: write it, read or verify one.")

FORMS = ("both", "pdf", "folder")


@app.command()
def write(
    job: Annotated[str | None, typer.Argument(help="The job; else the one that is open.")] = None,
    *,
    to: Annotated[
        Path,
        typer.Option("--output", metavar="FOLDER", help="Where to put it; FILE.pdf: the PDF alone, as this."),
    ] = Path(),
    form: Annotated[str, typer.Option("--format", help="pdf, folder, or both.")] = "both",
    config: ConfigOption = None,
    units: UnitsOption = None,
    json: JsonOption = False,
) -> None:
    """Write the record of a job: one PDF with the proof inside, and the same as a folder with an HTML page.

    Its pages are in your units and say which; the files that prove are SI and UTC.
    A job that is still open gets its record so far. The chain is verified first; the seal code is shown.

    The PDF alone carries all of it: --output FILE.pdf.

    Example: curewatch record write rudder-cheek --output records
    """
    if form not in FORMS:
        raise UsageError(f"--format: found {form!r}. Use {', '.join(FORMS)}")
    from curewatch import worklog
    from curewatch.cli.screens.record import written_lines
    from curewatch.clock import SystemClock
    from curewatch.configuration import logbook_path
    from curewatch.logbook import open_logbook
    from curewatch.logbook.stamping import read_authority
    from curewatch.record import writing
    from curewatch.record.documents import record_write_document

    configuration, words = settings(config, units)
    kept = configuration.logbook
    path = logbook_path(configuration)
    if not path.exists():
        raise UsageError(f"there is no logbook at {path}; `curewatch ingest` or `watch` begins one")
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
            authority=read_authority(kept.stamp_authority, kept.stamp_roots_file),
        )
    document = record_write_document(name, written)
    print_json(document) if json else say(*written_lines(document))


def _only_job(known: tuple[str, ...], still_open: tuple[str, ...]) -> str:
    for candidates in (still_open, known):
        if len(candidates) == 1:
            return candidates[0]
    raise UsageError(f"which job? jobs in this logbook: {', '.join(known) or 'none yet'}")


@app.command()
def show(
    record: Annotated[Path, typer.Argument(metavar="FILE", help="A record's PDF, folder or HTML page.")],
    code: Annotated[str | None, typer.Option("--code", help="The seal code from the job card.")] = None,
    key: Annotated[str | None, typer.Option("--key", help="The key it must be signed with.")] = None,
    json: JsonOption = False,
) -> None:
    """Read a record on the terminal, somebody else's too: first whether it holds, then what it shows.

    A record that does not hold is shown under what is wrong; the exit status is 5.

    Example: curewatch record show records/record-rudder-cheek.pdf
    """
    from curewatch.cli.screens.record import show_lines
    from curewatch.errors import ExitStatus, RecordBroken
    from curewatch.record import showing

    try:
        document = showing.show(record, code=code, key=key)
    except RecordBroken as trouble:
        raise RecordBroken(*map(safe_line, (trouble.entry, trouble.expected, trouble.found))) from trouble
    print_json(document) if json else say(*show_lines(document))
    if not document.holds:
        raise typer.Exit(int(ExitStatus.RECORD_BROKEN))


@app.command()
def verify(
    record: Annotated[Path, typer.Argument(metavar="FILE", help="A record's PDF, folder or HTML page.")],
    *,
    code: Annotated[
        str | None,
        typer.Option("--code", help="The seal code from the job card: it must be one of this record."),
    ] = None,
    key: Annotated[
        str | None,
        typer.Option("--key", help="The key it must be signed with: its fingerprint, or its 64 digits."),
    ] = None,
    authority: Annotated[
        Path | None,
        typer.Option("--authority", metavar="FILE", help="Certificates (PEM) its time stamps must lead to."),
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
    from curewatch.logbook.stamping import read_roots
    from curewatch.record import examination
    from curewatch.record.documents import record_whole_document

    trusted = read_roots(authority) if authority is not None else None
    try:
        holds = examination.verify(record, code=code, key=key, roots=trusted)
    except RecordBroken as trouble:
        broken = RecordBroken(*map(safe_line, (trouble.entry, trouble.expected, trouble.found)))
        if json:
            print_json(broken_document(broken))
            raise typer.Exit(int(broken.exit_status)) from trouble
        raise broken from trouble
    document = record_whole_document(
        holds, code_given=code is not None, key_given=key is not None, authority_given=trusted is not None
    )
    print_json(document) if json else say(*whole_lines(document, reader(units)))
