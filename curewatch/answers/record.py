"""The documents of `record`: where one was put, and what one proves; `record.documents` makes them."""

from typing import Annotated, Literal

from curewatch.answers.document import Shape, Utc, says


class RecordWriteDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch record write`."""

    job: Annotated[str, says("Job")]
    pdf: Annotated[str | None, says("File")]
    folder: Annotated[str | None, says("Folder")]
    seal_code: Annotated[str, says("On every page")]
    seal_digest: Annotated[str, says("All 256 bits that the code is the beginning of")]
    public_key: Annotated[str, says("64 hexadecimal digits")]
    readings: Annotated[int, says("In it")]
    entries: Annotated[int, says("In it")]


class LeftOutDocument(Shape, frozen=True, kw_only=True):
    """Blocks whose readings are not in a record, and between which times of arrival they lie."""

    blocks: Annotated[list[int], says("First and last")]
    after: Annotated[Utc | None, says("The last reading before them that is here; null where there is none")]
    before: Annotated[Utc | None, says("The first reading after them that is here; null where there is none")]


class RecordWholeDocument(Shape, frozen=True, kw_only=True):
    """It holds."""

    holds: Annotated[Literal[True], says("The same in each document of this kind")]
    seal_codes: Annotated[list[str], says("Codes of this record")]
    code_given: Annotated[bool, says("Whether --code was looked for")]
    key_given: Annotated[bool, says("Whether --key was looked for")]
    public_key: Annotated[str, says("64 hexadecimal digits")]
    sealed_at: Annotated[Utc, says("Sealed (ISO 8601, UTC)")]
    blocks: Annotated[list[int], says("First and last")]
    readings: Annotated[int, says("In it")]
    entries: Annotated[int, says("In full")]
    entries_of_other_jobs: Annotated[int, says("By digest alone")]
    left_out_blocks: Annotated[list[LeftOutDocument], says("Blocks whose readings are not here")]
    checked: Annotated[dict[str, str], says("Every file that was checked, by its SHA-256")]
