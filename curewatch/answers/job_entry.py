"""The document of `job-entry`."""

from typing import Annotated, Any

from curewatch.answers.document import Shape, Utc, says


class JobEntryDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch job open`, batch, pot-empty, peel-ply, wash, quality, note, photo, correct: the entry as stored."""

    number: Annotated[int, says("Running number in the logbook")]
    kind: Annotated[str, says("Kind of entry: see Entry kinds")]
    job: Annotated[str | None, says("Job")]
    at: Annotated[Utc, says("When it happened (ISO 8601, UTC)")]
    recorded: Annotated[Utc, says("When it was told (ISO 8601, UTC)")]
    payload: Annotated[dict[str, Any], says("By kind: see Entry kinds; SI with bare names")]
