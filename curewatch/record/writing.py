"""Writing a record: seal, gather, lay out, and put whole files in place or none."""

import json
import os
import re
import shutil
from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

from curewatch import worklog
from curewatch.errors import StoreFailed, UsageError, reason
from curewatch.logbook import EntryKind, LogbookStore
from curewatch.logbook.sealing import Seal, check_seals, key_path, seal, seal_of, signing_key
from curewatch.record import paper, screen
from curewatch.record.account import Account, gather
from curewatch.record.pages import pages
from curewatch.record.plain import as_plain
from curewatch.record.proof import checksums, proof_files
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
    account = gather(logbook, job, seal_for(logbook, job, at), resins)
    files, whole = make(logbook, account, reader)
    try:
        target.mkdir(parents=True, exist_ok=True)
        if pdf:
            _put_file(target / f"{name}.pdf", whole["record.pdf"])
        if folder:
            _put_folder(target / name, {**files, **whole})
    except OSError as trouble:
        raise StoreFailed(f"record {target}: {reason(trouble)}; nothing was left there") from trouble
    return Written(
        account.seal,
        target / f"{name}.pdf" if pdf else None,
        target / name if folder else None,
        sum(one.readings for one in account.heard),
        len(account.part.entries),
    )


def make(
    logbook: LogbookStore, account: Account, reader: Wording | None = None
) -> tuple[dict[str, bytes], dict[str, bytes]]:
    """The files of the proof, and the pages with their signed digests."""
    key = signing_key(key_path(logbook.path))
    plain = json.dumps(as_plain(account), indent=1, sort_keys=True) + "\n"
    files = proof_files(logbook, account.part, account.seal, plain.encode())
    said = pages(account, reader)
    whole = {"record.pdf": paper.pdf(said, files, key), "record.html": screen.html(said).encode()}
    listed = checksums({"files.sha256": files["files.sha256"], **whole})
    return files, {**whole, "pages.sha256": listed, "pages.sig": key.sign(listed)}


def seal_for(logbook: LogbookStore, job: str, at: float) -> Seal:
    """The seal of the job's close if nothing was added to the job since; else a new one."""
    own = [one for one in logbook.entries(job=job) if one.kind != EntryKind.SEAL]
    closings = [
        seal_of(one)
        for one in logbook.entries(EntryKind.SEAL, job=job)
        if one.payload.get("reason") == "job-close"
    ]
    if closings and own[-1].kind == EntryKind.JOB_CLOSE and own[-1].block <= closings[-1].block:
        return closings[-1]
    return seal(logbook, reason="record", at=at, job=job)


def _file_name(job: str) -> str:
    """A job's name as part of a file's name: letters, digits and hyphens, never a path."""
    return re.sub(r"[^A-Za-z0-9]+", "-", job).strip("-")[:60] or "job"


def _put_file(path: Path, content: bytes) -> None:
    draft = path.with_name(f"{path.name}.part-{os.getpid()}")
    try:
        draft.write_bytes(content)
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
