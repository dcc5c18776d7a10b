"""The document of `record-write`."""

from typing import Annotated

from curewatch.answers.document import Shape, says


class RecordWriteDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch record write`."""

    job: Annotated[str, says("Job")]
    pdf: Annotated[str | None, says("File")]
    folder: Annotated[str | None, says("Folder")]
    seal_code: Annotated[str, says("On every page")]
    public_key: Annotated[str, says("64 hexadecimal digits")]
    readings: Annotated[int, says("In it")]
    entries: Annotated[int, says("In it")]
