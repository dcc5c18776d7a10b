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
from curewatch.logbook.keys import signing_key
from curewatch.logbook.sealing import Seal, check_seals, seal, seal_of
from curewatch.logbook.stamping import Authority, Stamp, stamp_last, stamp_of
from curewatch.record import paper, screen
from curewatch.record.account import BEFORE, Account, Until, gather, own_resins
from curewatch.record.dating import dated_line, dated_of
from curewatch.record.pages import OutsideSeal, sealed
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
    undated: str = ""  # why nobody dated the seal; "": somebody did


NO_FOLDERS = {".html", ".htm", ".txt", ".zip", ".json", ".doc", ".docx"}  # ends of names that mean a file


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
    authority: Authority | None = None,
) -> Written:
    """Write the record of a job as ``record-JOB.pdf`` and as the folder ``record-JOB`` under ``target``.

    A ``target`` that ends in ``.pdf`` is the PDF, and all there is. ``at`` is the present, UTC [s];
    ``resins`` the folder of own resin systems; the pages are in the units of ``reader``, the files that
    prove in SI. The chain is walked first: no record is made of a broken logbook.

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
    whole_folder = target / name if folder else None
    one_file = target / f"{name}.pdf" if pdf else None
    if target.suffix.lower() in NO_FOLDERS:
        raise UsageError(f"--output: found {target.name!r}. Use a folder, or a name that ends in .pdf")
    if target.suffix.lower() == ".pdf":
        if not pdf:
            raise UsageError(f"--output {target.name!r} is the PDF alone: found --format folder. Use pdf")
        target, one_file, whole_folder = target.parent, target, None
    elif _is_a_file(target):
        raise UsageError(f"--output: found the file {target}. Use a folder, or a name that is free")
    for place in (one_file, whole_folder):
        if place is not None:
            _must_be_free(place)
    logbook.verify()
    check_seals(logbook)
    signing_key(logbook)  # whoever cannot seal is told before anything is written
    for place in filter(None, (one_file, whole_folder)):
        _must_take(place)
    made = make(logbook, job, at, resins, reader or Wording(), authority=authority)
    files, whole = made.files, made.pages
    try:
        target.mkdir(parents=True, exist_ok=True)
        if one_file is not None:
            _put_file(one_file, whole["record.pdf"])
        if whole_folder is not None:
            _put_folder(whole_folder, {**files, **whole})
    except OSError as trouble:
        raise StoreFailed(f"record {target}: {reason(trouble)}; nothing was left there") from trouble
    return Written(
        made.seal,
        one_file,
        whole_folder,
        made.beside.readings,
        made.beside.entries,
        made.undated,
    )


class Made(NamedTuple):
    """A record before it is put anywhere."""

    account: Account
    seal: Seal
    files: dict[str, bytes]
    pages: dict[str, bytes]
    undated: str  # why nobody dated the seal; "": somebody did
    beside: OutsideSeal


def make(
    logbook: LogbookStore,
    job: str,
    at: float,
    resins: Path | None,
    reader: Wording,
    *,
    authority: Authority | None = None,
) -> Made:
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
    made = seal(logbook, reason="record", at=at)
    late = [one for one in logbook.entries(job=job) if until.block < one.block <= made.block]
    if late != [entry]:
        raise StoreFailed("something was told of the job while its record was made; write the record again")
    part = window(logbook, job, made.block, account.start - BEFORE, account.end + MINUTE)
    stamp, undated = _dated(logbook, authority, at)
    files = proof_files(logbook, part, made, data, stamp)
    key = signing_key(logbook)
    inner = [seal_of(one) for one in part.entries if one.kind == EntryKind.SEAL]
    dated = dated_line(dated_of(files, part.entries, inner, made))
    beside = OutsideSeal(dated, files["readings.csv"].count(b"\n") - 1, len(part.entries))
    shown = sealed(said, made, beside, account, reader)
    whole = {"record.pdf": paper.pdf(shown, files, key), "record.html": screen.html(shown).encode()}
    listed = checksums({"files.sha256": files["files.sha256"], **whole})
    every = {**whole, "pages.sha256": listed, "pages.sig": key.sign(listed)}
    return Made(account, made, files, every, undated, beside)


def _dated(logbook: LogbookStore, authority: Authority | None, at: float) -> tuple[Stamp | None, str]:
    """The authority's word for the seal that was just made; or why there is none."""
    if authority is None:
        return None, "no authority is configured"
    try:
        told = stamp_last(logbook, authority, at)
    except StoreFailed as trouble:
        return None, str(trouble)
    return (None if told is None else stamp_of(told)), ""


def _file_name(job: str) -> str:
    """A job's name as part of a file's name: letters, digits and hyphens, never a path."""
    return re.sub(r"[^A-Za-z0-9]+", "-", job).strip("-")[:60] or "job"


def _is_a_file(place: Path) -> bool:
    try:
        return place.exists() and not place.is_dir()
    except OSError:  # a name that no disk has
        return False


def _must_be_free(place: Path) -> None:
    try:
        found = place.exists() or place.is_symlink()
    except OSError as trouble:  # a name that no disk has
        raise UsageError(f"{str(place)[:200]}: {reason(trouble)}. Use another name by --output") from trouble
    if found:
        raise UsageError(
            f"{place}: found something of that name. Use another folder by --output, or move it away"
        )


def _must_take(place: Path) -> None:
    """Raise before the chain is told anything, if nothing can be put there."""
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        with _draft(place).open("xb"):
            pass
        _draft(place).unlink()
    except OSError as trouble:
        raise StoreFailed(f"record {str(place)[:200]}: {reason(trouble)}; nothing was sealed") from trouble


def _draft(place: Path) -> Path:
    return place.with_name(f"{place.name}.part-{os.getpid()}")


def _put_file(path: Path, content: bytes) -> None:
    draft = _draft(path)
    try:
        with draft.open("xb") as file:  # a new file: a link that waits under this name is not followed
            file.write(content)
        try:
            os.link(draft, path)
        except FileExistsError:
            raise
        except OSError:  # a disk that has no links, as most sticks
            with path.open("xb") as file:
                file.write(content)
    finally:
        draft.unlink(missing_ok=True)


def _put_folder(path: Path, files: Mapping[str, bytes]) -> None:
    draft = _draft(path)
    draft.mkdir()
    try:
        for name, content in files.items():
            (draft / name).write_bytes(content)
        draft.rename(path)
    finally:
        shutil.rmtree(draft, ignore_errors=True)
