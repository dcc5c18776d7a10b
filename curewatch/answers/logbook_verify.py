"""The document of `logbook-verify`."""

from typing import Annotated, Literal

from curewatch.answers.document import Shape, Utc, says


class LogbookVerifyProvedDocument(Shape, frozen=True, kw_only=True):
    """With --code."""

    code: Annotated[str, says("Code")]
    at: Annotated[Utc, says("Sealed (ISO 8601, UTC)")]
    block: Annotated[int, says("Block")]


class LogbookVerifyAnswerDocument(Shape, frozen=True, kw_only=True):
    """It holds."""

    holds: Annotated[Literal[True], says("The same in each document of this kind")]
    readings: Annotated[int, says("Held")]
    entries: Annotated[int, says("Held")]
    blocks: Annotated[int, says("Walked")]
    pruned_blocks: Annotated[int, says("Whose readings were let go")]
    seals: Annotated[int, says("Checked")]
    head: Annotated[str, says("SHA-256")]
    proved: Annotated[LogbookVerifyProvedDocument | None, says("With --code")]
