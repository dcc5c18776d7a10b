"""The document of `logbook-seal`."""

from typing import Annotated

from curewatch.answers.document import Shape, Utc, says


class LogbookSealDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch logbook seal`."""

    code: Annotated[str, says("Sixteen characters")]
    at: Annotated[Utc, says("When (ISO 8601, UTC)")]
    block: Annotated[int, says("Sealed block")]
    head: Annotated[str, says("Its head")]
    key: Annotated[str, says("Public key")]
