"""The documents of `job`: an entry as stored, the list of jobs, and everything that was told of one."""

from collections.abc import Iterable
from typing import TYPE_CHECKING, Annotated, Any

from curewatch.answers.document import Shape, Utc, says
from curewatch.clock import iso_utc

if TYPE_CHECKING:
    from curewatch.logbook import StoredEntry
    from curewatch.logbook.sealing import Seal
    from curewatch.worklog import CorrectedEntry, Job


class EntryDocument(Shape, frozen=True, kw_only=True):
    """An entry as stored."""

    number: Annotated[int, says("Running number in the logbook")]
    kind: Annotated[str, says("Kind of entry: see Entry kinds")]
    job: Annotated[str | None, says("Job")]
    at: Annotated[Utc, says("When it happened (ISO 8601, UTC)")]
    recorded: Annotated[Utc, says("When it was told (ISO 8601, UTC)")]
    payload: Annotated[dict[str, Any], says("By kind: see Entry kinds; SI with bare names")]


class JobCloseDocument(EntryDocument, frozen=True, kw_only=True):
    """The answer of `curewatch job close`: the entry, and the seal code."""

    seal_code: Annotated[str, says("28 characters in groups of four to write on the job card")]
    seal_digest: Annotated[str, says("All 256 bits that the code is the beginning of")]
    undated: Annotated[str | None, says("Why no authority dated it; null where one did")]


class JobEntryDocument(EntryDocument, frozen=True, kw_only=True):
    """An entry of a job, with what was corrected since."""

    happened: Annotated[Utc, says("When it happened, with all corrections applied (ISO 8601, UTC)")]
    holds_now: Annotated[dict[str, Any], says("The payload with all corrections applied")]
    corrected_by: Annotated[list[int], says("Entries that corrected it")]


class JobDocument(Shape, frozen=True, kw_only=True):
    """A job."""

    job: Annotated[str, says("Name")]
    title: Annotated[str, says("Title")]
    opened: Annotated[Utc, says("Opened (ISO 8601, UTC)")]
    closed: Annotated[Utc | None, says("Closed, or null (ISO 8601, UTC)")]
    running: Annotated[list[str], says("Layers that count down")]


class JobListDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch job list`."""

    jobs: Annotated[list[JobDocument], says("The open ones first")]


class JobShowDocument(JobDocument, frozen=True, kw_only=True):
    """The answer of `curewatch job show`."""

    entries: Annotated[list[JobEntryDocument], says("In order, corrections among them")]


def entry_document(stored: "StoredEntry") -> EntryDocument:
    return EntryDocument(**_entry(stored))


def job_close_document(stored: "StoredEntry", seal: "Seal", undated: str) -> JobCloseDocument:
    return JobCloseDocument(
        **_entry(stored), seal_code=seal.code, seal_digest=seal.digest, undated=undated or None
    )


def job_list_document(jobs: "Iterable[Job]") -> JobListDocument:
    """The jobs of a logbook, the open ones first."""
    ordered = sorted(jobs, key=lambda job: job.closed is not None)
    return JobListDocument(jobs=[JobDocument(**_job(job)) for job in ordered])


def job_show_document(job: "Job") -> JobShowDocument:
    """Everything that was told of a job, in order, with what holds now."""
    return JobShowDocument(**_job(job), entries=[_told(told) for told in job.told])


def _entry(stored: "StoredEntry") -> dict[str, Any]:
    return {
        "number": stored.number,
        "kind": str(stored.kind),
        "job": stored.job,
        "at": iso_utc(stored.at),
        "recorded": iso_utc(stored.recorded),
        "payload": dict(stored.payload),
    }


def _told(told: "CorrectedEntry") -> JobEntryDocument:
    return JobEntryDocument(
        **_entry(told.entry),
        happened=iso_utc(told.at),
        holds_now=dict(told.payload),
        corrected_by=[one.number for one in told.corrections],
    )


def _job(job: "Job") -> dict[str, Any]:
    return {
        "job": job.name,
        "title": job.title,
        "opened": iso_utc(job.opened.at),
        "closed": None if job.closed is None else iso_utc(job.closed.at),
        "running": list(job.running),
    }
