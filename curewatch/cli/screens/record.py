"""A record as lines of text: where it was put, and what it proves."""

from curewatch.answers.record import LeftOutDocument, RecordWholeDocument, RecordWriteDocument
from curewatch.cli.safe_text import safe_line
from curewatch.cli.screens.square import square_lines
from curewatch.clock import utc_from_iso
from curewatch.wording import Wording


def written_lines(record: RecordWriteDocument) -> list[str]:
    return [
        *(safe_line(place) for place in (record.pdf, record.folder) if place is not None),
        f"seal code  {record.seal_code}  (write it on the job card)",
        *square_lines(record.seal_digest),
        f"{record.readings:,} readings, {record.entries:,} entries",
    ]


def whole_lines(record: RecordWholeDocument, words: Wording) -> list[str]:
    """What was held against what; the last line where nothing came from outside the record."""
    first, last = record.blocks
    sealed = f"{words.stamp(utc_from_iso(record.sealed_at))} {words.zone}"
    said = [
        "holds: nothing was changed since it was sealed",
        f"  blocks {first} to {last}, {record.readings:,} readings, {record.entries:,} entries",
        f"  seal code  {record.seal_codes[0]}, sealed {sealed}",
        f"  key        {record.public_key}",
        *(_left_out_line(one, words) for one in record.left_out_blocks),
        f"  other jobs {record.entries_of_other_jobs:,} entries by their digest alone",
        *(f"  checked    {digest}  {safe_line(name)}" for name, digest in record.checked.items()),
    ]
    if not record.code_given and not record.key_given:
        said.append(
            "  compare the seal code with the one on the job card: a record made up as a whole holds too"
        )
    return said


def _left_out_line(one: LeftOutDocument, words: Wording) -> str:
    after = "the beginning" if one.after is None else words.stamp(utc_from_iso(one.after))
    before = "the end" if one.before is None else words.stamp(utc_from_iso(one.before))
    first, last = one.blocks
    return f"  left out   readings of blocks {first} to {last}, between {after} and {before}"
