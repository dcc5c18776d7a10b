"""Writing a record: seal, gather, lay out, and put whole files in place or none."""

import os
import re
import shutil
from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

from curewatch import worklog
from curewatch.clock import iso_utc
from curewatch.errors import StoreFailed, UsageError, reason
from curewatch.logbook import Entry, EntryKind, LogbookStore
from curewatch.logbook.sealing import Seal, check_seals, key_path, seal, signing_key
from curewatch.record import paper, screen
from curewatch.record.account import BEFORE, Account, Until, gather, own_resins
from curewatch.record.pages import sealed
from curewatch.record.proof import checksums, proof_files, window
from curewatch.record.telling import payload, told
from curewatch.units import MINUTE
from curewatch.wording import Wording


class Written(NamedTuple):
    """Where a record was put."""

    seal: Seal
    pdf: Path | None
    folder: Path | None
    readings: int
    entries: int


def write(
    logbook: LogbookStore,
    job: str,
    target: Path,
    *,
    at: float,
    pdf: bool = True,
    folder: bool = True,
    resins: Path | None = None,
    reader: Wording | None = None,
) -> Written:
    """Write the record of a job as ``record-JOB.pdf`` and as the folder ``record-JOB`` under ``target``.

    ``at`` is the present, UTC [s]; ``systems`` the folder of own resin systems; the pages are in the units
    of ``reader``, the files that prove in SI. The chain is walked
    first: no record is made of a broken logbook.

    Raises
    ------
    UsageError
        There is no such job, or a file of that name is there.
    RecordBroken
        The logbook does not hold.
    StoreFailed
        The disk refuses.
    """
    worklog.read(logbook, job)
    name = f"record-{_file_name(job)}"
    places = [target / f"{name}.pdf"] * pdf + [target / name] * folder
    for place in places:
        if place.exists():
            raise UsageError(f"{place} is there already; move it away or name another folder with --output")
    logbook.verify()
    check_seals(logbook)
    made = make(logbook, job, at, resins, reader or Wording())
    files, whole = made.files, made.pages
    try:
        target.mkdir(parents=True, exist_ok=True)
        if pdf:
            _put_file(target / f"{name}.pdf", whole["record.pdf"])
        if folder:
            _put_folder(target / name, {**files, **whole})
    except OSError as trouble:
        raise StoreFailed(f"record {target}: {reason(trouble)}; nothing was left there") from trouble
    return Written(
        made.seal,
        target / f"{name}.pdf" if pdf else None,
        target / name if folder else None,
        sum(one.readings for one in made.account.heard),
        len(made.account.part.entries),
    )


class Made(NamedTuple):
    """A record before it is put anywhere."""

    account: Account
    seal: Seal
    files: dict[str, bytes]
    pages: dict[str, bytes]


def make(logbook: LogbookStore, job: str, at: float, resins: Path | None, reader: Wording) -> Made:
    """Gather, tell the chain what the pages say, seal, and lay them out with the seal's code.

    Raises
    ------
    StoreFailed
        Something was told of the job meanwhile.
    """
    until = Until(logbook.close_block().block, iso_utc(at))
    own = own_resins(worklog.read(logbook, job), resins)
    account = gather(logbook, job, until, own)
    said, data = told(account, reader)
    entry = logbook.write(Entry(EntryKind.ACCOUNT, payload(account, data, reader, own), at, job=job))
    made = seal(logbook, reason="record", at=at, job=job)
    late = [one for one in logbook.entries(job=job) if until.block < one.block <= made.block]
    if late != [entry]:
        raise StoreFailed("something was told of the job while its record was made; write the record again")
    part = window(logbook, job, made.block, account.start - BEFORE, account.end + MINUTE)
    files = proof_files(logbook, part, made, data)
    key = signing_key(key_path(logbook.path))
    shown = sealed(said, made, account, reader)
    whole = {"record.pdf": paper.pdf(shown, files, key), "record.html": screen.html(shown).encode()}
    listed = checksums({"files.sha256": files["files.sha256"], **whole})
    return Made(account, made, files, {**whole, "pages.sha256": listed, "pages.sig": key.sign(listed)})


def _file_name(job: str) -> str:
    """A job's name as part of a file's name: letters, digits and hyphens, never a path."""
    return re.sub(r"[^A-Za-z0-9]+", "-", job).strip("-")[:60] or "job"


def _put_file(path: Path, content: bytes) -> None:
    draft = path.with_name(f"{path.name}.part-{os.getpid()}")
    try:
        with draft.open("xb") as file:  # a new file: a link that waits under this name is not followed
            file.write(content)
        os.link(draft, path)
    finally:
        draft.unlink(missing_ok=True)


def _put_folder(path: Path, files: Mapping[str, bytes]) -> None:
    draft = path.with_name(f"{path.name}.part-{os.getpid()}")
    draft.mkdir()
    try:
        for name, content in files.items():
            (draft / name).write_bytes(content)
        draft.rename(path)
    finally:
        shutil.rmtree(draft, ignore_errors=True)
