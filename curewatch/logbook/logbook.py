"""The durable memory of a shed in one SQLite file: the store that is meant when nothing else is said.

Theory of operation
-------------------
``append`` puts readings, entries, notes and rejections into one commit that is on the disk when it
returns; only then may a source be acknowledged. What is appended is the next part of a hash chain
(``chain``), so a later change shows. Nothing stored is ever changed: a correction is an entry.
Any number of processes may read, and several may append; ``hold`` makes one of them the daemon.
"""

import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Self

from curewatch.errors import StoreFailed, UsageError
from curewatch.logbook import chain, entry, parcel, rows, schema, store, verification
from curewatch.logbook.entry import Entry, StoredEntry
from curewatch.logbook.lock import Lock
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
    hourly,
    series,
)
from curewatch.logbook.writer import DAY_MS, Writer, head
from curewatch.readings import Reading, Rejected


class Logbook:
    """One SQLite file, open: a :class:`~curewatch.logbook.port.LogbookStore`.

    ``read_only`` opens an existing one beside a process that writes. ``passing`` is for a file that is
    thrown away with the process that made it, in a replay for instance: it is the same in all but that
    a commit does not wait for the disk.
    """

    def __init__(self, path: Path | str, *, read_only: bool = False, passing: bool = False) -> None:
        self.path = Path(path)
        self.read_only = read_only
        self._passing = passing
        self._lock: Lock | None = None
        with store.telling(self.path):
            self._open()

    def _open(self) -> None:
        if self.read_only:
            self._connection = store.open_to_read(self.path)
            try:
                schema.check_readable(self._connection, self.path)
            except BaseException:
                self._connection.close()
                raise
            return
        self._connection = store.open_to_write(self.path, passing=self._passing)
        try:
            schema.bring_up(self._connection, self.path)
        except BaseException:
            self._connection.close()
            raise
        self._standing = store.FilesOpened(self.path)
        self._damage: StoreFailed | None = None  # what was found by `examine`; of this very file
        self._writer = Writer(self._connection, self.path)

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

    def examine(self) -> None:
        """Look at the file as another process would; a damaged one takes nothing until it is replaced."""
        self._damage = self._damage or store.damage(self.path)

    @contextmanager
    def _writing(self) -> Iterator[None]:
        """Before and after a commit: it is the file that was opened, and nobody has spoilt it.

        If somebody else wrote to it since we did, it is examined before anything more is said to be in it.
        """
        if self.read_only:
            raise StoreFailed(f"logbook {self.path} was opened for reading only")
        with store.telling(self.path):
            self._same_files()
            if self._standing.touched:
                self.examine()
            if self._damage is not None:
                raise self._damage
            yield
            self._same_files()
            self._standing.leave()

    def _same_files(self) -> None:
        """Other files stand at the paths: use those from now on, after saying so. None: keep what is open."""
        try:
            self._standing.check()
        except StoreFailed:
            if self.path.exists():
                with suppress(sqlite3.Error, OSError):  # what it could not do is said by the one raised below
                    store.bring_home(self._connection, self.path)
                self._connection.close()
                self._open()
            raise

    # -- reading --------------------------------------------------------------------------------

    def series(self, sensor: str, start: float | None = None, end: float | None = None) -> Series:
        """The sensor's readings with start <= time < end, in order of time. [s]"""
        with store.telling(self.path):
            return series(self._connection, self._number(sensor), *_milliseconds(start, end))

    def hourly(self, sensor: str, start: float | None = None, end: float | None = None) -> Hourly:
        """The sensor's hours that begin in start <= time < end. [s]"""
        with store.telling(self.path):
            return hourly(self._connection, self._number(sensor), *_milliseconds(start, end))

    def _number(self, sensor: str) -> int:
        found = self._connection.execute("SELECT number FROM sensors WHERE name = ?", (sensor,)).fetchone()
        return -1 if found is None else int(found[0])

    def latest(self) -> dict[str, Reading]:
        """The last word of every sensor: the reading with the latest time."""
        with store.telling(self.path):
            found = self._connection.execute(
                "SELECT name, form, last FROM sensors WHERE readings > 0"
            ).fetchall()
        return {
            name: rows.reading(rows.from_bytes(last, form)[0].tolist(), name) for name, form, last in found
        }

    def sensors(self) -> dict[str, Known]:
        """Every sensor that ever spoke, with how many readings and from when to when."""
        with store.telling(self.path):
            found = self._connection.execute(
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
        if kinds is not None:
            conditions.append(f"kind IN ({', '.join('?' * len(kinds))})")
            parameters += kinds
        if job is not None:
            conditions.append("job = ?")
            parameters.append(job)
        question = f"SELECT line FROM entries WHERE {' AND '.join(conditions)} ORDER BY number"  # noqa: S608
        with store.telling(self.path):
            return [entry.stored(line) for (line,) in self._connection.execute(question, parameters)]

    def entry(self, number: int) -> StoredEntry | None:
        """The entry with this number."""
        with store.telling(self.path):
            found = self._connection.execute(
                "SELECT line FROM entries WHERE number = ?", (number,)
            ).fetchone()
        return None if found is None else entry.stored(found[0])

    def note(self, key: str) -> bytes | None:
        """The note under this key."""
        with store.telling(self.path):
            found = self._connection.execute("SELECT value FROM notes WHERE key = ?", (key,)).fetchone()
        return None if found is None else bytes(found[0])

    def rejected(self, start: float | None = None, end: float | None = None) -> list[Rejections]:
        """Counts of what was rejected, by day, source, sensor and reason."""
        earliest, latest = _milliseconds(start, end)
        with store.telling(self.path):
            found = self._connection.execute(
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
        with store.telling(self.path):
            return head(self._connection)

    def names(self) -> dict[int, str]:
        """The sensors' names by their number in this logbook."""
        with store.telling(self.path):
            return dict(self._connection.execute("SELECT number, name FROM sensors").fetchall())

    def tokens(self) -> dict[int, str]:
        """The sensors' names as the words that stand in canonical lines."""
        return {number: rows.token(name) for number, name in self.names().items()}

    def blocks(
        self, start: float | None = None, end: float | None = None, sensor: str | None = None
    ) -> Iterator[BlockRows]:
        """Stored rows with start <= time < end in the order they were appended, block by block."""
        number = None if sensor is None else self._number(sensor)
        with store.telling(self.path):
            yield from blocks(self._connection, number, *_milliseconds(start, end))

    def block_rows(self, first: int, last: int) -> Iterator[BlockRows]:
        """All rows of these blocks that retention has left, block by block."""
        with store.telling(self.path):
            yield from block_rows(self._connection, first, last)

    def blocks_between(self, start: float, end: float) -> tuple[int, int] | None:
        """First and last block that hold a reading of start <= time < end; none if none does. [s]"""
        with store.telling(self.path):
            return blocks_between(self._connection, *_milliseconds(start, end))

    def faces(self, first: int = 1, last: int | None = None) -> list[tuple[chain.Face, str]]:
        """The faces of these blocks and their heads, in order: the chain itself."""
        with store.telling(self.path):
            found = self._connection.execute(
                "SELECT b.form, b.number, coalesce(p.head, ?), b.readings, b.readings_digest, b.entries,"
                " b.entries_digest, b.head FROM blocks b LEFT JOIN blocks p ON p.number = b.number - 1"
                " WHERE b.number BETWEEN ? AND ? ORDER BY b.number",
                (chain.FIRST, first, 2**62 if last is None else last),
            ).fetchall()
        return [(chain.Face(*face), head) for *face, head in found]

    def prunable(self, before: float, kept: Iterable[tuple[float, float]]) -> list[tuple[int, int]]:
        """Closed blocks, and their readings, that lie before this moment and outside what is kept. [s]"""
        with store.telling(self.path):
            found = self._connection.execute(
                "SELECT b.number, b.readings, min(s.earliest), max(s.latest) FROM blocks b"
                " JOIN spans s ON s.block = b.number WHERE b.closed AND b.body IS NOT NULL"
                " GROUP BY b.number HAVING max(s.latest) < ? ORDER BY b.number",
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
        """The head of one block; "" if there is no such block, and before the first what stands there."""
        if number == 0:
            return chain.FIRST
        with store.telling(self.path):
            found = self._connection.execute("SELECT head FROM blocks WHERE number = ?", (number,)).fetchone()
        return "" if found is None else str(found[0])

    def block_bytes(self, number: int) -> bytes:
        """One closed block as a parcel for another store.

        Raises
        ------
        UsageError
            There is no such block, it is open, or its readings were pruned.
        """
        with store.telling(self.path):
            faces = self.faces(number, number)
            found = self._connection.execute(
                "SELECT closed, body FROM blocks WHERE number = ?", (number,)
            ).fetchone()
            lines = self._connection.execute(
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
        with store.telling(self.path):
            return verification.verify(self._connection)

    # -- the file -------------------------------------------------------------------------------

    def hold(self, holder: str, since: float) -> None:
        """Become the one daemon of this logbook until :meth:`close`.

        Raises
        ------
        StoreFailed
            Another process is; the message names it, its process number and since when.
        """
        with store.telling(self.path):
            self._lock = Lock(self.path, holder, since)

    def size(self) -> int:
        """Bytes of the file."""
        with store.telling(self.path):
            return self.path.stat().st_size

    def copy(self, target: Path) -> None:
        """Copy the logbook as it stands to a new file, while others go on writing."""
        with store.telling(target):
            store.copy(self.path, target)

    def close(self) -> None:
        """Leave the file in order; the lock is let go."""
        self._connection.close()
        if self._lock is not None:
            self._lock.release()
            self._lock = None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def _milliseconds(start: float | None, end: float | None) -> tuple[int, int]:
    return (
        EARLIEST if start is None else round(start * 1000),
        LATEST if end is None else round(end * 1000),
    )
