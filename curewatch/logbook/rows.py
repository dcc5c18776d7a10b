"""A reading as scaled integers: how it is kept, packed, and written as a line of text.

Theory of operation
-------------------
A reading becomes one row of integers, with the columns of ``columns``: time in ms, temperature in
thousandths of a degree Celsius, humidity in thousandths of a per cent. The *line* of a row is the
canonical text that the hash chain covers and that an export shows, so a person can check the chain
with a text file. A closed block of rows is packed: column by column, each value less the one before
it, bytes of the same weight side by side, then deflated: about 5 bytes a reading.

In memory rows always have the columns of the newest form; what an older block lacks is NOTHING there.

Laws: ``reading(row(r))`` is ``r`` to the resolution above; ``unpack(pack(rows))`` is ``rows``.
"""

import zlib
from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING, Any
from urllib.parse import quote, unquote

from curewatch.errors import OutOfValidity
from curewatch.later import Later
from curewatch.logbook import columns
from curewatch.logbook.columns import NOTHING
from curewatch.readings import Reading, undated

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Rows = NDArray[np.void]
else:
    np = Later("numpy")  # entries are read without it
    Rows = Any

NO_SEQUENCE = -(2**63)
MOST = 65_536  # rows of one block that are unpacked
QUANTITIES_FROM = len(columns.FIXED)  # the column where the quantities begin


def row(reading: Reading, sensor: int) -> tuple[int, ...]:
    """The reading as the integers of one row.

    Raises
    ------
    OutOfValidity
        A value is not finite or does not fit: the plausibility check should have rejected it.
    """
    form, sequence = columns.newest(), reading.sequence
    return (
        sensor,
        _whole("time", reading.time, 1e3, 2**53),
        _whole("time of arrival", reading.received, 1e3, 2**53),
        int(reading.flags) & 0xFFFF,
        NO_SEQUENCE if sequence is None else _whole("sequence", sequence, 1, 2**62),
        *form.kept(reading),
    )


def _whole(quantity: str, value: float, scale: float, bound: int) -> int:
    scaled = value * scale
    if not -bound < scaled < bound:  # nor is what is no number
        raise OutOfValidity(quantity, value, f"magnitudes below {bound / scale:.4g}", "the logbook's rows")
    return round(scaled)


def same(values: Sequence[int]) -> tuple[int, ...]:
    """What makes a reading the same one when it is delivered again: all but its arrival and flags.

    One of unknown age is never the same as a dated one: its stamp says nothing of when it was measured.
    """
    return (*values[:2], *values[4:], int(undated(values[3])))


def holds(rows: Rows, number: int, values: Sequence[int]) -> bool:
    """Whether the same reading is among these rows of a block of this form.

    A quantity that the form does not have cannot tell two readings apart.
    """
    width = columns.form(number).width
    near = rows[(rows["time"] == values[1]) & (rows["sequence"] == values[4])].tolist()
    return any(same(one[:width]) == same(values[:width]) for one in near)


def reading(values: Sequence[int], name: str) -> Reading:
    """The row as a reading again, in SI."""
    _, time, received, flags, sequence, *kept = values
    quantities = zip(columns.newest().quantities, kept, strict=True)
    return columns.FORMS.reading(
        sensor=name,
        time=time / 1e3,
        received=received / 1e3,
        flags=flags,
        sequence=None if sequence == NO_SEQUENCE else sequence,
        **{one.name: one.value(number) for one, number in quantities},
    )


def empty() -> Rows:
    """No rows."""
    return np.empty(0, columns.newest().row)


def of(values: Sequence[Sequence[int]]) -> Rows:
    """Rows of these integers."""
    return np.array([tuple(one) for one in values], columns.newest().row)


def to_bytes(rows: Rows, number: int) -> bytes:
    """Rows as they lie in an open block of this form."""
    return _moved(rows, columns.form(number)).tobytes()


def from_bytes(body: bytes, number: int) -> Rows:
    """Rows of an open block, as they lie."""
    return _moved(np.frombuffer(body, columns.form(number).row), columns.newest())


def _moved(rows: Rows, form: columns.Form) -> Rows:
    """The same rows with the columns of this form."""
    if rows.dtype == form.row:
        return rows
    moved = np.empty(len(rows), form.row)
    for name in form.names:
        moved[name] = rows[name] if name in (rows.dtype.names or ()) else NOTHING
    return moved


def spans(rows: Rows) -> list[tuple[int, int, int]]:
    """Each sensor with the earliest and the latest time of its rows. [ms]"""
    found = []
    for sensor in sorted(set(rows["sensor"].tolist())):
        times = rows["time"][rows["sensor"] == sensor]
        found.append((sensor, int(times.min()), int(times.max())))
    return found


def pack(rows: Rows, number: int) -> bytes:
    """Rows of a closed block of this form, small. ``unpack`` is its inverse."""
    return pack_all(rows, [0], number)[0]


def pack_all(rows: Rows, begins: Sequence[int], number: int) -> list[bytes]:
    """The same of several parts that lie one after the other, the first from 0 on: each by itself."""
    form = columns.form(number)
    planes, place = np.empty((form.size, len(rows)), np.uint8), 0
    for name in form.names:
        column = rows[name] - rows["time"] if name == "received" else rows[name]
        differences = np.diff(column, prepend=column.dtype.type(0))
        differences[begins[1:]] = column[begins[1:]]
        width = column.itemsize
        planes[place : place + width] = differences.view(np.uint8).reshape(len(rows), width).T
        place += width
    return [
        (end - begin).to_bytes(4, "little") + zlib.compress(planes[:, begin:end].tobytes(), 6)
        for begin, end in pairwise((*begins, len(rows)))
    ]


def unpack(body: bytes, number: int) -> Rows:
    """The rows that ``pack`` packed.

    Raises
    ------
    ValueError
        The bytes are not such a block, or its form is not known.
    """
    return unpack_all([body], number)


def unpack_all(bodies: Sequence[bytes], number: int) -> Rows:
    """The rows of packed blocks of one form, one after the other: a column of all of them at once.

    Raises
    ------
    ValueError
        The bytes are not such blocks, or their form is not known.
    """
    form = columns.form(number)
    planes = [inflated(body, form.size) for body in bodies]
    counts = [len(each) // form.size for each in planes]
    rows = np.empty(sum(counts), form.row)
    places = [0] * len(planes)  # how far each block is read
    begins = np.cumsum([0, *counts])[:-1]
    for name in form.names:
        kind = form.row[name]
        joined = np.empty((rows.size, kind.itemsize), np.uint8)
        for weight in range(kind.itemsize):
            pieces = [each[at : at + count] for each, at, count in zip(planes, places, counts, strict=True)]
            joined[:, weight] = np.frombuffer(b"".join(pieces), np.uint8)
            places = [at + count for at, count in zip(places, counts, strict=True)]
        rows[name] = _summed(joined.view(kind)[:, 0], begins, counts)
    rows["received"] += rows["time"]
    return _moved(rows, columns.newest())


def _summed(
    differences: "NDArray[Any]", begins: "NDArray[np.int64]", counts: Sequence[int]
) -> "NDArray[Any]":
    """Sums of the differences, begun anew with each block; whole numbers that run over come back."""
    kind = differences.dtype
    total: NDArray[Any] = np.concatenate([np.zeros(1, kind), np.cumsum(differences, dtype=kind)])
    total[1:] -= np.repeat(total[begins], counts)
    return total[1:]


def inflated(body: bytes, width: int) -> bytes:
    """The columns of a packed block whose rows are so many bytes wide."""
    count = int.from_bytes(body[:4], "little")
    packed = zlib.decompressobj()
    try:  # no more than there can be: a few bytes can unpack to gigabytes
        planes = packed.decompress(body[4:], min(count, MOST) * width + 1)
    except zlib.error as trouble:
        raise ValueError(f"the packed rows cannot be read: {trouble}") from trouble
    if len(body) < 4 or len(planes) != count * width or not packed.eof or packed.unused_data:
        raise ValueError("the packed rows are not as long as they say")
    return planes


def read(body: bytes, number: int, *, closed: bool) -> Rows:
    """Rows of a block's body, open or closed.

    Raises
    ------
    ValueError
        The bytes are no such rows, or the form is not known.
    """
    return read_all([body], number, closed=closed)


def read_all(bodies: Sequence[bytes], number: int, *, closed: bool) -> Rows:
    """The same of several blocks, all open or all closed, one after the other."""
    if not all(isinstance(body, bytes) for body in bodies):  # a damaged page may call it text
        raise ValueError("they are no bytes")
    if closed:
        return unpack_all(bodies, number)
    padded = from_bytes(b"".join(bodies), number)
    kept: Rows = padded[padded["sensor"] != 0]  # no sensor has this number
    return kept


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


def lines(block: int, number: int, rows: Rows, tokens: Mapping[int, str]) -> str:
    """The rows of a block of this form as canonical text, one line each, ended by a line feed."""
    if not len(rows):
        return ""
    parts = (
        [f"{block}"] * len(rows),
        [tokens[sensor] for sensor in rows["sensor"].tolist()],
        _stamps(rows["time"]),
        _stamps(rows["received"]),
        map(str, rows["flags"].tolist()),
        ["" if n == NO_SEQUENCE else str(n) for n in rows["sequence"].tolist()],
        *(_decimals(rows[one.name], one.decimals) for one in columns.form(number).quantities),
    )
    return "\n".join(map(",".join, zip(*parts, strict=True))) + "\n"


def _stamps(milliseconds: "NDArray[np.int64]") -> list[str]:
    text: list[str] = np.datetime_as_string(milliseconds.astype("M8[ms]"), timezone="UTC").tolist()
    return text


def _decimals(column: "NDArray[np.int32]", decimals: int) -> list[str]:
    known = column != NOTHING
    if not known.any():  # most senders tell two quantities
        return [""] * len(column)
    values = (column[known] / 10.0**decimals).tolist()
    *text, _ = (f"%.{decimals}f\n" * len(values) % tuple(values)).split("\n")  # one call for all of them
    if len(text) == len(column):
        return text
    found = iter(text)
    return [next(found) if each else "" for each in known.tolist()]
