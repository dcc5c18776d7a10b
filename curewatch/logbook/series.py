"""Readings as arrays: a stretch of one sensor's time, or its hourly summary."""

from collections.abc import Collection, Iterable, Iterator, Mapping
from itertools import groupby, islice
from operator import itemgetter
from typing import TYPE_CHECKING, Any, NamedTuple

from curewatch.later import Later
from curewatch.logbook import columns, few_rows, rows, strands
from curewatch.logbook.block import READINGS, TIME_SPAN
from curewatch.logbook.columns import Quantity
from curewatch.logbook.derived import HOUR_MS
from curewatch.logbook.tables import Tables
from curewatch.order import distinct
from curewatch.readings import Reading, undated
from curewatch.units import FloatArray

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray
else:
    np = Later("numpy")  # entries are read without it

TOGETHER = 64  # blocks that are unpacked at once: memory for all rows of those
ASKED = 500  # sensors in one question: an old library takes 999 values
EARLIEST, LATEST = -(2**53), 2**53  # ms; wider than any stamp


class BlockRows(NamedTuple):
    """Rows of one block, with the columns of the newest form."""

    block: int
    form: int  # of the block, and so of its lines
    rows: "rows.Rows"


class Series(NamedTuple):
    """Readings of one sensor in the order of their time; ``nan`` where it has no such quantity."""

    time: FloatArray  # UTC [s]
    received: FloatArray  # UTC [s]
    flags: "NDArray[np.uint16]"
    sequence: "NDArray[np.int64]"  # the sender's own running number; rows.NO_SEQUENCE where it keeps none
    quantities: Mapping[str, FloatArray]  # by the names of the table in ``columns``, SI

    @property
    def temperature(self) -> FloatArray:
        """[K]"""
        return self.quantities["temperature"]

    @property
    def relative_humidity(self) -> FloatArray:
        """[1]"""
        return self.quantities["relative_humidity"]

    def dated(self) -> "Series":
        """Without what is of unknown age: its stamp does not tell when it was measured."""
        return self.where(~undated(self.flags))

    def where(self, chosen: "NDArray[np.bool_]") -> "Series":
        """Only these."""
        return self if chosen.all() else self._at(chosen)

    def part(self, begin: int, end: int) -> "Series":
        """From one place to before another; no numbers are copied."""
        return self._at(slice(begin, end))

    def _at(self, chosen: "NDArray[np.bool_] | slice") -> "Series":
        return Series(
            self.time[chosen],
            self.received[chosen],
            self.flags[chosen],
            self.sequence[chosen],
            {name: column[chosen] for name, column in self.quantities.items()},
        )


class Summary(NamedTuple):
    """One quantity by the hour, SI; ``nan`` where nothing was read."""

    readings: "NDArray[np.int64]"
    mean: FloatArray
    lowest: FloatArray
    highest: FloatArray


class Hourly(NamedTuple):
    """One row an hour that has readings."""

    time: FloatArray  # UTC, begin of the hour [s]
    quantities: Mapping[str, Summary]  # those of the table in ``columns`` that are kept by the hour


def series(tables: Tables, sensor: int, start: int, end: int) -> Series:
    """Readings with start <= time < end. [ms]"""
    together = _between(_held(tables, [sensor], start, end), [sensor], start, end)
    if np.any(np.diff(together["time"]) < 0):
        together = together[np.argsort(together["time"], kind="stable")]
    return arranged(together)


def every_series(tables: Tables, numbers: Mapping[int, str], start: int, end: int) -> dict[str, Series]:
    """Readings of these sensors with start <= time < end, each block unpacked once. [ms]"""
    together = _between(_held(tables, numbers, start, end), numbers, start, end)
    together = together.take(np.lexsort((together["time"], together["sensor"])))
    whole, sensor = arranged(together), np.ascontiguousarray(together["sensor"])
    begins = np.searchsorted(sensor, list(numbers), "left").tolist()
    ends = np.searchsorted(sensor, list(numbers), "right").tolist()
    return {
        name: whole.part(begin, stop)
        for name, begin, stop in zip(numbers.values(), begins, ends, strict=True)
    }


def few_readings(
    tables: Tables, numbers: Mapping[int, str], start: int, end: int
) -> dict[str, list[Reading]] | None:
    """The same as readings, without numpy; none if so many blocks must be read that it is quicker with it."""
    last = _open(tables)
    blocks = _blocks(tables, _Wanted(numbers, start, end, last.number))
    if len(blocks) * READINGS > few_rows.MOST:
        return None
    found: dict[int, list[few_rows.Row]] = {number: [] for number in numbers}
    for form, closed, body in (*_closed(tables, blocks), *last.bodies):
        for row in few_rows.read(body, form, closed=closed):
            if row[0] in found and start <= row[1] < end:
                found[row[0]].append(row)
    return {
        numbers[sensor]: [rows.reading(row, numbers[sensor]) for row in sorted(own, key=itemgetter(1))]
        for sensor, own in found.items()
    }


Body = tuple[int, bool, bytes]  # form, whether it is closed, and bytes


class _Open(NamedTuple):
    """The open block, read before the closed ones: whoever writes may close it meanwhile."""

    number: int
    bodies: list[Body]  # one, or none where the last block is closed


class _Wanted(NamedTuple):
    """Whose readings, of which time, out of the blocks before which."""

    sensors: Collection[int]
    start: int  # [ms]
    end: int  # [ms]
    before: int


def _held(tables: Tables, numbers: Collection[int], start: int, end: int) -> Iterator[Body]:
    """All that has readings of these sensors in this time, in the order of the chain. [ms]"""
    last = _open(tables)
    wanted = _Wanted(numbers, start, end, last.number)
    if len(numbers) > strands.FEW:
        yield from _closed(tables, _blocks(tables, wanted))
    else:
        yield from _by_sensor(tables, wanted)
    yield from last.bodies


def _by_sensor(tables: Tables, wanted: _Wanted) -> Iterator[Body]:
    """The strands of a few sensors where there are such, else blocks."""
    on, ends = f"DISTINCT (block - 1) / {strands.SHELF}, sensor", strands.shelf_of(wanted.before)
    blocks: dict[int, list[int]] = {}
    for shelf, here in groupby(sorted(_spans(tables, wanted, on)), itemgetter(0)):
        sensors = [sensor for _, sensor in here]
        found: Iterable[Body] | None = strands.read(tables, shelf, sensors) if shelf < ends else None
        if found is None:
            if not blocks:
                later = f"block > {shelf * strands.SHELF} AND "
                blocks = _by_shelf(block for (block,) in _spans(tables, wanted, "DISTINCT block", later))
            found = _closed(tables, blocks.get(shelf, ()))  # none where they were let go meanwhile
        yield from found


def _by_shelf(blocks: Iterable[int]) -> dict[int, list[int]]:
    return {shelf: list(some) for shelf, some in groupby(sorted(blocks), strands.shelf_of)}


def _blocks(tables: Tables, wanted: _Wanted) -> set[int]:
    return {block for (block,) in _spans(tables, wanted, "DISTINCT block")}


def _spans(tables: Tables, wanted: _Wanted, asked: str, more: str = "") -> Iterator[Any]:
    """What is asked of the index of times."""
    ahead = iter(wanted.sensors)
    while some := list(islice(ahead, ASKED)):
        these = ", ".join("?" * len(some))
        yield from tables.execute(
            f"SELECT {asked} FROM spans WHERE {more} sensor IN ({these})"  # noqa: S608 - words and marks of ours
            " AND earliest BETWEEN ? AND ? AND latest >= ? AND block < ?",
            (*some, wanted.start - TIME_SPAN, wanted.end - 1, wanted.start, wanted.before),
        )


def _closed(tables: Tables, blocks: Iterable[int]) -> Iterator[Body]:
    for number in sorted(blocks):  # but for those that were let go since they were found
        yield from tables.execute(
            "SELECT form, closed, body FROM blocks WHERE number = ? AND body IS NOT NULL", (number,)
        )


def _open(tables: Tables) -> _Open:
    found = tables.execute(
        "SELECT number, closed, form, body FROM blocks ORDER BY number DESC LIMIT 1"
    ).fetchone()
    number, closed, form, body = found or (0, True, 0, b"")
    return _Open(number + 1, []) if closed else _Open(number, [(form, False, body)])


def _between(bodies: Iterable[Body], sensors: Collection[int], start: int, end: int) -> "rows.Rows":
    """Rows of these sensors with start <= time < end, out of bodies as they lie: form, closed, bytes. [ms]"""
    parts = [rows.empty()]
    for (form, closed), alike in groupby(bodies, key=itemgetter(0, 1)):
        while some := [body for *_, body in islice(alike, TOGETHER)]:
            found = rows.read_all(some, form, closed=closed)
            time = found["time"]
            chosen = (time >= start) & (time < end) & np.isin(found["sensor"], list(sensors))
            parts.append(found if chosen.all() else found.take(chosen.nonzero()[0]))
    plain = f"V{rows.empty().itemsize}"  # field by field it takes twenty times as long
    return np.concatenate([part.view(plain) for part in parts]).view(rows.empty().dtype)


def blocks(tables: Tables, sensor: int | None, start: int, end: int) -> Iterator[BlockRows]:
    """Rows with start <= time < end in the order they were appended, block by block. [ms]"""
    bodies = tables.each(
        "SELECT number, form, closed, body FROM blocks WHERE body IS NOT NULL AND (NOT closed OR number IN"
        " (SELECT block FROM spans WHERE earliest < ? AND latest >= ?)) ORDER BY number",
        (end, start),
    )
    for number, form, closed, body in bodies:
        found = rows.read(body, form, closed=closed)
        chosen = (found["time"] >= start) & (found["time"] < end)
        if sensor is not None:
            chosen &= found["sensor"] == sensor
        if chosen.any():
            yield BlockRows(number, form, found[chosen])


def block_rows(tables: Tables, first: int, last: int) -> Iterator[BlockRows]:
    """All rows of these blocks that retention has left."""
    for number, form, closed, body in tables.each(
        "SELECT number, form, closed, body FROM blocks WHERE number BETWEEN ? AND ? AND body IS NOT NULL"
        " ORDER BY number",
        (first, last),
    ):
        yield BlockRows(number, form, rows.read(body, form, closed=closed))


def blocks_between(tables: Tables, start: int, end: int) -> tuple[int, int] | None:
    """First and last block that hold a reading of start <= time < end. [ms]"""
    found = tables.execute(
        "SELECT min(block), max(block) FROM spans WHERE earliest < ? AND latest >= ?", (end, start)
    ).fetchone()
    numbers = [number for number in found if number is not None]
    for number, _, found_rows in block_rows(tables, numbers[-1] + 1 if numbers else 1, 2**62):
        time = found_rows["time"]
        if ((time >= start) & (time < end)).any():
            numbers.append(number)
    return (numbers[0], numbers[-1]) if numbers else None


def arranged(found: rows.Rows) -> Series:
    """Rows in the order of their time as arrays."""
    return Series(
        time=found["time"] / 1e3,
        received=found["received"] / 1e3,
        flags=found["flags"].copy(),
        sequence=found["sequence"].copy(),
        quantities={one.name: one.values(found[one.name]) for one in columns.newest().quantities},
    )


def hourly(tables: Tables, sensor: int, start: int, end: int) -> Hourly:
    """Hours that begin in start <= time < end. [ms]"""
    found = tables.execute(
        "SELECT hour, quantity, readings, lowest, total, highest FROM hours"
        " WHERE sensor = ? AND hour >= ? AND hour < ? ORDER BY hour",
        (sensor, -(-start // HOUR_MS), -(-end // HOUR_MS)),
    ).fetchall()
    table = np.array(found, dtype=np.int64).reshape(len(found), 6)
    hours, _ = distinct(table[:, 0])
    quantities = {
        one.name: _summary(one, hours, table[table[:, 1] == place])
        for place, one in enumerate(columns.newest().quantities)
        if one.hourly
    }
    return Hourly(hours.astype(np.float64) * 3600.0, quantities)


def _summary(quantity: Quantity, hours: "NDArray[np.int64]", table: "NDArray[np.int64]") -> Summary:
    where = np.searchsorted(hours, table[:, 0])
    readings = np.zeros(len(hours), np.int64)
    readings[where] = table[:, 2]
    of_kept = table[:, 3], table[:, 4] / table[:, 2], table[:, 5]
    lowest, mean, highest = (np.full(len(hours), np.nan) for _ in of_kept)
    for column, kept in zip((lowest, mean, highest), of_kept, strict=True):
        column[where] = (kept + quantity.zero) / quantity.scale
    return Summary(readings, mean, lowest, highest)
