"""The document of `job-close`."""

from typing import Annotated, Any

from curewatch.answers.document import Shape, Utc, says


class JobCloseDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch job close`: the entry, and the seal code."""

    number: Annotated[int, says("Running number in the logbook")]
    kind: Annotated[str, says("Kind of entry: see Entry kinds")]
    job: Annotated[str | None, says("Job")]
    at: Annotated[Utc, says("When it happened (ISO 8601, UTC)")]
    recorded: Annotated[Utc, says("When it was told (ISO 8601, UTC)")]
    payload: Annotated[dict[str, Any], says("By kind: see Entry kinds; SI with bare names")]
    seal_code: Annotated[str, says("28 characters in groups of four to write on the job card")]
    seal_digest: Annotated[str, says("All 256 bits that the code is the beginning of")]
