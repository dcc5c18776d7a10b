"""The document of `forecast`."""

from typing import Annotated

from msgspec import field

from curewatch.answers.document import Shape, Utc, says


class ForecastDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch forecast`."""

    kept: Annotated[int, says("How many are kept")]
    used: Annotated[bool, says("Whether the newest counts now")]
    issued: Annotated[Utc | None, says("When it was fed (ISO 8601, UTC)")]
    from_: Annotated[Utc | None, says("First moment (ISO 8601, UTC)")] = field(name="from")
    until: Annotated[Utc | None, says("Last moment (ISO 8601, UTC)")]
    moments: Annotated[int, says("How many")]
