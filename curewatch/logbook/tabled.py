"""A logbook that lies in the tables of a database: all that is the same, whichever database it is.

Theory of operation
-------------------
``append`` puts readings, entries, notes and rejections into one commit that is on the disk when it
returns; only then may a source be acknowledged. What is appended is the next part of a hash chain
(``chain``), so a later change shows. Nothing stored is ever changed: a correction is an entry.
The bytes of blocks, heads and entries are made here and in ``writer``. A database only keeps them.
"""

from abc import abstractmethod
from collections.abc import Iterable, Iterator, Mapping
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Self

from curewatch.errors import StoreFailed, UsageError
from curewatch.logbook import chain, entry, few_rows, lost, parcel, rows, verification
from curewatch.logbook.entry import Entry, StoredEntry
from curewatch.logbook.lost import Lost
from curewatch.logbook.port import Known, Rejections
from curewatch.logbook.series import (
    EARLIEST,
    LATEST,
    BlockRows,
    Hourly,
    Series,
    block_rows,
    blocks,
    blocks_between,
    every_series,
    few_readings,
    hourly,
    series,
)
from curewatch.logbook.tables import Tables
from curewatch.logbook.writer import DAY_MS, Writer, head
from curewatch.readings import Reading, Rejected


class TabledLogbook:
    """What every :class:`~curewatch.logbook.port.LogbookStore` over tables does."""

    path: Path
    sealed_here = True
    _tables: Tables
    _writer: Writer

    @abstractmethod
    def _telling(self) -> AbstractContextManager[None]:
        """Errors of the database leave as StoreFailed."""

    @abstractmethod
    def _writing(self) -> AbstractContextManager[None]:
        """Before and after a commit."""

    # -- writing --------------------------------------------------------------------------------

    def append(
        self,
        readings: Iterable[Reading] = (),
        entries: Iterable[Entry] = (),
        *,
        notes: Mapping[str, bytes] | None = None,
        rejected: Iterable[Rejected] = (),
    ) -> int:
        """Store all of it in one commit; the number of readings that were not stored already.

        ``notes`` are small values under a key, replaced in the same commit, outside the chain.

        Raises
        ------
        StoreFailed
            Nothing of it is stored; the same call can be made again.
        """
        with self._writing():
            return self._writer.append(readings, entries, notes or {}, rejected)[0]

    def write(self, new: Entry) -> StoredEntry:
        """Store one entry, and return it as it stands; the earlier one if its key is known."""
        with self._writing():
            return self._writer.append((), (new,), {}, ())[1][0]

    def tell_rejections(self, at: float) -> StoredEntry | None:
        """Write what was rejected since the last such entry into the chain; none if nothing was. UTC [s]"""
        with self._writing():
            return self._writer.tell_rejections(at)

    def close_block(self) -> chain.Head:
        """End the open block, so that no later line changes its head; where the chain stands then."""
        with self._writing():
            return self._writer.close_block()

    def sealed_elsewhere(self, seal_reason: str) -> StoredEntry:
        raise StoreFailed(f"logbook {self.path}: found no daemon that seals it. Use `curewatch logbook seal`")

    # -- reading --------------------------------------------------------------------------------

    def series(self, sensor: str, start: float | None = None, end: float | None = None) -> Series:
        """The sensor's readings with start <= time < end, in order of time. [s]"""
        with self._telling():
            return series(self._tables, self._number(sensor), *_milliseconds(start, end))

    def every_series(
        self, sensors: Iterable[str], start: float | None = None, end: float | None = None
    ) -> dict[str, Series]:
        """The same of several sensors, each block unpacked once. [s]"""
        with self._telling():
            return every_series(self._tables, self._numbers(sensors), *_milliseconds(start, end))

    def few_readings(
        self, sensors: Iterable[str], start: float | None = None, end: float | None = None
    ) -> dict[str, list[Reading]] | None:
        """The same as readings, without numpy; none if that would take longer than its import. [s]"""
        with self._telling():
            return few_readings(self._tables, self._numbers(sensors), *_milliseconds(start, end))

    def _numbers(self, sensors: Iterable[str]) -> dict[int, str]:
        """The sensors by their numbers; one that never spoke has a number below zero."""
        known = dict(self._tables.execute("SELECT name, number FROM sensors").fetchall())
        return {known.get(name, -place): name for place, name in enumerate(dict.fromkeys(sensors), 1)}

    def hourly(self, sensor: str, start: float | None = None, end: float | None = None) -> Hourly:
        """The sensor's hours that begin in start <= time < end. [s]"""
        with self._telling():
            return hourly(self._tables, self._number(sensor), *_milliseconds(start, end))

    def _number(self, sensor: str) -> int:
        found = self._tables.execute("SELECT number FROM sensors WHERE name = ?", (sensor,)).fetchone()
        return -1 if found is None else int(found[0])

    def latest(self) -> dict[str, Reading]:
        """The last word of every sensor: the reading with the latest time."""
        with self._telling():
            found = self._tables.execute("SELECT name, form, last FROM sensors WHERE readings > 0").fetchall()
        return {name: rows.reading(few_rows.from_bytes(last, form)[0], name) for name, form, last in found}

    def sensors(self) -> dict[str, Known]:
        """Every sensor that ever spoke, with how many readings and from when to when."""
        with self._telling():
            found = self._tables.execute(
                "SELECT name, readings, earliest, latest FROM sensors WHERE readings > 0 ORDER BY name"
            ).fetchall()
        return {name: Known(count, earliest / 1e3, latest / 1e3) for name, count, earliest, latest in found}

    def entries(
        self,
        kind: str | Iterable[str] | None = None,
        *,
        job: str | None = None,
        start: float | None = None,
        end: float | None = None,
        after: int = 0,
    ) -> list[StoredEntry]:
        """Entries in the order they were written; only those of these kinds, this job, start <= at < end."""
        kinds = [kind] if isinstance(kind, str) else None if kind is None else list(kind)
        earliest, latest = _milliseconds(start, end)
        conditions, values = ["number > ?", "at >= ?", "at < ?"], [after, earliest, latest]
        parameters: list[int | str] = [*values]
        if kinds == []:
            return []
        if kinds is not None:
            conditions.append(f"kind IN ({', '.join('?' * len(kinds))})")
            parameters += kinds
        if job is not None:
            conditions.append("job = ?")
            parameters.append(job)
        question = f"SELECT line FROM entries WHERE {' AND '.join(conditions)} ORDER BY number"  # noqa: S608
        with self._telling():
            return [entry.stored(line) for (line,) in self._tables.execute(question, parameters)]

    def entry(self, number: int) -> StoredEntry | None:
        """The entry with this number."""
        with self._telling():
            found = self._tables.execute("SELECT line FROM entries WHERE number = ?", (number,)).fetchone()
        return None if found is None else entry.stored(found[0])

    def note(self, key: str) -> bytes | None:
        """The note under this key."""
        with self._telling():
            found = self._tables.execute("SELECT value FROM notes WHERE key = ?", (key,)).fetchone()
        return None if found is None else bytes(found[0])

    def rejected(self, start: float | None = None, end: float | None = None) -> list[Rejections]:
        """Counts of what was rejected, by day, source, sensor and reason."""
        earliest, latest = _milliseconds(start, end)
        with self._telling():
            found = self._tables.execute(
                "SELECT day, source, sensor, reason, count, last_at, last_raw FROM rejected"
                " WHERE day >= ? AND day < ? ORDER BY day, source, sensor, reason",
                (earliest // DAY_MS, -(-latest // DAY_MS)),
            ).fetchall()
        return [
            Rejections(day * DAY_MS / 1e3, source, sensor, reason, times, at / 1e3, raw)
            for day, source, sensor, reason, times, at, raw in found
        ]

    def head(self) -> chain.Head:
        """Where the chain stands now."""
        with self._telling():
            return head(self._tables)

    def names(self) -> dict[int, str]:
        """The sensors' names by their number in this logbook."""
        with self._telling():
            return dict(self._tables.execute("SELECT number, name FROM sensors").fetchall())

    def tokens(self) -> dict[int, str]:
        """The sensors' names as the words that stand in canonical lines."""
        return {number: rows.token(name) for number, name in self.names().items()}

    def blocks(
        self, start: float | None = None, end: float | None = None, sensor: str | None = None
    ) -> Iterator[BlockRows]:
        """Stored rows with start <= time < end in the order they were appended, block by block."""
        number = None if sensor is None else self._number(sensor)
        with self._telling():
            yield from blocks(self._tables, number, *_milliseconds(start, end))

    def block_rows(self, first: int, last: int) -> Iterator[BlockRows]:
        """All rows of these blocks that retention has left, block by block."""
        with self._telling():
            yield from block_rows(self._tables, first, last)

    def blocks_between(self, start: float, end: float) -> tuple[int, int] | None:
        """First and last block that hold a reading of start <= time < end; none if none does. [s]"""
        with self._telling():
            return blocks_between(self._tables, *_milliseconds(start, end))

    def faces(self, first: int = 1, last: int | None = None) -> list[tuple[chain.Face, str]]:
        """The faces of these blocks and their heads, in order: the chain itself."""
        with self._telling():
            found = self._tables.execute(
                "SELECT form, number, previous, readings, readings_digest, entries, entries_digest, head"
                " FROM blocks WHERE number BETWEEN ? AND ? ORDER BY number",
                (first, 2**62 if last is None else last),
            ).fetchall()
        return [(chain.Face(*face), head) for *face, head in found]

    def prunable(self, before: float, kept: Iterable[tuple[float, float]]) -> list[tuple[int, int]]:
        """Closed blocks, and their readings, that lie before this moment and outside what is kept. [s]"""
        with self._telling():
            found = self._tables.execute(
                "SELECT b.number, b.readings, min(s.earliest), max(s.latest) FROM blocks b"
                " JOIN spans s ON s.block = b.number WHERE b.closed AND b.body IS NOT NULL"
                " GROUP BY b.number, b.readings HAVING max(s.latest) < ? ORDER BY b.number",
                (round(before * 1000),),
            ).fetchall()
        stretches = [(start * 1000, end * 1000) for start, end in kept]
        return [
            (number, count)
            for number, count, earliest, latest in found
            if not any(earliest <= end and latest >= start for start, end in stretches)
        ]

    def drop_bodies(self, numbers: Iterable[int], told: Entry) -> None:
        """Let go of the readings of these blocks, in one commit with the entry that tells of it.

        Their digests stay. ``retention`` decides which.
        """
        with self._writing():
            self._writer.drop_bodies(numbers, told)

    def block_head(self, number: int) -> str:
        """The head of one block; "" if it is not known, and before the first what stands there.

        Of a block that was lost the next one knows it.
        """
        if number == 0:
            return chain.FIRST
        with self._telling():
            found = self._tables.execute(
                "SELECT head FROM blocks WHERE number = ?"
                " UNION ALL SELECT previous FROM blocks WHERE number = ?",
                (number, number + 1),
            ).fetchone()
        return "" if found is None else str(found[0])

    def block_bytes(self, number: int) -> bytes:
        """One closed block as a parcel for another store.

        Raises
        ------
        UsageError
            There is no such block, it is open, or its readings were pruned.
        """
        with self._telling():
            faces = self.faces(number, number)
            found = self._tables.execute(
                "SELECT closed, body FROM blocks WHERE number = ?", (number,)
            ).fetchone()
            lines = self._tables.execute(
                "SELECT line FROM entries WHERE block = ? ORDER BY number", (number,)
            ).fetchall()
        closed, body = found or (False, None)
        if not closed or body is None:
            reason = "its readings were pruned" if closed else "it is open" if found else "it is not there"
            raise UsageError(f"block {number} cannot be carried: {reason}. Use a closed block that is whole")
        return parcel.pack(faces[0][0], self.tokens(), [line for (line,) in lines], body)

    def take_block(self, carried: bytes) -> bool:
        """Keep the next block of this chain as another store closed it; False if it is here already.

        Raises
        ------
        RecordBroken
            It is not whole, does not follow, or the chain has forked; nothing of it is kept.
        StoreFailed
            Its form is not known here, or the disk refuses.
        """
        taken = parcel.unpack(carried)
        with self._writing():
            return self._writer.take_block(taken)

    def verify(self) -> verification.Verified:
        """Walk the whole chain; RecordBroken names the first thing that is not as it was."""
        with self._telling():
            return verification.verify(self._tables)

    def verify_since(self, block: int) -> verification.Verified:
        """Walk the blocks after this one; RecordBroken names the first thing that is not as it was."""
        with self._telling():
            return verification.verify_since(self._tables, block)

    def lost(self) -> Lost:
        """What a salvage could not keep."""
        with self._telling():
            return lost.told(self._tables)

    @abstractmethod
    def close(self) -> None:
        """Leave it in order."""

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def _milliseconds(start: float | None, end: float | None) -> tuple[int, int]:
    return (
        EARLIEST if start is None else round(start * 1000),
        LATEST if end is None else round(end * 1000),
    )
