"""The documents of `record`: where one was put, and what one proves; `record.documents` makes them."""

from typing import Annotated, Literal

from curewatch.answers.document import Shape, Utc, says
from curewatch.answers.logbook import KeyChangeDocument


class DatedDocument(Shape, frozen=True, kw_only=True):
    """A seal that an authority dated."""

    at: Annotated[Utc, says("When the seal was there (ISO 8601, UTC)")]
    by: Annotated[str, says("The authority, as its certificate names it")]
    root: Annotated[str, says("SHA-256 of the certificate that it leads to")]
    ends: Annotated[Utc, says("When its certificate ends (ISO 8601, UTC)")]
    block: Annotated[int, says("All up to this block is dated by it")]
    whole: Annotated[bool, says("Whether that is the whole record")]


class RecordWriteDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch record write`."""

    job: Annotated[str, says("Job")]
    pdf: Annotated[str | None, says("File")]
    folder: Annotated[str | None, says("Folder")]
    seal_code: Annotated[str, says("On every page")]
    seal_digest: Annotated[str, says("All 256 bits that the code is the beginning of")]
    public_key: Annotated[str, says("64 hexadecimal digits")]
    undated: Annotated[str | None, says("Why no authority dated it; null where one did")]
    readings: Annotated[int, says("In it")]
    entries: Annotated[int, says("In it")]


class RecordSectionDocument(Shape, frozen=True, kw_only=True):
    """One heading of a record, and what stands under it."""

    heading: Annotated[str, says("Heading")]
    lines: Annotated[list[str], says("Texts, rows of tables, and what pictures show")]


class RecordShowDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch record show`: what a record shows, whether or not it holds."""

    holds: Annotated[bool, says("Whether it holds; exit status 5 if not")]
    trouble: Annotated[str | None, says("What is wrong; null where it holds")]
    dated: Annotated[str, says("Who dated it, or that nobody did")]
    title: Annotated[str, says("Kind of record")]
    subject: Annotated[str, says("What was done")]
    job: Annotated[str, says("Job")]
    facts: Annotated[list[list[str]], says("Name and value")]
    outcomes: Annotated[list[list[str]], says("Rule set; met, not met, or cannot be shown")]
    sections: Annotated[list[RecordSectionDocument], says("What stands on the pages")]


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
    fingerprint: Annotated[str, says("Of this key: what people compare")]
    key_changes: Annotated[list[KeyChangeDocument], says("Keys that followed one another, oldest first")]
    dated: Annotated[list[DatedDocument], says("Time stamps by somebody else, the latest block first")]
    authority_given: Annotated[bool, says("Whether the stamps were held against --authority")]
    sealed_at: Annotated[Utc, says("Sealed (ISO 8601, UTC)")]
    blocks: Annotated[list[int], says("First and last")]
    readings: Annotated[int, says("In it")]
    entries: Annotated[int, says("In full")]
    entries_of_other_jobs: Annotated[int, says("By digest alone")]
    left_out_blocks: Annotated[list[LeftOutDocument], says("Blocks whose readings are not here")]
    checked: Annotated[dict[str, str], says("Every file that was checked, by its SHA-256")]
