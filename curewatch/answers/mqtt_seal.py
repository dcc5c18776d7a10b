"""The document of `mqtt-seal`."""

from typing import Annotated, Literal

from msgspec import Meta

from curewatch.answers.document import Shape, Utc, says


class MqttSealDocument(Shape, frozen=True, kw_only=True):
    """Published as PREFIX/seal: the code of the last seal, of a day or of a closed job."""

    version: Annotated[Literal[1], says("Raised when a key changes its meaning")]
    at: Annotated[Utc, says("When it was sealed (ISO 8601, UTC)")]
    code: Annotated[
        Annotated[str, Meta(pattern="^[0-9A-Z]{4}(-[0-9A-Z]{4}){6}$")],
        says("The seal code: `logbook verify --code` proves with it that nothing before changed"),
    ]
    reason: Annotated[Literal["day", "job-close", "record"], says("What it was made for")]
    job: Annotated[str | None, says("The job that was closed")]
