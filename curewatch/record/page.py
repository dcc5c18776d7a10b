"""What a page is made of: texts, small headings, tables and pictures. Plain data; no layout."""

from collections.abc import Iterable, Mapping, Sequence
from hashlib import sha256
from typing import Any, NamedTuple

from curewatch.record.words import shown

MOST_ROWS = 400  # of one table on paper; all of it is in the attached files


class PageTable(NamedTuple):
    """Rows of text under headings; widths as shares."""

    head: tuple[str, ...]
    widths: tuple[float, ...]
    rows: tuple[tuple[str, ...], ...]


class Lead(NamedTuple):
    """A small heading with an outcome."""

    title: str
    outcome: str
    more: str


class Picture(NamedTuple):
    """A chart or a photograph: a file beside the pages."""

    file: str
    content: bytes
    alt: str
    caption: str


class Section(NamedTuple):
    """One heading and what stands under it: texts, tables and pictures in order."""

    heading: str
    blocks: tuple[str | Lead | PageTable | Picture, ...]


class Pages(NamedTuple):
    """A whole record."""

    title: str
    subject: str
    job: str
    code: str
    digest: str  # all 256 bits of the seal
    facts: tuple[tuple[str, str], ...]
    outcomes: tuple[tuple[str, str], ...]  # rule set, met | not met | cannot be shown
    sections: tuple[Section, ...]
    at: float  # when it was sealed, UTC [s]
    dated: str = ""  # who dated the seal, or that nobody did


def as_data(pages: Pages) -> dict[str, Any]:
    """The pages as plain data, without the seal: every text as it stands, every picture by its digest."""
    kept = ("title", "subject", "job", "facts", "outcomes")
    return {name: getattr(pages, name) for name in kept} | {
        "sections": [
            {"heading": section.heading, "blocks": [block_data(block) for block in section.blocks]}
            for section in pages.sections
        ]
    }


def block_data(block: str | Lead | PageTable | Picture) -> dict[str, Any]:
    """One block of a section as plain data."""
    if isinstance(block, str):
        return {"kind": "text", "text": block}
    if isinstance(block, Lead):
        return {"kind": "lead", **block._asdict()}
    if isinstance(block, PageTable):
        return {"kind": "table", **block._asdict()}
    digest = sha256(block.content).hexdigest()
    return {
        "kind": "picture",
        "file": block.file,
        "sha256": digest,
        "alt": block.alt,
        "caption": block.caption,
    }


def of(payload: Mapping[str, Any], key: str) -> str:
    """One value of a payload as text."""
    value = payload.get(key)
    return "–" if value is None else shown(value)


def table(head: Sequence[str], widths: Sequence[float], rows: Iterable[Sequence[str]]) -> PageTable:
    """A table; more rows than a page can bear are left to the attached files."""
    found = [tuple(row) for row in rows]
    if len(found) > MOST_ROWS:
        left = len(found) - MOST_ROWS
        found = [*found[:MOST_ROWS], ("…", f"{left:,} more in the attached files", *[""] * (len(head) - 2))]
    return PageTable(tuple(head), tuple(widths), tuple(found))
