"""A record as it is read on a terminal: what its pages say, and first of all whether it holds.

The file comes from somebody else. Its files are bounded and looked up by name (``examination``); what they
say is taken as text of a bounded length. A broken record is shown, too, under what is wrong with it.
"""

import json
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from curewatch.answers.record import RecordSectionDocument, RecordShowDocument
from curewatch.errors import RecordBroken
from curewatch.record.dating import dated_line
from curewatch.record.examination import carried_files, verify
from curewatch.record.words import shown

MOST = 2000  # lines, of all sections together
LONGEST = 400  # characters of one text


def show(path: Path, *, code: str | None = None, key: str | None = None) -> RecordShowDocument:
    """What this record says, whether or not it holds.

    Raises
    ------
    UsageError
        There is nothing of that name.
    RecordBroken
        There is no record in it that could be read.
    """
    trouble, dated = "", "nothing in a record that does not hold is dated"
    try:
        dated = dated_line(verify(path, code=code, key=key).dated)
    except RecordBroken as broken:
        trouble = str(broken)
    try:
        said = json.loads(carried_files(path)["pages.json"])
        return _document(said, trouble, dated)
    except (KeyError, ValueError, TypeError, AttributeError, RecursionError) as none:
        raise RecordBroken(
            "pages.json", "what the pages of a record say", trouble or f"{none!r}"[:80]
        ) from none


def _document(said: Mapping[str, Any], trouble: str, dated: str) -> RecordShowDocument:
    left = iter(range(MOST))
    sections = [
        RecordSectionDocument(
            heading=shown(one["heading"], LONGEST),
            lines=[line for line, _ in zip(_lines(one["blocks"]), left, strict=False)],
        )
        for one in said["sections"][:50]
    ]
    return RecordShowDocument(
        holds=not trouble,
        trouble=shown(trouble, LONGEST) if trouble else None,
        dated=shown(dated, LONGEST),
        title=shown(said["title"], LONGEST),
        subject=shown(said["subject"], LONGEST),
        job=shown(said["job"], LONGEST),
        facts=_pairs(said["facts"]),
        outcomes=_pairs(said["outcomes"]),
        sections=sections,
    )


def _pairs(rows: Any) -> list[list[str]]:
    return [[shown(cell, LONGEST) for cell in row[:2]] for row in list(rows)[:100]]


def _lines(blocks: Any) -> Iterator[str]:
    """Texts as they stand; a table row by row, its cells apart; a picture by what it shows."""
    for block in blocks:
        kind = block["kind"]
        if kind == "table":
            for row in [block["head"], *block["rows"]]:
                line = " | ".join(shown(cell, LONGEST) for cell in row if cell)
                if line:
                    yield line
        elif kind == "lead":
            yield f"{shown(block['title'], LONGEST)}: {shown(block['outcome'], LONGEST)}"
        else:
            yield shown(block["text"] if kind == "text" else f"[{block['caption']}]", LONGEST)
