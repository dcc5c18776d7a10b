"""The document of `logbook-backup`."""

from typing import Annotated

from curewatch.answers.document import Shape, says


class LogbookBackupDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch logbook backup`."""

    backup: Annotated[str, says("File")]
    bytes: Annotated[int, says("Size")]
    key: Annotated[str, says("The key that is not in it")]
