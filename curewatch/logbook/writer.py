"""Appending: one commit for readings, entries, notes and rejections, in the chain and exactly once.

Theory of operation
-------------------
Every commit is alone with the tables (``tables``). If another process has written since the last, what
this one remembers of the end of the chain is read again. A reading that is stored already (same sensor,
time and values) is passed over, so redelivery is harmless. Anything that fails rolls back, and what
is remembered is forgotten: the same batch can be offered again. If it turns out that a commit which failed is
stored (``kept_after_all``), its entries and rejections are passed over, too.
"""

import json
from collections import OrderedDict
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from curewatch.logbook import chain, columns, derived, entry, rows, schema, strands, taking
from curewatch.logbook.block import TIME_SPAN, OpenBlock
from curewatch.logbook.entry import Entry, StoredEntry
from curewatch.logbook.kinds import EntryKind
from curewatch.logbook.parcel import Parcel
from curewatch.logbook.tables import Database, Tables
from curewatch.readings import Reading, Rejected

DAY_MS = 24 * 3_600_000
NAMES = "sensors"  # the note that has the names of the sensors
_SENSOR = "INSERT INTO sensors VALUES (?, ?, 0, 0, 0, 0, ?)"
_NOTE = "INSERT INTO notes VALUES (?, ?) ON CONFLICT (key) DO UPDATE SET value = excluded.value"
NAME_LENGTH = 64  # of sensor, source and reason, as kept
RAW_LENGTH = 120  # bytes of the last rejected raw input, as kept
REJECTED_KINDS = 2000  # rows a day in the table of rejections; beyond it the sensor's name is left out
MOST_KEPT = 1000  # entries, and rejections, that are recognised when they are offered again
RECENT_BLOCKS = 16  # closed blocks remembered to recognise late duplicates; 24 kB each


@dataclass(slots=True)
class _End:
    """What a writer remembers of the end of the logbook. Valid until another one writes."""

    block: OpenBlock
    entries: int  # entries in all
    numbers: dict[str, int]  # sensor name -> number; bounded by the sensors of the shed
    tokens: dict[int, str]
    latest: dict[int, int]  # sensor -> no closed block has a later time [ms]


class _Offered:
    """What a commit was given that the chain alone does not recognise when it comes again."""

    def __init__(self) -> None:
        self.entries: list[tuple[Entry, StoredEntry]] = []
        self.rejected: list[Rejected] = []

    def add(self, other: "_Offered") -> None:
        """This, too; of all the newest."""
        self.entries = (self.entries + other.entries)[-MOST_KEPT:]
        self.rejected = (self.rejected + other.rejected)[-MOST_KEPT:]


class Writer:
    """The one that appends."""

    def __init__(self, tables: Tables, path: Path) -> None:
        self._tables = tables
        self._path = path  # for messages
        self._end: _End | None = None
        self._offered = _Offered()  # in this commit, or the one that failed last
        self._kept = _Offered()  # in commits that failed and are stored after all
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
            self._tables.executemany(_NOTE, notes.items())
            self._count_rejected(rejected)
        return new, written

    def tell_rejections(self, at: float) -> StoredEntry | None:
        """Write what was rejected since the last such entry into the chain; none if nothing was. [s]"""
        with self._transaction() as end:
            counts = [
                {"source": source, "sensor": sensor, "reason": reason, "times": times}
                for source, sensor, reason, times in self._tables.execute(
                    "SELECT source, sensor, reason, sum(count - told) FROM rejected WHERE count > told"
                    " GROUP BY source, sensor, reason"
                )
            ]
            if not counts:
                return None
            written = self._take_entry(end, Entry(EntryKind.REJECTED, {"end": at, "counts": counts}, at))
            self._save_block(end)
            self._tables.execute("UPDATE rejected SET told = count WHERE count > told")
        return written

    def close_block(self) -> chain.Head:
        """End the open block, so that its head is final; where the chain stands then."""
        with self._transaction() as end:
            if end.block.opened is not None:
                self._next_block(end)
            return head(self._tables)  # before another process can begin the next block

    def drop_bodies(self, numbers: Iterable[int], told: Entry) -> None:
        """Let go of the readings of closed blocks, and write down that this was done."""
        gone = list(numbers)
        with self._transaction() as end:
            self._take_entry(end, told)
            self._save_block(end)
            for number in gone:
                self._tables.drop_body(number)
            self._tables.execute(
                "DELETE FROM spans WHERE block IN (SELECT number FROM blocks WHERE body IS NULL)"
            )
            strands.let_go(self._tables, gone)

    def take_block(self, taken: Parcel) -> bool:
        """Keep a block of this chain that another store closed; whether it was new."""
        face = taken.face
        with self._transaction() as end:
            if not taking.is_next(self._tables, end.block, end.entries, taken):
                return False
            self._tables.executemany(
                f"{_SENSOR} ON CONFLICT DO NOTHING",
                [(number, name, b"") for number, name in taken.names.items()],
            )
            self._note_names()
            opened = taking.opened(taken)
            self._tables.lay_block(face, opened, taken.head, taken.body)
            for one in taken.entries:
                self._insert_entry(one)
            self._tables.executemany(
                "INSERT INTO spans VALUES (?, ?, ?, ?)",
                [(sensor, first, face.number, last) for sensor, first, last in rows.spans(taken.rows)],
            )
            derived.roll_up(self._tables, taken.rows)
            strands.lay(self._tables, face.number)
            self._end = None  # the chain stands elsewhere now; read it again
        return True

    @contextmanager
    def _transaction(self) -> Iterator[_End]:
        """One commit; if anything fails, none of it, and what is remembered is forgotten."""
        try:
            with self._tables.commit() as alone:
                if self._tables.kept_after_all:
                    self._kept.add(self._offered)
                self._offered = _Offered()
                yield self._synchronised(alone=alone)
        except BaseException:
            self._end = None
            raise

    # -- what is remembered ---------------------------------------------------------------------

    def _synchronised(self, *, alone: bool) -> _End:
        if self._end is None or not alone:
            self._recent.clear()
            self._end = self._read_end()
            if self._end.block.form != columns.newest().number:  # begun before a quantity was added
                self._next_block(self._end)
        return self._end

    def _read_end(self) -> _End:
        one = self._tables.execute
        numbers = {name: number for number, name in one("SELECT number, name FROM sensors")}
        tokens = {number: rows.token(name) for name, number in numbers.items()}
        latest = dict(one("SELECT number, latest FROM sensors WHERE readings > 0").fetchall())
        entries = one("SELECT coalesce(max(number), 0) FROM entries").fetchone()[0]
        return _End(self._read_block(tokens), entries, numbers, tokens, latest)

    def _read_block(self, tokens: Mapping[int, str]) -> OpenBlock:
        one = self._tables.execute
        last = one(
            "SELECT closed, opened, body, head, form, number, previous, readings, readings_digest, entries,"
            " entries_digest FROM blocks ORDER BY number DESC LIMIT 1"
        ).fetchone()
        if last is None:
            return OpenBlock(1, chain.FIRST)
        closed, opened, body, head, form, number, *rest = last
        schema.check_form(form, self._path)  # a newer program has written since
        if closed:
            return OpenBlock(number + 1, head)
        face = chain.Face(form, number, *rest)
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
        self._tables.close_as_it_stands(face.number, kept)
        if block is not None:
            self._write_spans(block)

    # -- readings -------------------------------------------------------------------------------

    def _take_readings(self, end: _End, readings: Iterable[Reading]) -> int:
        new, known = 0, len(end.tokens)
        for reading in readings:
            number = end.numbers.get(reading.sensor) or self._number(end, reading.sensor)
            values = rows.row(reading, number)
            same = rows.same(values)
            if same in end.block.known or self._is_in_a_closed_block(end, values):
                continue
            if end.block.full_for(values):
                self._next_block(end)
            end.block.take(values, same)
            new += 1
        if len(end.tokens) > known:  # once a commit: each time it writes all of them
            self._note_names()
        return new

    def _number(self, end: _End, name: str) -> int:
        kept = _kept(name)
        number = end.numbers.get(kept)
        if number is None:
            number = len(end.tokens) + 1
            self._tables.execute(_SENSOR, (number, kept, b""))
            end.tokens[number] = rows.token(kept)
            end.numbers[kept] = number
        return number

    def _note_names(self) -> None:
        """The sensors' names a second time, on another page: without them no block can be checked."""
        names = dict(self._tables.execute("SELECT number, name FROM sensors"))
        self._tables.execute(_NOTE, (NAMES, json.dumps(names).encode()))

    def _is_in_a_closed_block(self, end: _End, values: tuple[int, ...]) -> bool:
        if values[1] > end.latest.get(values[0], -(2**63)):
            return False
        candidates = self._tables.execute(
            "SELECT block FROM spans WHERE sensor = ? AND earliest BETWEEN ? AND ? AND latest >= ?",
            (values[0], values[1] - TIME_SPAN, values[1], values[1]),
        ).fetchall()
        return any(rows.holds(*self._closed(number), values) for (number,) in candidates)

    def _closed(self, number: int) -> tuple[rows.Rows, int]:
        """The rows of a closed block, and its form. As sets of marks they took ten times as much."""
        known = self._recent.get(number)
        if known is None:
            form, body = self._tables.execute(
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
        for offered, kept in self._kept.entries:
            if offered == new:
                return kept
        if new.key is not None:
            found = self._tables.execute("SELECT line FROM entries WHERE key = ?", (new.key,)).fetchone()
            if found:
                return entry.stored(found[0])
        recorded = round((new.at if new.recorded is None else new.recorded) * 1000)
        if end.block.full_for_entry(recorded):
            self._next_block(end)
        number = end.entries + 1
        text = entry.line(new, number, end.block.number)
        end.block.take_entry(text, recorded)
        end.entries = number
        written = self._insert_entry(entry.stored(text))
        self._offered.entries.append((new, written))
        return written

    def _insert_entry(self, one: StoredEntry) -> StoredEntry:
        self._tables.execute(
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
        strands.lay(self._tables, block.number)
        for sensor, (_, last) in block.spans.items():
            end.latest[sensor] = max(last, end.latest.get(sensor, last))
        end.block = OpenBlock(block.number + 1, chain.head(block.face()))

    def _write_spans(self, block: OpenBlock) -> None:
        self._tables.executemany(
            "INSERT INTO spans VALUES (?, ?, ?, ?)",
            [(sensor, first, block.number, last) for sensor, (first, last) in block.spans.items()],
        )

    def _save_block(self, end: _End, *, closed: bool = False) -> None:
        block = end.block
        if block.opened is None:
            return
        taken = block.settle(end.tokens)
        derived.roll_up(self._tables, taken)
        self._tables.save_block(block, taken, closed=closed)

    def _count_rejected(self, rejected: Iterable[Rejected]) -> None:
        for one in rejected:
            if one in self._kept.rejected:
                continue
            self._offered.rejected.append(one)
            day, at = int(one.at * 1000) // DAY_MS, round(one.at * 1000)
            names = _kept(one.source), _kept(one.sensor), _kept(one.reason)
            (kinds,) = self._tables.execute("SELECT count(*) FROM rejected WHERE day = ?", (day,)).fetchone()
            if kinds >= REJECTED_KINDS:
                names = "", "", names[2]
            self._tables.execute(
                "INSERT INTO rejected (day, source, sensor, reason, count, last_at, last_raw)"
                " VALUES (?, ?, ?, ?, 1, ?, ?) ON CONFLICT (day, source, sensor, reason) DO UPDATE SET"
                " count = rejected.count + 1, last_at = excluded.last_at, last_raw = excluded.last_raw",
                (day, *names, at, one.raw[:RAW_LENGTH]),
            )


def head(database: Database) -> chain.Head:
    """Where the chain stands."""
    found = database.execute(
        "SELECT number, head, (SELECT coalesce(sum(readings), 0) FROM sensors),"
        " (SELECT coalesce(max(number), 0) FROM entries) FROM blocks ORDER BY number DESC LIMIT 1"
    ).fetchone()
    return chain.Head(0, chain.FIRST, 0, 0) if found is None else chain.Head(*found)


def _kept(name: str) -> str:
    """A name as it is kept: bounded, and text that UTF-8 and every database can say."""
    return name[:NAME_LENGTH].encode(errors="replace").decode().replace("\0", "\ufffd")
