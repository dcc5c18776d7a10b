"""Walking the chain from its first block: is everything as it was when it was written?"""

import math
from collections.abc import Iterable, Iterator, Mapping
from hashlib import sha256
from types import ModuleType
from typing import Any, NamedTuple

from curewatch.clock import iso_utc
from curewatch.errors import RecordBroken
from curewatch.logbook import chain, derived, entry, few_rows, lost, rows, strands
from curewatch.logbook.kinds import EntryKind
from curewatch.logbook.lost import Lost
from curewatch.logbook.tables import Tables


class Verified(NamedTuple):
    """What a walk found to be in order."""

    head: chain.Head
    blocks: int
    pruned: int  # blocks whose readings were removed by retention; their digests still hold
    lost: int  # blocks of which something was lost, as an entry of a salvage says


def verify(tables: Tables) -> Verified:
    """Recompute every digest, head and derived table, from the first block on.

    Raises
    ------
    RecordBroken
        Names the first thing that is not as it was, what was expected and what was found.
    """
    with tables.still():
        return _Walk(tables, 0, rows).whole()


def verify_since(tables: Tables, block: int) -> Verified:
    """The blocks after this one only; its head is taken as it stands.

    Raises
    ------
    RecordBroken
        As for :func:`verify`.
    """
    with tables.still():
        return _Walk(tables, block, _reader(tables, block)).since()


class _Walk:
    """One walk along the chain, from the block after this one."""

    def __init__(self, tables: Tables, after: int, reader: ModuleType) -> None:
        self._tables = tables
        self._rows = reader
        self._tokens = {
            number: rows.token(name) for number, name in tables.each("SELECT number, name FROM sensors")
        }
        self._lost = lost.told(tables)
        self._entries = _Entries(tables, after, self._lost)
        self._spans = _Spans(tables, after)
        self._previous, self._expected = chain.FIRST, after + 1
        self._readings = 0
        self._empty: list[int] = []  # blocks without readings
        self._derived: derived.Derived | None = None
        self._strands = strands.StrandCheck(tables)
        if after:
            stands = tables.execute("SELECT head FROM blocks WHERE number = ?", (after,)).fetchone()
            self._previous = stands[0] if stands else ""

    def since(self) -> Verified:
        """The blocks, their entries and the index of times."""
        for face, closed, head, body in self._faces():
            self._check_place(face)
            held = self._rows.empty()
            if body is None:
                self._empty.append(face.number)
            else:
                held = _check_readings(self._rows, face, closed, body, self._tokens)
            self._spans.check(face.number, self._rows.spans(held) if closed else [])
            if face.number not in self._lost.without_entries:
                self._entries.check(face)
            if chain.head(face) != head:
                raise RecordBroken(f"block {face.number}", f"head {chain.head(face)}", f"head {head}")
            self._previous, self._expected = head, face.number + 1
            self._readings += face.readings
            if self._derived is not None:
                self._derived.take(held)
                self._strands.take(face.number, held)
        self._entries.check_end()
        self._spans.check(math.inf, [])
        self._check_empty()
        blocks = self._expected - 1
        standing = chain.Head(blocks, self._previous, self._readings, self._entries.count)
        return Verified(standing, blocks, len(self._empty), len(self._lost.blocks()))

    def whole(self) -> Verified:
        """With the tables that are made from the readings: they take rows of numpy."""
        self._derived = derived.Derived()
        found = self.since()
        self._strands.end()
        self._derived.check(self._tables, pruned=bool(self._empty) or bool(self._lost.blocks()))
        return found

    def _faces(self) -> Iterator[tuple[chain.Face, bool, str, bytes | None]]:
        for *face, closed, head, body in self._tables.each(
            "SELECT form, number, previous, readings, readings_digest, entries, entries_digest, closed, head,"
            " body FROM blocks WHERE number >= ? ORDER BY number",
            (self._expected,),
        ):
            yield chain.Face(*face), closed, head, body

    def _check_place(self, face: chain.Face) -> None:
        """It is the next, or all between were told to be lost."""
        number = face.number
        if number != self._expected and not self._lost.has_blocks(self._expected, number - 1):
            raise RecordBroken(f"block {self._expected}", "the next block of the chain", f"block {number}")
        if number == self._expected and face.previous != self._previous:
            raise RecordBroken(f"block {number}", f"after head {self._previous}", f"after {face.previous}")

    def _check_empty(self) -> None:
        for number in self._empty:
            told = any(first <= number <= last for first, last in self._entries.pruned)
            if not told and number not in self._lost.without_readings and self._derived is not None:
                raise RecordBroken(
                    f"block {number}", "its readings, or an entry that they were pruned", "neither"
                )


def _reader(tables: Tables, after: int) -> ModuleType:
    """Who reads the rows behind this block: the two give the same, and few are read without numpy."""
    question = "SELECT coalesce(sum(readings), 0) FROM blocks WHERE number > ?"
    (readings,) = tables.execute(question, (after,)).fetchone()
    return few_rows if readings <= few_rows.MOST else rows


def _check_readings(
    reader: ModuleType, face: chain.Face, closed: bool, body: bytes, tokens: Mapping[int, str]
) -> Any:
    """The rows of a block, after their digest."""
    try:
        found = reader.read(body, face.form, closed=closed)
        text = reader.lines(face.number, face.form, found, tokens)
    except (ValueError, KeyError) as trouble:
        raise RecordBroken(
            f"block {face.number}", f"{face.readings} readings", f"bytes that are none ({trouble})"
        ) from trouble
    digest = sha256(text.encode()).hexdigest()
    if len(found) != face.readings or digest != face.readings_digest:
        raise RecordBroken(
            f"block {face.number} ({_when(reader.spans(found))})",
            f"{face.readings} readings with digest {face.readings_digest}",
            f"{len(found)} readings with digest {digest}",
        )
    return found


def _when(spans: Iterable[tuple[int, int, int]]) -> str:
    times = [time for _, *edges in spans for time in edges]
    return f"readings of {_stamp(min(times))} to {_stamp(max(times))}" if times else "no readings"


def _stamp(milliseconds: object) -> str:
    """A time of the file, also one that no clock ever said."""
    try:
        return iso_utc(int(str(milliseconds)) / 1e3)
    except (ValueError, OverflowError, OSError):
        return str(milliseconds)[:40]


class _Spans:
    """The index of times, block by block: what it does not list is not found when readings are asked for."""

    def __init__(self, tables: Tables, after: int) -> None:
        self._lines: Iterator[tuple[int, int, int, int]] = iter(
            tables.each(
                "SELECT block, sensor, earliest, latest FROM spans WHERE block > ? ORDER BY block, sensor",
                (after,),
            )
        )
        self._next = next(self._lines, None)

    def check(self, number: float, expected: list[tuple[int, int, int]]) -> None:
        """What is listed up to this block, and not looked at yet, against what its readings say."""
        listed = []
        while self._next is not None and self._next[0] <= number:
            listed.append(self._next)
            self._next = next(self._lines, None)
        if listed != [(number, *one) for one in expected]:
            raise RecordBroken(
                f"index of times of block {listed[0][0] if listed else number}",
                _listed(expected),
                _listed(one[1:] for one in listed),
            )


def _listed(spans: Iterable[tuple[int, int, int]]) -> str:
    """Sensors by their number, with their earliest and latest times."""
    said = (f"sensor {sensor} {_stamp(first)} to {_stamp(last)}" for sensor, first, last in spans)
    return ", ".join(said) or "no readings"


class _Entries:
    """The entries in their order, checked block by block."""

    def __init__(self, tables: Tables, after: int, lost: Lost) -> None:
        self.count = _entries_until(tables, after)  # entries looked at, or passed over
        self._lost = lost
        self._lines: Iterator[tuple[int, int, str, str | None, int, str | None, str]] = iter(
            tables.each(
                "SELECT number, block, kind, job, at, key, line FROM entries"
                " WHERE number > ? ORDER BY number",
                (self.count,),
            )
        )
        self._next = next(self._lines, None)
        self.pruned: list[tuple[int, int]] = []  # ranges of blocks that entries say were pruned

    def check(self, face: chain.Face) -> None:
        """The entries of one block against its digest."""
        digests = sha256()
        count = 0
        while self._next is not None and self._next[1] == face.number:
            self._check_columns(*self._next)
            digests.update(entry.digest_line(self._next[6]).encode())
            count += 1
            self._next = next(self._lines, None)
        if count != face.entries or digests.hexdigest() != face.entries_digest:
            first = self.count - count + 1
            raise RecordBroken(
                f"entries {first} to {self.count} of block {face.number}"
                if count
                else f"block {face.number}",
                f"{face.entries} entries with digest {face.entries_digest}",
                f"{count} entries with digest {digests.hexdigest()}",
            )

    def _check_columns(self, number: int, block: int, *rest: object) -> None:
        self.count += 1
        *columns, line = rest
        if number != self.count and not self._lost.has_entries(self.count, number - 1):
            raise RecordBroken(f"entry {self.count}", "the next entry", f"entry {number}")
        self.count = number
        try:
            plain = entry.stored(str(line))
        except ValueError as trouble:
            raise RecordBroken(f"entry {number}", "a line of the logbook", f"{trouble}") from trouble
        if plain.kind == EntryKind.PRUNE:
            self.pruned += [(int(first), int(last)) for first, last in plain.payload["blocks"]]
        told = [plain.kind, plain.job, round(plain.at * 1000), plain.key]
        if (plain.number, plain.block) != (number, block) or told != columns:
            raise RecordBroken(f"entry {number}", f"the columns of its line: {told}", f"{columns}")

    def check_end(self) -> None:
        """No entry may be left over."""
        if self._next is not None:
            raise RecordBroken(
                f"entry {self._next[0]}",
                "an entry of a block of the chain",
                f"block {self._next[1]}, which is none",
            )


def _entries_until(tables: Tables, block: int) -> int:
    """The number of the last entry of this block or one before it."""
    if block:
        for number, of in tables.each("SELECT number, block FROM entries ORDER BY number DESC"):
            if of <= block:
                return int(number)
    return 0
