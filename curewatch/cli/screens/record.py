"""A record as lines of text: where it was put, and what it proves."""

from curewatch.answers.record import (
    LeftOutDocument,
    RecordShowDocument,
    RecordWholeDocument,
    RecordWriteDocument,
)
from curewatch.cli.screens.logbook import change_line
from curewatch.cli.screens.square import square_lines
from curewatch.clock import utc_from_iso
from curewatch.safe_text import safe_line
from curewatch.wording import Wording, counted


def written_lines(record: RecordWriteDocument) -> list[str]:
    return [
        *(safe_line(place) for place in (record.pdf, record.folder) if place is not None),
        f"seal code  {record.seal_code}  (write it on the job card)",
        *square_lines(record.seal_digest),
        _held(record),
        *([] if record.undated is None else [f"dated by nobody else: {safe_line(record.undated)}"]),
    ]


def _held(record: RecordWriteDocument | RecordWholeDocument) -> str:
    return f"{counted(record.readings, 'reading')}, {counted(record.entries, 'entry')}"


def show_lines(record: RecordShowDocument) -> list[str]:
    """Whether it holds, then its pages, every text made safe for a terminal."""
    said = [
        "holds: nothing was changed since it was sealed"
        if record.holds
        else "DOES NOT HOLD: what it says proves nothing"
    ]
    said += [f"  {safe_line(record.trouble)}"] if record.trouble else []
    said += [f"  {safe_line(record.dated)}", "", f"{safe_line(record.title)}: {safe_line(record.subject)}"]
    said += [f"  {safe_line(name, 24):24s} {safe_line(value)}" for name, value in record.facts]
    said += [f"  {safe_line(name, 24):24s} {safe_line(value)}" for name, value in record.outcomes]
    for section in record.sections:
        said += ["", safe_line(section.heading), *(f"  {safe_line(line)}" for line in section.lines)]
    return said


def whole_lines(record: RecordWholeDocument, words: Wording) -> list[str]:
    """What was held against what; the last line where nothing came from outside the record."""
    first, last = record.blocks
    sealed = f"{words.stamp(utc_from_iso(record.sealed_at))} {words.zone}"
    said = [
        "holds: nothing was changed since it was sealed",
        f"  blocks {first} to {last}, {_held(record)}",
        f"  seal code  {record.seal_codes[0]}, sealed {sealed}",
        f"  key        {record.public_key}, fingerprint {record.fingerprint}",
        *(f"  {change_line(one)}" for one in record.key_changes),
        *(_dated_lines(record, words)),
        *(_left_out_line(one, words) for one in record.left_out_blocks),
        f"  other jobs {counted(record.entries_of_other_jobs, 'entry')} by their digest alone",
        *(f"  checked    {digest}  {safe_line(name)}" for name, digest in record.checked.items()),
    ]
    said.append("  check.sh and README.txt are those that were published with this program")
    if not record.code_given and not record.key_given:
        said.append(
            "  compare the seal code with the one on the job card: a record made up as a whole holds too"
        )
    return said


def _dated_lines(record: RecordWholeDocument, words: Wording) -> list[str]:
    """Who dated what, the latest; or that nobody did."""
    if not record.dated:
        return ["  dated by nobody else: the time of its seal is its owner's word"]
    one = record.dated[0]
    what = "the whole record" if one.whole else f"all up to block {one.block}; the rest by nobody else"
    said = [f"  dated      {what}: there on {words.stamp(utc_from_iso(one.at))}, says {safe_line(one.by)}"]
    if not record.authority_given:
        said.append(f"             compare its root {one.root}, or give --authority FILE")
    return said


def _left_out_line(one: LeftOutDocument, words: Wording) -> str:
    after = "the beginning" if one.after is None else words.stamp(utc_from_iso(one.after))
    before = "the end" if one.before is None else words.stamp(utc_from_iso(one.before))
    first, last = one.blocks
    return f"  left out   readings of blocks {first} to {last}, between {after} and {before}"
