"""Walking the chain from its first block: is everything as it was when it was written?"""

import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from hashlib import sha256
from typing import NamedTuple

from curewatch.clock import iso_utc
from curewatch.errors import RecordBroken
from curewatch.logbook import chain, entry, rows
from curewatch.logbook.kinds import EntryKind


class Verified(NamedTuple):
    """What a whole walk found to be in order."""

    head: chain.Head
    blocks: int
    pruned: int  # blocks whose readings were removed by retention; their digests still hold


def verify(connection: sqlite3.Connection) -> Verified:
    """Recompute every digest and every head, from the first block on.

    Raises
    ------
    RecordBroken
        Names the first block or entry that is not as it was, what was expected and what was found.
    """
    empty: list[int] = []
    tokens = {
        number: rows.token(name) for number, name in connection.execute("SELECT number, name FROM sensors")
    }
    entries, spans = _Entries(connection), _Spans(connection)
    previous, expected, readings = chain.FIRST, 1, 0
    for form, number, closed, *face, head, body in connection.execute(
        "SELECT form, number, closed, readings, readings_digest, entries, entries_digest, head, body"
        " FROM blocks ORDER BY number"
    ):
        if number != expected:
            raise RecordBroken(f"block {expected}", "the next block of the chain", f"block {number}")
        found = chain.Face(form, number, previous, *face)
        if body is None:
            empty.append(number)
            spans.check(number, [])
        else:
            held = _check_readings(found, closed, body, tokens)
            spans.check(number, rows.spans(held) if closed else [])
        entries.check(found)
        if chain.head(found) != head:
            raise RecordBroken(f"block {number}", f"head {chain.head(found)}", f"head {head}")
        previous, expected, readings = head, number + 1, readings + found.readings
    entries.check_end()
    spans.check(2**63 - 1, [])
    _check_count(connection, readings)
    for number in empty:
        if not any(first <= number <= last for first, last in entries.pruned):
            raise RecordBroken(
                f"block {number}", "its readings, or an entry that they were pruned", "neither"
            )
    return Verified(chain.Head(expected - 1, previous, readings, entries.count), expected - 1, len(empty))


def _check_count(connection: sqlite3.Connection, readings: int) -> None:
    """The count that a seal states is kept beside the chain; the faces have the true one."""
    (kept,) = connection.execute("SELECT coalesce(sum(readings), 0) FROM sensors").fetchone()
    if kept != readings:
        raise RecordBroken("the sensors' counts", f"{readings} readings, as in the blocks", f"{kept}")


def _check_readings(face: chain.Face, closed: bool, body: bytes, tokens: Mapping[int, str]) -> rows.Rows:
    try:
        found = rows.read(body, face.form, closed=closed)
        text = rows.lines(face.number, face.form, found, tokens)
    except (ValueError, KeyError) as trouble:
        raise RecordBroken(
            f"block {face.number}", f"{face.readings} readings", f"bytes that are none ({trouble})"
        ) from trouble
    digest = sha256(text.encode()).hexdigest()
    if len(found) != face.readings or digest != face.readings_digest:
        raise RecordBroken(
            f"block {face.number} ({_when(found)})",
            f"{face.readings} readings with digest {face.readings_digest}",
            f"{len(found)} readings with digest {digest}",
        )
    return found


def _when(found: rows.Rows) -> str:
    if not len(found):
        return "no readings"
    times = found["time"]
    return f"readings of {_stamp(int(times.min()))} to {_stamp(int(times.max()))}"


def _stamp(milliseconds: object) -> str:
    """A time of the file, also one that no clock ever said."""
    try:
        return iso_utc(int(str(milliseconds)) / 1e3)
    except (ValueError, OverflowError, OSError):
        return str(milliseconds)[:40]


class _Spans:
    """The index of times, block by block: what it does not list is not found when readings are asked for."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._lines: Iterator[tuple[int, int, int, int]] = iter(
            connection.execute("SELECT block, sensor, earliest, latest FROM spans ORDER BY block, sensor")
        )
        self._next = next(self._lines, None)

    def check(self, number: int, expected: list[tuple[int, int, int]]) -> None:
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

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._lines: Iterator[tuple[int, int, str, str | None, int, str | None, str]] = iter(
            connection.execute("SELECT number, block, kind, job, at, key, line FROM entries ORDER BY number")
        )
        self._next = next(self._lines, None)
        self.count = 0
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
        if number != self.count:
            raise RecordBroken(f"entry {self.count}", "the next entry", f"entry {number}")
        try:
            plain = entry.stored(str(line))
        except ValueError as trouble:
            raise RecordBroken(f"entry {number}", "a line of the logbook", f"{trouble}") from trouble
        if plain.kind == EntryKind.PRUNE:
            self.pruned += [(int(first), int(last)) for first, last in plain.payload["blocks"]]
        told = [plain.kind, plain.job, round(plain.at * 1000), plain.key]
        if (plain.number, plain.block) != (number, block) or told != columns:
            raise RecordBroken(f"entry {number}", f"the columns its line tells: {told}", f"{columns}")

    def check_end(self) -> None:
        """No entry may be left over."""
        if self._next is not None:
            raise RecordBroken(
                f"entry {self._next[0]}",
                "an entry of a block of the chain",
                f"block {self._next[1]}, which is none",
            )
