"""One sensor's readings of many blocks, kept together where many sensors share each block.

Theory of operation
-------------------
A block holds the rows of all sensors as they came. Of 300 sensors one has two rows in each, so two weeks
of it lie in eleven thousand blocks. When a *shelf* of blocks is full, the rows of each of its sensors are
packed a second time, by themselves: a *strand*. Strands are notes, outside the chain. Who reads a few
sensors takes them in place of the blocks.

Laws. A strand has the rows that its blocks have of the sensor, in their order; ``verify`` compares them.
None is needed: where one is missing, or is not as it was written, the blocks are read. Where readings are
let go, so are the strands that have them.
"""

from collections.abc import Collection, Iterable
from itertools import groupby
from operator import itemgetter
from typing import TYPE_CHECKING
from zlib import crc32

from curewatch.errors import RecordBroken
from curewatch.later import Later
from curewatch.logbook import columns, rows
from curewatch.logbook.tables import Database

if TYPE_CHECKING:
    import numpy as np
else:
    np = Later("numpy")  # entries are read without it

SHELF = 64  # blocks: 34,560 readings, packed anew in 40 ms
FEW = 8  # sensors: who asks for more reads the blocks
SEVERAL = 20  # sensors: a logbook of no more has no strands, and its writer keeps to its memory
FACE = 6  # bytes before the packed rows: their form, and the check sum of the rest

Strand = tuple[int, bool, bytes]  # as a closed block lies: form, that it is closed, packed rows
_NOTE = "INSERT INTO notes VALUES (?, ?) ON CONFLICT (key) DO UPDATE SET value = excluded.value"


def shelf_of(block: int) -> int:
    """The shelf on which this block stands."""
    return (block - 1) // SHELF


def lay(database: Database, block: int) -> None:
    """This block was closed: where it ends a shelf, keep the strands of all blocks of it."""
    if block % SHELF or len(_sensors(database)) <= SEVERAL:
        return
    bodies = database.execute(
        "SELECT form, body FROM blocks WHERE number > ? AND number <= ? AND closed ORDER BY number",
        (block - SHELF, block),
    ).fetchall()
    try:
        ordered, sensors, begins = _by_sensor(_together(bodies))
    except ValueError:  # a block that is not as it was, or was let go: that is for ``verify`` to say
        return
    form, shelf = columns.newest().number, shelf_of(block)
    packed = rows.pack_all(ordered, begins, form)
    keys = (_key(shelf, sensor) for sensor in sensors)
    database.executemany(_NOTE, [(key, _faced(form, body)) for key, body in zip(keys, packed, strict=True)])


def read(database: Database, shelf: int, sensors: Iterable[int]) -> list[Strand] | None:
    """The strands of these sensors; none where one is missing or not as it was written."""
    found = []
    for sensor in sensors:
        strand = _strand(_kept(database, shelf, sensor))
        if strand is None:
            return None
        found.append(strand)
    return found


def let_go(database: Database, blocks: Iterable[int]) -> None:
    """The readings of these blocks are let go, and with them all strands that have some of them."""
    shelves, sensors = {shelf_of(block) for block in blocks}, _sensors(database)
    keys = [(b"", _key(shelf, sensor)) for shelf in shelves for sensor in sensors]
    database.executemany("UPDATE notes SET value = ? WHERE key = ?", keys)


class StrandCheck:
    """Whether strands say what their blocks say. Bounded by the readings of one shelf."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._sensors = _sensors(database)
        self._shelf, self._parts = 0, list[rows.Rows]()

    def take(self, block: int, found: rows.Rows) -> None:
        """The rows of one more block; RecordBroken where a strand of the shelf before it says others."""
        if shelf_of(block) != self._shelf:
            self.end()
            self._shelf = shelf_of(block)
        self._parts.append(found)

    def end(self) -> None:
        """No more of this shelf comes: its last block may be lost."""
        if not self._parts:
            return
        ordered, sensors, begins = _by_sensor(np.concatenate(self._parts))
        self._parts.clear()
        held = dict(zip(sensors, np.split(ordered, begins[1:]), strict=True)) if sensors else {}
        for sensor in self._sensors:
            kept, expected = _kept(self._database, self._shelf, sensor), held.get(sensor, ordered[:0])
            if kept and not _says(kept, expected):
                first = self._shelf * SHELF + 1
                raise RecordBroken(
                    f"the strand of sensor {sensor}, blocks {first} to {first + SHELF - 1}",
                    f"{len(expected)} readings, as in the blocks",
                    "other readings",
                )


def _sensors(database: Database) -> list[int]:
    return [number for (number,) in database.execute("SELECT number FROM sensors").fetchall()]


def _together(bodies: Collection[tuple[int, bytes]]) -> rows.Rows:
    if len(bodies) != SHELF:
        raise ValueError(f"a shelf of {len(bodies)} blocks")
    alike = groupby(bodies, key=itemgetter(0))
    parts = [rows.read_all([body for _, body in some], form, closed=True) for form, some in alike]
    return parts[0] if len(parts) == 1 else np.concatenate(parts)


def _by_sensor(found: rows.Rows) -> tuple[rows.Rows, list[int], list[int]]:
    """The rows sensor by sensor, which sensors these are, and where the rows of each begin."""
    ordered = found[np.argsort(found["sensor"], kind="stable")]
    sensors, begins = np.unique(ordered["sensor"], return_index=True)
    return ordered, sensors.tolist(), begins.tolist()


def _faced(form: int, body: bytes) -> bytes:
    return form.to_bytes(2, "little") + crc32(body).to_bytes(4, "little") + body


def _kept(database: Database, shelf: int, sensor: int) -> bytes:
    found = database.execute("SELECT value FROM notes WHERE key = ?", (_key(shelf, sensor),)).fetchone()
    return found[0] if found and isinstance(found[0], bytes) else b""


def _strand(kept: bytes) -> Strand | None:
    body = kept[FACE:]
    if not body or crc32(body) != int.from_bytes(kept[2:FACE], "little"):
        return None
    return int.from_bytes(kept[:2], "little"), True, body


def _says(kept: bytes, expected: rows.Rows) -> bool:
    """Whether it is a strand of these rows."""
    strand = _strand(kept)
    try:
        return strand is not None and np.array_equal(rows.unpack(strand[2], strand[0]), expected)
    except ValueError:
        return False


def _key(shelf: int, sensor: int) -> str:
    """It names the blocks, so that shelves of another size are other notes."""
    return f"strand {shelf * SHELF + 1}-{(shelf + 1) * SHELF} {sensor}"
