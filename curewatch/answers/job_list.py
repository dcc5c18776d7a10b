"""The document of `job-list`."""

from typing import Annotated

from curewatch.answers.document import Shape, Utc, says


class JobListJobDocument(Shape, frozen=True, kw_only=True):
    """One of the ``job`` of job list."""

    job: Annotated[str, says("Name")]
    title: Annotated[str, says("Title")]
    opened: Annotated[Utc, says("Opened (ISO 8601, UTC)")]
    closed: Annotated[Utc | None, says("Closed, or null (ISO 8601, UTC)")]
    running: Annotated[list[str], says("Layers that count down")]
