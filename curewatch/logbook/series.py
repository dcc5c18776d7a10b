"""Readings as arrays: a stretch of one sensor's time, or its hourly summary."""

import sqlite3
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from curewatch.logbook import rows
from curewatch.logbook.block import TIME_SPAN
from curewatch.logbook.writer import HOUR_MS
from curewatch.readings import undated
from curewatch.units import FloatArray

EARLIEST, LATEST = -(2**53), 2**53  # ms; wider than any stamp


class Series(NamedTuple):
    """Readings of one sensor in the order of their time; ``nan`` where it has no such quantity."""

    time: FloatArray  # UTC [s]
    received: FloatArray  # UTC [s]
    temperature: FloatArray  # [K]
    relative_humidity: FloatArray  # [1]
    carbon_dioxide: FloatArray  # mole fraction [1]
    battery: FloatArray  # [1]
    flags: NDArray[np.uint16]
    sequence: NDArray[np.int64]  # the sender's own running number; rows.NO_SEQUENCE where it keeps none

    def dated(self) -> "Series":
        """Without what is of unknown age: its stamp does not tell when it was measured."""
        known = ~undated(self.flags)
        return Series(*(column[known] for column in self))


class Hourly(NamedTuple):
    """One row an hour that has readings; ``nan`` where it has no such quantity."""

    time: FloatArray  # UTC, begin of the hour [s]
    readings: NDArray[np.int64]  # with a temperature
    temperature: FloatArray  # mean [K]
    temperature_lowest: FloatArray
    temperature_highest: FloatArray
    relative_humidity: FloatArray  # mean [1]
    relative_humidity_lowest: FloatArray
    relative_humidity_highest: FloatArray


def series(connection: sqlite3.Connection, sensor: int, start: int, end: int) -> Series:
    """Readings with start <= time < end. [ms]"""
    bodies = connection.execute(
        "SELECT b.closed, b.body FROM spans s JOIN blocks b ON b.number = s.block"
        " WHERE s.sensor = ? AND s.earliest BETWEEN ? AND ? AND s.latest >= ?"
        " UNION ALL SELECT closed, body FROM blocks WHERE number = (SELECT max(number) FROM blocks)"
        " AND NOT closed",
        (sensor, start - TIME_SPAN, end - 1, start),
    )
    parts = [rows.empty()]
    for closed, body in bodies:
        found = rows.unpack(body) if closed else rows.from_bytes(body)
        time = found["time"]
        parts.append(found[(found["sensor"] == sensor) & (time >= start) & (time < end)])
    together = np.concatenate(parts)
    if np.any(np.diff(together["time"]) < 0):
        together = together[np.argsort(together["time"], kind="stable")]
    return _series(together)


def blocks(
    connection: sqlite3.Connection, sensor: int | None, start: int, end: int
) -> Iterator[tuple[int, rows.Rows]]:
    """Rows with start <= time < end in the order they were appended, block by block. [ms]"""
    bodies = connection.execute(
        "SELECT number, closed, body FROM blocks WHERE body IS NOT NULL AND (NOT closed OR number IN"
        " (SELECT block FROM spans WHERE earliest < ? AND latest >= ?)) ORDER BY number",
        (end, start),
    )
    for number, closed, body in bodies:
        found = rows.unpack(body) if closed else rows.from_bytes(body)
        chosen = (found["time"] >= start) & (found["time"] < end)
        if sensor is not None:
            chosen &= found["sensor"] == sensor
        if chosen.any():
            yield number, found[chosen]


def block_rows(connection: sqlite3.Connection, first: int, last: int) -> Iterator[tuple[int, rows.Rows]]:
    """All rows of these blocks that retention has left."""
    for number, closed, body in connection.execute(
        "SELECT number, closed, body FROM blocks WHERE number BETWEEN ? AND ? AND body IS NOT NULL"
        " ORDER BY number",
        (first, last),
    ):
        yield number, rows.unpack(body) if closed else rows.from_bytes(body)


def blocks_between(connection: sqlite3.Connection, start: int, end: int) -> tuple[int, int] | None:
    """First and last block that hold a reading of start <= time < end. [ms]"""
    found = connection.execute(
        "SELECT min(block), max(block) FROM spans WHERE earliest < ? AND latest >= ?", (end, start)
    ).fetchone()
    numbers = [number for number in found if number is not None]
    for number, rows_found in block_rows(connection, numbers[-1] + 1 if numbers else 1, 2**62):
        time = rows_found["time"]
        if ((time >= start) & (time < end)).any():
            numbers.append(number)
    return (numbers[0], numbers[-1]) if numbers else None


def _series(found: rows.Rows) -> Series:
    return Series(
        time=found["time"] / 1e3,
        received=found["received"] / 1e3,
        temperature=_or_nan(found["temperature"], rows.MILLIKELVIN_AT_ZERO, 1e3),
        relative_humidity=_or_nan(found["humidity"], 0, 1e5),
        carbon_dioxide=_or_nan(found["carbon_dioxide"], 0, 1e7),
        battery=_or_nan(found["battery"], 0, 1e5),
        flags=found["flags"].copy(),
        sequence=found["sequence"].copy(),
    )


def _or_nan(column: NDArray[np.int32], offset: int, scale: float) -> FloatArray:
    return np.where(column == rows.NOTHING, np.nan, (column.astype(np.int64) + offset) / scale)


def hourly(connection: sqlite3.Connection, sensor: int, start: int, end: int) -> Hourly:
    """Hours that begin in start <= time < end. [ms]"""
    found = connection.execute(
        "SELECT hour, temperatures, temperature_sum, temperature_lowest, temperature_highest,"
        " humidities, humidity_sum, humidity_lowest, humidity_highest FROM hours"
        " WHERE sensor = ? AND hour >= ? AND hour < ? ORDER BY hour",
        (sensor, -(-start // HOUR_MS), -(-end // HOUR_MS)),
    ).fetchall()
    table = np.array(found, dtype=np.float64).reshape(len(found), 9)
    hour, temperatures, warm, coldest, warmest, humidities, damp, driest, dampest = table.T
    with np.errstate(invalid="ignore", divide="ignore"):
        return Hourly(
            time=hour * 3600.0,
            readings=temperatures.astype(np.int64),
            temperature=(warm / temperatures + rows.MILLIKELVIN_AT_ZERO) / 1e3,
            temperature_lowest=(coldest + rows.MILLIKELVIN_AT_ZERO) / 1e3,
            temperature_highest=(warmest + rows.MILLIKELVIN_AT_ZERO) / 1e3,
            relative_humidity=damp / humidities / 1e5,
            relative_humidity_lowest=driest / 1e5,
            relative_humidity_highest=dampest / 1e5,
        )
