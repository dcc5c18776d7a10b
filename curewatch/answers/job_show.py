"""The document of `job-show`."""

from typing import Annotated, Any

from curewatch.answers.document import Shape, Utc, says


class JobShowEntryDocument(Shape, frozen=True, kw_only=True):
    """One of the ``entry`` of job show."""

    number: Annotated[int, says("Running number in the logbook")]
    kind: Annotated[str, says("Kind of entry: see Entry kinds")]
    job: Annotated[str | None, says("Job")]
    at: Annotated[Utc, says("When it happened (ISO 8601, UTC)")]
    recorded: Annotated[Utc, says("When it was told (ISO 8601, UTC)")]
    payload: Annotated[dict[str, Any], says("By kind: see Entry kinds; SI with bare names")]
    holds_now: Annotated[dict[str, Any], says("The payload with all corrections applied")]
    corrected_by: Annotated[list[int], says("Entries that corrected it")]


class JobShowDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch job show`."""

    job: Annotated[str, says("Name")]
    title: Annotated[str, says("Title")]
    opened: Annotated[Utc, says("Opened (ISO 8601, UTC)")]
    closed: Annotated[Utc | None, says("Closed, or null (ISO 8601, UTC)")]
    running: Annotated[list[str], says("Layers that count down")]
    entries: Annotated[list[JobShowEntryDocument], says("In order")]
