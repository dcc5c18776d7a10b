"""The document of `logbook-status`."""

from typing import Annotated, Any

from curewatch.answers.document import Shape, Utc, says


class LogbookStatusSensorDocument(Shape, frozen=True, kw_only=True):
    """One of the ``sensor`` of logbook status."""

    readings: Annotated[int, says("Held")]
    earliest: Annotated[Utc, says("First (ISO 8601, UTC)")]
    latest: Annotated[Utc, says("Last (ISO 8601, UTC)")]


class LogbookStatusDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch logbook status`."""

    path: Annotated[str, says("File")]
    bytes: Annotated[int, says("Size")]
    readings: Annotated[int, says("Held")]
    entries: Annotated[int, says("Held")]
    block: Annotated[int, says("Last block")]
    head: Annotated[str, says("Its head, SHA-256")]
    sensors: Annotated[dict[str, LogbookStatusSensorDocument], says("By name")]
    last_seal: Annotated[dict[str, Any] | None, says("The last seal: code, at, block")]
    rejected: Annotated[dict[str, int], says("Reason: how often")]
