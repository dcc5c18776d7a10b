"""A way out of damage: a new logbook of all that verifies, and what is lost by hours and entries.

Theory of operation
-------------------
Each block names the head before it, so it can be checked alone: rows and entries by their digests, these
by its head, its place by the block after it. Blocks that verify are kept byte for byte, under their numbers
and heads; seals and codes of them go on holding. What is lost is a hole in the chain, allowed only where
an entry of the new logbook tells of it. All other tables are made anew from what was kept.

Law: a line of the new logbook is a line of the old one, or the entry that tells of the salvage.
"""

import json
import os
import sqlite3
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from contextlib import closing, suppress
from dataclasses import dataclass, field
from hashlib import sha256
from itertools import pairwise
from pathlib import Path
from typing import Any, NamedTuple

from msgspec import Struct

from curewatch.errors import StoreFailed, UsageError
from curewatch.logbook import chain, derived, entry, rows, schema, store, strands
from curewatch.logbook.chain import Face
from curewatch.logbook.entry import Entry, StoredEntry
from curewatch.logbook.kinds import EntryKind
from curewatch.logbook.lock import Lock
from curewatch.logbook.logbook import Logbook
from curewatch.logbook.lost import ranges
from curewatch.logbook.pages import FilePages
from curewatch.logbook.postgres.address import is_address_file
from curewatch.logbook.sqlite_tables import LAY_BLOCK
from curewatch.logbook.writer import NAMES


class Hole(NamedTuple):
    """Hours of which readings, entries or both are lost, with the heads on both sides."""

    first: int  # block
    last: int  # block
    start: float  # UTC, what arrived from then on [s]
    end: float  # UTC [s]
    readings: int | None  # lost; none: how many is not known
    before: str  # head of the block before it; "" if that is not known
    after: str  # head that the block behind it names; "" if there is none


class Salvaged(NamedTuple):
    """What a salvage did."""

    path: Path
    readings: int  # kept
    entries: int  # kept
    blocks: int  # kept whole
    holes: tuple[Hole, ...]
    entries_lost: tuple[tuple[int, int], ...]  # ranges of their numbers
    unverified: Path | None  # lines of entries that could not be checked
    was: str  # head of the damaged logbook, as far as its blocks tell
    head: str  # where the new one stands, with the entry that tells of the salvage


class _Row(Struct, frozen=True):
    """A row of the table of blocks whose head is that of its face."""

    face: Face
    closed: bool
    opened: int
    head: str
    body: bytes | None


@dataclass(slots=True)
class _Found:
    """What lies in the damaged file. Bounded by its size."""

    names: dict[int, str] = field(default_factory=dict)
    noted: dict[int, str] = field(default_factory=dict)  # the names again, from the note of them
    blocks: dict[int, list[_Row]] = field(default_factory=lambda: defaultdict(list))
    lines: dict[int, set[str]] = field(default_factory=lambda: defaultdict(set))  # by block


class _Block(NamedTuple):
    """A block of the chain, with what of it verifies."""

    row: _Row
    readable: bool  # its readings are here and are those of its face
    arrived: int  # its last line [ms]
    entries: list[StoredEntry] | None  # none: lost

    @property
    def number(self) -> int:
        return self.row.face.number

    def rows(self) -> rows.Rows:
        """Unpacked when asked for: all together would take ten times the file."""
        assert self.row.body is not None
        return rows.read(self.row.body, self.row.face.form, closed=self.row.closed)


def salvage(damaged: Path, target: Path, *, at: float) -> Salvaged:
    """Write a new logbook of all that verifies in a damaged one, which stays as it is. ``at``: now, UTC [s].

    Raises
    ------
    UsageError
        There is a file of that name.
    StoreFailed
        A daemon holds it, nothing in it verifies, or the disk refuses.
    """
    if target.exists():
        raise UsageError(f"{target}: found a file of that name. Use a new name")
    if is_address_file(damaged):
        raise UsageError(f"salvage: found {damaged}, a database. Use its operator's backups")
    held = Lock(damaged, "a salvage", at)
    draft = target.with_name(f"{target.name}.part-{os.getpid()}")
    try:
        with store.telling(target):
            return _written(damaged, draft, target, at)
    finally:
        for left in draft.parent.glob(f"{draft.name}*"):
            left.unlink()
        held.release()


def _written(damaged: Path, draft: Path, target: Path, at: float) -> Salvaged:
    found = _gather(damaged)
    kept, names = _checked(found)
    if not kept:
        raise StoreFailed(f"logbook {damaged}: nothing in it verifies. Restore the last backup")
    unverified = _unverified(found, kept)
    told = _told(kept, unverified)
    _lay(draft, names, kept)
    _copy_beside(damaged, draft, _pruned_until(kept))
    with Logbook(draft) as made:
        made.append(entries=[Entry(EntryKind.SALVAGE, told.payload, at)])
        made.verify()
        head = made.head()
    with closing(sqlite3.connect(draft)) as last:
        last.execute("PRAGMA journal_mode = DELETE")  # one file, without a log beside it
    lines = target.with_name(target.name + ".unverified.jsonl") if unverified else None
    if lines is not None:
        lines.write_text("".join(f"{line}\n" for line in unverified), encoding="ascii", errors="replace")
    os.link(draft, target)
    whole = len(kept) - len(told.broken)
    counted = sum(one.row.face.readings for one in kept if one.readable)
    entries = sum(len(one.entries) for one in kept if one.entries)
    return Salvaged(
        target, counted, entries, whole, told.holes, told.entries, lines, kept[-1].row.head, head.head
    )


# -- what is there ------------------------------------------------------------------------------


def _gather(path: Path) -> _Found:
    """Everything in the file that has the form of a row of ours."""
    found = _Found()
    for number, values in FilePages(path).rows():
        with suppress(ValueError, TypeError, RecursionError):  # a row of something else, or rubbish
            _take(found, number, values)
    return found


def _take(found: _Found, number: int, values: tuple[Any, ...]) -> None:
    if len(values) == 11 and isinstance(values[4], str):
        form, closed, opened, previous, *rest, head, body = values[1:]
        face = Face(form, number, previous, *rest)
        if chain.head(face) == head:
            found.blocks[number].append(_Row(face, bool(closed), opened, head, body))
    elif len(values) == 7 and isinstance(values[6], str):
        stored = entry.stored(values[6])
        if stored.number == number:
            found.lines[stored.block].add(values[6])
    elif len(values) == 7 and isinstance(values[1], str):
        found.names.setdefault(number, values[1])
    elif len(values) == 2 and values[0] == NAMES:
        noted = {int(word): str(name) for word, name in json.loads(values[1]).items()}
        found.noted = max(found.noted, noted, key=len)


def _checked(found: _Found) -> tuple[list[_Block], dict[int, str]]:
    """The chain as far as it is here, and the names of its sensors: of both copies the one that fits."""
    chosen = _chosen(found.blocks)
    both = [{**found.noted, **found.names}, {**found.names, **found.noted}]
    tried = [
        ([_block(row, names, found.lines[row.face.number]) for row in chosen], names)
        for names in (both if both[0] != both[1] else both[:1])
    ]
    return max(tried, key=lambda one: sum(block.readable for block in one[0]))


def _chosen(blocks: Mapping[int, list[_Row]]) -> list[_Row]:
    """The chain, from its last block back: of each number the row that the next block names."""
    chain_back: list[_Row] = []
    for number in sorted(blocks, reverse=True):
        candidates = blocks[number]
        if chain_back and chain_back[-1].face.number == number + 1:
            candidates = [one for one in candidates if one.head == chain_back[-1].face.previous]
        if candidates:
            chain_back.append(max(candidates, key=_fullness))
    return chain_back[::-1]


def _fullness(row: _Row) -> tuple[int, bool, bool]:
    """An open block grows with each commit, and leaves its earlier rows behind."""
    return row.face.readings + row.face.entries, row.closed, row.body is not None


def _block(row: _Row, names: Mapping[int, str], lines: Iterable[str]) -> _Block:
    held = _rows(row, {number: rows.token(name) for number, name in names.items()})
    told = _entries(row.face, lines)
    arrived = [row.opened, *(round(one.recorded * 1e3) for one in told or ())]
    if held is not None and len(held):
        arrived.append(int(held["received"].max()))
    return _Block(row, held is not None, max(arrived), told)


def _rows(row: _Row, tokens: Mapping[int, str]) -> rows.Rows | None:
    """The readings of a block, if they are those of its face."""
    if row.body is None:
        return None
    with suppress(ValueError, KeyError):
        held = rows.read(row.body, row.face.form, closed=row.closed)
        text = rows.lines(row.face.number, row.face.form, held, tokens)
        if sha256(text.encode()).hexdigest() == row.face.readings_digest:
            return held
    return None


def _entries(face: Face, lines: Iterable[str]) -> list[StoredEntry] | None:
    """The entries of a block, if they are those of its face."""
    told = sorted((entry.stored(line) for line in lines), key=lambda one: one.number)
    listed = "".join(entry.digest_line(one.line) for one in told)
    return told if sha256(listed.encode()).hexdigest() == face.entries_digest else None


def _unverified(found: _Found, kept: list[_Block]) -> list[str]:
    """Lines of entries that no block shows to be as they were."""
    shown = {one.number for one in kept if one.entries is not None}
    return [
        line for block in sorted(found.lines) if block not in shown for line in sorted(found.lines[block])
    ]


# -- what is lost -------------------------------------------------------------------------------


class _Told(NamedTuple):
    payload: dict[str, Any]
    holes: tuple[Hole, ...]
    entries: tuple[tuple[int, int], ...]
    broken: frozenset[int]  # blocks of which something is lost and something is kept


def _told(kept: list[_Block], unverified: list[str]) -> _Told:
    """The entry that tells of the salvage."""
    here = {one.number: one for one in kept}
    pruned = _pruned(kept)
    whole = set(range(1, max(here) + 1)) - set(here)
    unread = {
        number
        for number, one in here.items()
        if not one.readable and one.row.face.readings and number not in pruned
    }
    untold = {number for number, one in here.items() if one.entries is None}
    told = {one.number for each in kept for one in each.entries or ()}
    gone = set(range(1, max(told, default=0) + 1)) - told
    holes = tuple(_hole(here, first, last) for first, last in ranges(whole | unread))
    payload = {
        "blocks": ranges(whole),
        "blocks_without_readings": ranges(unread),
        "blocks_without_entries": ranges(untold),
        "entries": ranges(gone),
        "unverified": len(unverified),
        "holes": [one._asdict() for one in holes],
        "was": kept[-1].row.head,
        "block": kept[-1].number,
    }
    lost_entries = tuple((first, last) for first, last in ranges(gone))
    return _Told(payload, holes, lost_entries, frozenset(unread | untold))


def _pruned(kept: list[_Block]) -> set[int]:
    """Blocks whose readings were let go, as entries say."""
    told = (one for each in kept for one in each.entries or () if one.kind == EntryKind.PRUNE)
    spans = (span for one in told for span in one.payload["blocks"])
    return {number for first, last in spans for number in range(first, last + 1)}


def _pruned_until(kept: list[_Block]) -> int:
    """Until which hour there are readings that were let go; 0 if there are none."""
    pruned = _pruned(kept)
    ends = [after.row.opened for before, after in pairwise(kept) if before.number in pruned]
    return max(ends, default=0) // derived.HOUR_MS


def _hole(here: Mapping[int, _Block], first: int, last: int) -> Hole:
    before, after = here.get(first - 1), here.get(last + 1)
    own = [here[number].row for number in range(first, last + 1) if number in here]
    arrived = before.arrived if before else 0
    start = own[0].opened if own and own[0].face.number == first else arrived
    known = len(own) == last - first + 1
    end = after.row.opened if after else here[last].arrived if last in here else start
    return Hole(
        first,
        last,
        start / 1e3,
        max(start, end) / 1e3,
        sum(row.face.readings for row in own) if known else None,
        before.row.head if before else chain.FIRST if first == 1 else "",
        after.row.face.previous if after else "",
    )


# -- the new file -------------------------------------------------------------------------------


def _lay(path: Path, names: Mapping[int, str], kept: list[_Block]) -> None:
    """The tables of a new file, in one commit."""
    with closing(store.open_to_write(path)) as connection:
        schema.bring_up(connection, path)
        connection.execute("BEGIN IMMEDIATE")
        connection.executemany("INSERT INTO sensors VALUES (?, ?, 0, 0, 0, 0, x'')", names.items())
        connection.execute("INSERT INTO notes VALUES (?, ?)", (NAMES, json.dumps(dict(names)).encode()))
        made = derived.Derived()
        for one in kept:
            whole = one.readable and one.entries is not None and one is kept[-1]
            held = one.rows() if one.readable else None
            _lay_block(connection, one, held, closed=one.row.closed or not whole)
            if held is not None:
                made.take(held)
                strands.lay(connection, one.number)
        made.write(connection)
        connection.execute("COMMIT")


def _lay_block(connection: sqlite3.Connection, one: _Block, held: rows.Rows | None, *, closed: bool) -> None:
    face, body = one.row.face, one.row.body if held is not None else None
    if held is not None and closed and not one.row.closed:
        body = rows.pack(held, face.form)
    connection.execute(
        LAY_BLOCK, (face.number, face.form, closed, one.row.opened, *face[2:], one.row.head, body)
    )
    if closed and held is not None:
        spans = [(sensor, first, face.number, last) for sensor, first, last in rows.spans(held)]
        connection.executemany("INSERT INTO spans VALUES (?, ?, ?, ?)", spans)
    connection.executemany(
        "INSERT INTO entries VALUES (?, ?, ?, ?, ?, ?, ?)",
        [(e.number, e.block, e.kind, e.job, round(e.at * 1000), e.key, e.line) for e in one.entries or ()],
    )


BESIDE = {
    "SELECT * FROM notes WHERE key NOT LIKE 'strand %'": "INSERT OR IGNORE INTO notes VALUES (?, ?)",
    "SELECT * FROM rejected": "INSERT OR IGNORE INTO rejected VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
}
HOURS = "SELECT * FROM hours WHERE hour <= ?"  # of readings that were let go


def _copy_beside(damaged: Path, draft: Path, pruned_until: int) -> None:
    """What is outside the chain and cannot be made anew, up to the first page that cannot be read."""
    with closing(sqlite3.connect(draft)) as made:
        for question, insert in BESIDE.items():
            made.executemany(insert, _readable(damaged, question))
        hours = _readable(damaged, HOURS, pruned_until) if pruned_until else ()
        made.executemany("INSERT OR IGNORE INTO hours VALUES (?, ?, ?, ?, ?, ?, ?)", hours)
        made.commit()


def _readable(path: Path, question: str, *values: int) -> Iterator[tuple[Any, ...]]:
    with suppress(sqlite3.DatabaseError, StoreFailed), closing(store.open_to_read(path)) as old:
        yield from old.execute(question, values)
