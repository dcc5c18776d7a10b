"""Readings as arrays: a stretch of one sensor's time, or its hourly summary."""

import sqlite3
from collections.abc import Iterator, Mapping
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from curewatch.logbook import columns, rows
from curewatch.logbook.block import TIME_SPAN
from curewatch.logbook.columns import Quantity
from curewatch.logbook.writer import HOUR_MS
from curewatch.readings import undated
from curewatch.units import FloatArray

EARLIEST, LATEST = -(2**53), 2**53  # ms; wider than any stamp


class BlockRows(NamedTuple):
    """Rows of one block, with the columns of the newest form."""

    block: int
    form: int  # of the block, and so of its lines
    rows: rows.Rows


class Series(NamedTuple):
    """Readings of one sensor in the order of their time; ``nan`` where it has no such quantity."""

    time: FloatArray  # UTC [s]
    received: FloatArray  # UTC [s]
    flags: NDArray[np.uint16]
    sequence: NDArray[np.int64]  # the sender's own running number; rows.NO_SEQUENCE where it keeps none
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
        known = ~undated(self.flags)
        return Series(
            self.time[known],
            self.received[known],
            self.flags[known],
            self.sequence[known],
            {name: column[known] for name, column in self.quantities.items()},
        )


class Summary(NamedTuple):
    """One quantity by the hour, SI; ``nan`` where nothing was read."""

    readings: NDArray[np.int64]
    mean: FloatArray
    lowest: FloatArray
    highest: FloatArray


class Hourly(NamedTuple):
    """One row an hour that has readings."""

    time: FloatArray  # UTC, begin of the hour [s]
    quantities: Mapping[str, Summary]  # those of the table in ``columns`` that are kept by the hour


def series(connection: sqlite3.Connection, sensor: int, start: int, end: int) -> Series:
    """Readings with start <= time < end. [ms]"""
    bodies = connection.execute(
        "SELECT b.form, b.closed, b.body FROM spans s JOIN blocks b ON b.number = s.block"
        " WHERE s.sensor = ? AND s.earliest BETWEEN ? AND ? AND s.latest >= ?"
        " UNION ALL SELECT form, closed, body FROM blocks WHERE number = (SELECT max(number) FROM blocks)"
        " AND NOT closed",
        (sensor, start - TIME_SPAN, end - 1, start),
    )
    parts = [rows.empty()]
    for form, closed, body in bodies:
        found = rows.read(body, form, closed=closed)
        time = found["time"]
        parts.append(found[(found["sensor"] == sensor) & (time >= start) & (time < end)])
    together = np.concatenate(parts)
    if np.any(np.diff(together["time"]) < 0):
        together = together[np.argsort(together["time"], kind="stable")]
    return arranged(together)


def blocks(connection: sqlite3.Connection, sensor: int | None, start: int, end: int) -> Iterator[BlockRows]:
    """Rows with start <= time < end in the order they were appended, block by block. [ms]"""
    bodies = connection.execute(
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


def block_rows(connection: sqlite3.Connection, first: int, last: int) -> Iterator[BlockRows]:
    """All rows of these blocks that retention has left."""
    for number, form, closed, body in connection.execute(
        "SELECT number, form, closed, body FROM blocks WHERE number BETWEEN ? AND ? AND body IS NOT NULL"
        " ORDER BY number",
        (first, last),
    ):
        yield BlockRows(number, form, rows.read(body, form, closed=closed))


def blocks_between(connection: sqlite3.Connection, start: int, end: int) -> tuple[int, int] | None:
    """First and last block that hold a reading of start <= time < end. [ms]"""
    found = connection.execute(
        "SELECT min(block), max(block) FROM spans WHERE earliest < ? AND latest >= ?", (end, start)
    ).fetchone()
    numbers = [number for number in found if number is not None]
    for number, _, found_rows in block_rows(connection, numbers[-1] + 1 if numbers else 1, 2**62):
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


def hourly(connection: sqlite3.Connection, sensor: int, start: int, end: int) -> Hourly:
    """Hours that begin in start <= time < end. [ms]"""
    found = connection.execute(
        "SELECT hour, quantity, readings, lowest, total, highest FROM hours"
        " WHERE sensor = ? AND hour >= ? AND hour < ? ORDER BY hour",
        (sensor, -(-start // HOUR_MS), -(-end // HOUR_MS)),
    ).fetchall()
    table = np.array(found, dtype=np.int64).reshape(len(found), 6)
    hours = np.unique(table[:, 0])
    quantities = {
        one.name: _summary(one, hours, table[table[:, 1] == place])
        for place, one in enumerate(columns.newest().quantities)
        if one.hourly
    }
    return Hourly(hours.astype(np.float64) * 3600.0, quantities)


def _summary(quantity: Quantity, hours: NDArray[np.int64], table: NDArray[np.int64]) -> Summary:
    where = np.searchsorted(hours, table[:, 0])
    readings = np.zeros(len(hours), np.int64)
    readings[where] = table[:, 2]
    of_kept = table[:, 3], table[:, 4] / table[:, 2], table[:, 5]
    lowest, mean, highest = (np.full(len(hours), np.nan) for _ in of_kept)
    for column, kept in zip((lowest, mean, highest), of_kept, strict=True):
        column[where] = (kept + quantity.zero) / quantity.scale
    return Summary(readings, mean, lowest, highest)
