"""Appending: one commit for readings, entries, notes and rejections, in the chain and exactly once.

Theory of operation
-------------------
Every commit begins by taking SQLite's write lock. If another process has written since, what this
one remembers of the end of the chain is read again. A reading that is stored already (same sensor,
time and values) is passed over, so redelivery is harmless. Anything that fails rolls back, and what
is remembered is forgotten: the same batch can be offered again.
"""

import sqlite3
from collections import OrderedDict
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from curewatch.logbook import chain, columns, entry, rows, schema, taking
from curewatch.logbook.block import TIME_SPAN, OpenBlock
from curewatch.logbook.entry import Entry, StoredEntry
from curewatch.logbook.kinds import EntryKind
from curewatch.logbook.parcel import Parcel
from curewatch.readings import Reading, Rejected, undated

HOUR_MS = 3_600_000
DAY_MS = 24 * HOUR_MS
NAME_LENGTH = 64  # of sensor, source and reason, as kept
RAW_LENGTH = 120  # bytes of the last rejected raw input, as kept
REJECTED_KINDS = 2000  # rows a day in the table of rejections; beyond it the sensor's name is left out
RECENT_BLOCKS = 16  # closed blocks remembered to recognise late duplicates; 24 kB each


@dataclass(slots=True)
class _End:
    """What a writer remembers of the end of the logbook. Valid for one value of ``seen``."""

    seen: int  # SQLite's data_version: changes when another connection commits
    block: OpenBlock
    entries: int  # entries in all
    numbers: dict[str, int]  # sensor name -> number; bounded by the sensors of the shed
    tokens: dict[int, str]
    closed_latest: dict[int, int]  # sensor -> latest time in a closed block [ms]


class Writer:
    """The one that appends, over an open connection."""

    def __init__(self, connection: sqlite3.Connection, path: Path) -> None:
        self._connection = connection
        self._path = path  # for messages
        self._end: _End | None = None
        self._recent: OrderedDict[int, tuple[rows.Rows, int]] = OrderedDict()  # <= RECENT_BLOCKS

    def append(
        self,
        readings: Iterable[Reading],
        entries: Iterable[Entry],
        notes: Mapping[str, bytes],
        rejected: Iterable[Rejected],
    ) -> tuple[int, list[StoredEntry]]:
        """All of it in one commit: the number of readings that were new, and the entries as stored."""
        with self._transaction() as end:
            new = self._take_readings(end, readings)
            written = [self._take_entry(end, one) for one in entries]
            self._save_block(end)
            self._connection.executemany("INSERT OR REPLACE INTO notes VALUES (?, ?)", notes.items())
            self._count_rejected(rejected)
        return new, written

    def tell_rejections(self, at: float) -> StoredEntry | None:
        """Write what was rejected since the last such entry into the chain; none if nothing was. [s]"""
        with self._transaction() as end:
            counts = [
                {"source": source, "sensor": sensor, "reason": reason, "times": times}
                for source, sensor, reason, times in self._connection.execute(
                    "SELECT source, sensor, reason, sum(count - told) FROM rejected WHERE count > told"
                    " GROUP BY source, sensor, reason"
                )
            ]
            if not counts:
                return None
            written = self._take_entry(end, Entry(EntryKind.REJECTED, {"end": at, "counts": counts}, at))
            self._save_block(end)
            self._connection.execute("UPDATE rejected SET told = count WHERE count > told")
        return written

    def close_block(self) -> chain.Head:
        """End the open block, so that its head is final; where the chain stands then."""
        with self._transaction() as end:
            if end.block.opened is not None:
                self._next_block(end)
            return head(self._connection)  # before another process can begin the next block

    def drop_bodies(self, numbers: Iterable[int], told: Entry) -> None:
        """Let go of the readings of closed blocks, and write down that this was done."""
        with self._transaction() as end:
            self._take_entry(end, told)
            self._save_block(end)
            for number in numbers:
                self._connection.execute(
                    "UPDATE blocks SET body = NULL WHERE number = ? AND closed", (number,)
                )
            self._connection.execute(
                "DELETE FROM spans WHERE block IN (SELECT number FROM blocks WHERE body IS NULL)"
            )

    def take_block(self, taken: Parcel) -> bool:
        """Keep a block of this chain that another store closed; whether it was new."""
        face = taken.face
        with self._transaction() as end:
            if not taking.is_next(self._connection, end.block, end.entries, taken):
                return False
            self._connection.executemany(
                "INSERT OR IGNORE INTO sensors VALUES (?, ?, 0, 0, 0, 0, x'')", taken.names.items()
            )
            self._connection.execute(
                "INSERT INTO blocks VALUES (?, ?, 1, ?, ?, ?, ?, ?, ?, ?)",
                (
                    taken.face.number,
                    taken.face.form,
                    taking.opened(taken),
                    *taken.face[3:],
                    taken.head,
                    taken.body,
                ),
            )
            for one in taken.entries:
                self._insert_entry(one)
            self._connection.executemany(
                "INSERT INTO spans VALUES (?, ?, ?, ?)",
                [(sensor, first, face.number, last) for sensor, first, last in rows.spans(taken.rows)],
            )
            self._roll_up(taken.rows)
            self._end = None  # the chain stands elsewhere now; read it again
        return True

    @contextmanager
    def _transaction(self) -> Iterator[_End]:
        """One commit; if anything fails, none of it, and what is remembered is forgotten."""
        self._connection.execute("BEGIN IMMEDIATE")
        try:
            yield self._synchronised()
            self._connection.execute("COMMIT")
        except BaseException:
            self._end = None
            if self._connection.in_transaction:
                self._connection.execute("ROLLBACK")
            raise

    # -- what is remembered ---------------------------------------------------------------------

    def _synchronised(self) -> _End:
        seen = int(self._connection.execute("PRAGMA data_version").fetchone()[0])
        if self._end is None or self._end.seen != seen:
            self._recent.clear()
            self._end = self._read_end(seen)
            if self._end.block.form != columns.newest().number:  # begun before a quantity was added
                self._next_block(self._end)
        return self._end

    def _read_end(self, seen: int) -> _End:
        one = self._connection.execute
        numbers = {name: number for number, name in one("SELECT number, name FROM sensors")}
        tokens = {number: rows.token(name) for name, number in numbers.items()}
        closed_latest = dict(one("SELECT sensor, max(latest) FROM spans GROUP BY sensor").fetchall())
        entries = one("SELECT coalesce(max(number), 0) FROM entries").fetchone()[0]
        return _End(seen, self._read_block(tokens), entries, numbers, tokens, closed_latest)

    def _read_block(self, tokens: Mapping[int, str]) -> OpenBlock:
        one = self._connection.execute
        last = one(
            "SELECT form, number, closed, opened, readings, readings_digest, entries, entries_digest,"
            " head, body FROM blocks ORDER BY number DESC LIMIT 1"
        ).fetchone()
        if last is None:
            return OpenBlock(1, chain.FIRST)
        form, number, closed, opened, *counts, head, body = last
        schema.check_form(form, self._path)  # a newer program has written since
        if closed:
            return OpenBlock(number + 1, head)
        before = one("SELECT head FROM blocks WHERE number = ?", (number - 1,)).fetchone()
        face = chain.Face(form, number, before[0] if before else chain.FIRST, *counts)
        texts = [
            text for (text,) in one("SELECT line FROM entries WHERE block = ? ORDER BY number", (number,))
        ]
        try:
            block = OpenBlock.restore(face, opened, body, texts, tokens)
        except (ValueError, KeyError):
            block = None
        if block is not None and block.face() == face and chain.head(face) == head:
            return block
        self._leave_as_it_stands(face, body, block)
        return OpenBlock(number + 1, head)

    def _leave_as_it_stands(self, face: chain.Face, body: bytes, block: OpenBlock | None) -> None:
        """Close a block that is not what its head says, without a new head: whoever verifies will see it.

        Going on from its changed lines would give them a head of their own. Refusing to go on would
        lose what comes in now; so the chain goes on from the head that stands.
        """
        kept = body if block is None else rows.pack(block.rows(), face.form)
        self._connection.execute(
            "UPDATE blocks SET closed = 1, body = ? WHERE number = ?", (kept, face.number)
        )
        if block is not None:
            self._write_spans(block)

    # -- readings -------------------------------------------------------------------------------

    def _take_readings(self, end: _End, readings: Iterable[Reading]) -> int:
        new = 0
        for reading in readings:
            number = end.numbers.get(reading.sensor) or self._number(end, reading.sensor)
            values = rows.row(reading, number)
            if self._stored(end, values):
                continue
            if end.block.full_for(values):
                self._next_block(end)
            end.block.take(values)
            new += 1
        return new

    def _number(self, end: _End, name: str) -> int:
        kept = _kept(name)
        number = end.numbers.get(kept)
        if number is None:
            number = len(end.tokens) + 1
            self._connection.execute("INSERT INTO sensors VALUES (?, ?, 0, 0, 0, 0, x'')", (number, kept))
            end.tokens[number] = rows.token(kept)
            end.numbers[kept] = number
        return number

    def _stored(self, end: _End, values: tuple[int, ...]) -> bool:
        if rows.same(values) in end.block.known:
            return True
        if values[1] > end.closed_latest.get(values[0], -(2**63)):
            return False
        candidates = self._connection.execute(
            "SELECT block FROM spans WHERE sensor = ? AND earliest BETWEEN ? AND ? AND latest >= ?",
            (values[0], values[1] - TIME_SPAN, values[1], values[1]),
        ).fetchall()
        return any(rows.holds(*self._closed(number), values) for (number,) in candidates)

    def _closed(self, number: int) -> tuple[rows.Rows, int]:
        """The rows of a closed block, and its form. As sets of marks they took ten times as much."""
        known = self._recent.get(number)
        if known is None:
            form, body = self._connection.execute(
                "SELECT form, body FROM blocks WHERE number = ?", (number,)
            ).fetchone()
            known = self._recent[number] = rows.unpack(body, form), form
            if len(self._recent) > RECENT_BLOCKS:
                self._recent.popitem(last=False)
        else:
            self._recent.move_to_end(number)
        return known

    # -- entries --------------------------------------------------------------------------------

    def _take_entry(self, end: _End, new: Entry) -> StoredEntry:
        if new.key is not None:
            found = self._connection.execute("SELECT line FROM entries WHERE key = ?", (new.key,)).fetchone()
            if found:
                return entry.stored(found[0])
        recorded = round((new.at if new.recorded is None else new.recorded) * 1000)
        if end.block.full_for_entry(recorded):
            self._next_block(end)
        number = end.entries + 1
        text = entry.line(new, number, end.block.number)
        end.block.take_entry(text, recorded)
        end.entries = number
        return self._insert_entry(entry.stored(text))

    def _insert_entry(self, one: StoredEntry) -> StoredEntry:
        self._connection.execute(
            "INSERT INTO entries VALUES (?, ?, ?, ?, ?, ?, ?)",
            (one.number, one.block, one.kind, one.job, round(one.at * 1000), one.key, one.line),
        )
        return one

    # -- blocks ---------------------------------------------------------------------------------

    def _next_block(self, end: _End) -> None:
        """Close the open block and begin the next."""
        self._save_block(end, closed=True)
        block = end.block
        self._write_spans(block)
        for sensor, (_, last) in block.spans.items():
            end.closed_latest[sensor] = max(last, end.closed_latest.get(sensor, last))
        end.block = OpenBlock(block.number + 1, chain.head(block.face()))

    def _write_spans(self, block: OpenBlock) -> None:
        self._connection.executemany(
            "INSERT INTO spans VALUES (?, ?, ?, ?)",
            [(sensor, first, block.number, last) for sensor, (first, last) in block.spans.items()],
        )

    def _save_block(self, end: _End, *, closed: bool = False) -> None:
        block = end.block
        if block.opened is None:
            return
        self._roll_up(block.settle(end.tokens))
        face = block.face()
        body = rows.pack(block.rows(), block.form) if closed else bytes(block.body)
        self._connection.execute(
            "INSERT OR REPLACE INTO blocks VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (block.number, block.form, closed, block.opened, *face[3:], chain.head(face), body),
        )

    def _roll_up(self, new: rows.Rows) -> None:
        """Bring the hourly rollup and each sensor's last word up to these new rows."""
        hourly = [place for place, one in enumerate(columns.newest().quantities) if one.hourly]
        hours: dict[tuple[int, int, int], list[int]] = {}
        last: dict[int, list[tuple[int, ...]]] = {}
        for values in new.tolist():
            last.setdefault(values[0], []).append(values)
            if undated(values[3]):
                continue  # nobody knows of which hour it is
            for place in hourly:
                kept = values[rows.QUANTITIES_FROM + place]
                if kept != columns.NOTHING:
                    hours.setdefault((values[0], values[1] // HOUR_MS, place), []).append(kept)
        self._connection.executemany(
            _HOUR, [(*key, len(all_), min(all_), sum(all_), max(all_)) for key, all_ in hours.items()]
        )
        self._connection.executemany(_SENSOR, [_sensor_row(*one) for one in last.items()])

    def _count_rejected(self, rejected: Iterable[Rejected]) -> None:
        for one in rejected:
            day, at = int(one.at * 1000) // DAY_MS, round(one.at * 1000)
            names = _kept(one.source), _kept(one.sensor), _kept(one.reason)
            (kinds,) = self._connection.execute(
                "SELECT count(*) FROM rejected WHERE day = ?", (day,)
            ).fetchone()
            if kinds >= REJECTED_KINDS:
                names = "", "", names[2]
            self._connection.execute(
                "INSERT INTO rejected (day, source, sensor, reason, count, last_at, last_raw)"
                " VALUES (?, ?, ?, ?, 1, ?, ?) ON CONFLICT DO UPDATE SET"
                " count = count + 1, last_at = excluded.last_at, last_raw = excluded.last_raw",
                (day, *names, at, one.raw[:RAW_LENGTH]),
            )


def head(connection: sqlite3.Connection) -> chain.Head:
    """Where the chain stands."""
    found = connection.execute(
        "SELECT number, head, (SELECT coalesce(sum(readings), 0) FROM sensors),"
        " (SELECT coalesce(max(number), 0) FROM entries) FROM blocks ORDER BY number DESC LIMIT 1"
    ).fetchone()
    return chain.Head(0, chain.FIRST, 0, 0) if found is None else chain.Head(*found)


_HOUR = (
    "INSERT INTO hours VALUES (?, ?, ?, ?, ?, ?, ?) ON CONFLICT DO UPDATE SET"
    " readings = readings + excluded.readings, lowest = min(lowest, excluded.lowest),"
    " total = total + excluded.total, highest = max(highest, excluded.highest)"
)
_SENSOR = (
    "UPDATE sensors SET earliest = CASE readings WHEN 0 THEN :earliest ELSE min(earliest, :earliest) END,"
    " form = CASE WHEN readings = 0 OR :latest >= latest THEN :form ELSE form END,"
    " last = CASE WHEN readings = 0 OR :latest >= latest THEN :last ELSE last END,"
    " latest = CASE readings WHEN 0 THEN :latest ELSE max(latest, :latest) END,"
    " readings = readings + :readings WHERE number = :sensor"
)


def _kept(name: str) -> str:
    """A name as it is kept: bounded, and text that UTF-8 can say."""
    return name[:NAME_LENGTH].encode(errors="replace").decode()


def _sensor_row(sensor: int, taken: list[tuple[int, ...]]) -> dict[str, int | bytes]:
    latest = max(taken, key=lambda values: values[1])
    return {
        "sensor": sensor,
        "earliest": min(values[1] for values in taken),
        "latest": latest[1],
        "form": columns.newest().number,
        "last": rows.of([latest]).tobytes(),
        "readings": len(taken),
    }
