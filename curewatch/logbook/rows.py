"""A reading as scaled integers: how it is kept, packed, and written as a line of text.

Theory of operation
-------------------
A reading becomes one row of integers (:data:`ROW`): time in ms, temperature in thousandths of a
degree Celsius, humidity in thousandths of a per cent. The *line* of a row is the canonical text
that the hash chain covers and that an export shows, so a person can check the chain with a text
file. A closed block of rows is packed: column by column, each value less the one before it, bytes
of the same weight side by side, then deflated: about 5 bytes a reading.

Laws: ``reading(row(r))`` is ``r`` to the resolution above; ``unpack(pack(rows))`` is ``rows``.
"""

import math
import zlib
from collections.abc import Callable, Mapping, Sequence
from typing import Any
from urllib.parse import quote, unquote

import numpy as np
from numpy.typing import NDArray

from curewatch.errors import OutOfValidity
from curewatch.readings import Reading, undated

Rows = NDArray[np.void]

ROW = np.dtype(
    [
        ("sensor", "<u2"),  # number of the sensor in this logbook
        ("time", "<i8"),  # UTC, measured [ms since 1970]
        ("received", "<i8"),  # UTC, reached the edge [ms since 1970]
        ("temperature", "<i4"),  # [0.001 degC]
        ("humidity", "<i4"),  # [0.001 %]
        ("carbon_dioxide", "<i4"),  # [0.1 ppm]
        ("battery", "<i4"),  # [0.001 %]
        ("flags", "<u2"),
        ("sequence", "<i8"),
    ]
)
NAMES: tuple[str, ...] = ROW.names or ()

NOTHING = -(2**31)  # stands for "no such quantity" in the four-byte columns
NO_SEQUENCE = -(2**63)
MILLIKELVIN_AT_ZERO = 273_150

HEADER = (
    "block,sensor,time,received,temperature_c,humidity_percent,carbon_dioxide_ppm,battery_percent,"
    "flags,sequence"
)


def row(reading: Reading, sensor: int) -> tuple[int, ...]:
    """The reading as the integers of one row.

    Raises
    ------
    OutOfValidity
        A value is not finite or does not fit: the plausibility check should have refused it.
    """
    temperature, humidity = reading.temperature, reading.relative_humidity
    return (
        sensor,
        _whole("time", reading.time, 1e3, 2**53),
        _whole("time of arrival", reading.received, 1e3, 2**53),
        NOTHING
        if temperature is None
        else _whole("temperature", temperature, 1e3, 2**30) - MILLIKELVIN_AT_ZERO,
        NOTHING if humidity is None else _whole("relative humidity", humidity, 1e5, 2**30),
        NOTHING
        if reading.carbon_dioxide is None
        else _whole("carbon dioxide", reading.carbon_dioxide, 1e7, 2**30),
        NOTHING if reading.battery is None else _whole("battery", reading.battery, 1e5, 2**30),
        int(reading.flags) & 0xFFFF,
        NO_SEQUENCE if reading.sequence is None else _whole("sequence", reading.sequence, 1, 2**62),
    )


def _whole(quantity: str, value: float, scale: float, bound: int) -> int:
    scaled = value * scale
    if not math.isfinite(scaled) or abs(scaled) >= bound:
        raise OutOfValidity(quantity, value, f"magnitudes below {bound / scale:.4g}", "the logbook's rows")
    return round(scaled)


def same(values: Sequence[int]) -> tuple[int, ...]:
    """What makes a reading the same one when it is delivered again: all but its arrival and flags.

    One of unknown age is never the same as a dated one: its stamp says nothing of when it was measured.
    """
    return (*values[:2], *values[3:7], values[8], int(undated(values[7])))


def holds(rows: Rows, values: Sequence[int]) -> bool:
    """Whether the same reading is among these rows."""
    near = rows[(rows["time"] == values[1]) & (rows["sequence"] == values[8])].tolist()
    return any(same(one) == same(values) for one in near)


def reading(values: Sequence[int], name: str) -> Reading:
    """The row as a reading again, in SI."""
    _, time, received, temperature, humidity, carbon_dioxide, battery, flags, sequence = values
    return Reading(
        sensor=name,
        time=time / 1e3,
        received=received / 1e3,
        temperature=None if temperature == NOTHING else (temperature + MILLIKELVIN_AT_ZERO) / 1e3,
        relative_humidity=None if humidity == NOTHING else humidity / 1e5,
        carbon_dioxide=None if carbon_dioxide == NOTHING else carbon_dioxide / 1e7,
        battery=None if battery == NOTHING else battery / 1e5,
        flags=flags,
        sequence=None if sequence == NO_SEQUENCE else sequence,
    )


def empty() -> Rows:
    """No rows."""
    return np.empty(0, ROW)


def as_bytes(values: Sequence[int]) -> bytes:
    """One row as it lies in an open block."""
    return np.array([tuple(values)], ROW).tobytes()


def from_bytes(body: bytes) -> Rows:
    """Rows of an open block, as they lie."""
    return np.frombuffer(body, ROW)


def pack(rows: Rows) -> bytes:
    """Rows of a closed block, small. ``unpack`` is its inverse."""
    planes = [_planes(_differences(rows, name)) for name in NAMES]
    return len(rows).to_bytes(4, "little") + zlib.compress(b"".join(planes), 6)


def unpack(body: bytes) -> Rows:
    """The rows that ``pack`` packed.

    Raises
    ------
    ValueError
        The bytes are not such a block.
    """
    count = int.from_bytes(body[:4], "little")
    try:
        planes = zlib.decompress(body[4:])
    except zlib.error as trouble:
        raise ValueError(f"the packed rows cannot be read: {trouble}") from trouble
    if len(body) < 4 or len(planes) != count * ROW.itemsize:
        raise ValueError("the packed rows are not as long as they say")
    rows = np.empty(count, ROW)
    at = 0
    for name in NAMES:
        kind = ROW[name]
        block = np.frombuffer(planes, np.uint8, count * kind.itemsize, at).reshape(kind.itemsize, count)
        at += block.size
        differences = np.ascontiguousarray(block.T).view(kind).reshape(count)
        rows[name] = np.cumsum(differences, dtype=kind)
    rows["received"] += rows["time"]
    return rows


def _differences(rows: Rows, name: str) -> NDArray[Any]:
    column = rows[name] - rows["time"] if name == "received" else rows[name]
    return np.diff(column, prepend=column.dtype.type(0))


def _planes(column: NDArray[Any]) -> bytes:
    return np.ascontiguousarray(column).view(np.uint8).reshape(len(column), column.itemsize).T.tobytes()


def token(name: str) -> str:
    """A sensor's name as one plain word: letters, digits and ``_ . - / :``, the rest as %XX.

    So a name from outside cannot end a line, start a formula or carry a terminal escape.
    """
    word = quote(name, safe="_.-/:", errors="replace")
    return (
        word
        if not word or word[:1].isalnum() or word[:1] == "%"
        else "%" + name[:1].encode().hex().upper() + word[1:]
    )


def name_of(word: str) -> str:
    """The name that :func:`token` turned into ``word``."""
    return unquote(word)


def lines(block: int, rows: Rows, tokens: Mapping[int, str]) -> str:
    """The rows as canonical text, one line each, ended by a line feed; the columns of :data:`HEADER`."""
    if not len(rows):
        return ""
    columns = (
        [f"{block}"] * len(rows),
        [tokens[number] for number in rows["sensor"].tolist()],
        _stamps(rows["time"]),
        _stamps(rows["received"]),
        _decimals(rows["temperature"], "%.3f", 1e3),
        _decimals(rows["humidity"], "%.3f", 1e3),
        _decimals(rows["carbon_dioxide"], "%.1f", 10.0),
        _decimals(rows["battery"], "%.3f", 1e3),
        list(map(str, rows["flags"].tolist())),
        ["" if n == NO_SEQUENCE else str(n) for n in rows["sequence"].tolist()],
    )
    return "\n".join(map(",".join, zip(*columns, strict=True))) + "\n"


def _stamps(milliseconds: NDArray[np.int64]) -> list[str]:
    text: list[str] = np.datetime_as_string(milliseconds.astype("M8[ms]"), timezone="UTC").tolist()
    return text


def _decimals(column: NDArray[np.int32], form: str, scale: float) -> list[str]:
    if (column == NOTHING).all():
        return [""] * len(column)
    write: Callable[[int], str] = lambda n: "" if n == NOTHING else form % (n / scale)  # noqa: E731
    return [write(n) for n in column.tolist()]
