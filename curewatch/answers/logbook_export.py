"""The document of `logbook-export`."""

from typing import Annotated

from curewatch.answers.document import Shape, says


class LogbookExportDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch logbook export`."""

    file: Annotated[str, says("File")]
    count: Annotated[int, says("Readings or entries")]
    bytes: Annotated[int, says("Size")]
