"""The rows of a few blocks as whole numbers of Python, for who does without numpy.

To import numpy takes a tenth of a second. In that time some thousands of rows are read here.
Law: each function gives what its namesake in ``rows`` gives, number by number and byte by byte.
"""

import struct
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from itertools import accumulate
from operator import add

from curewatch.logbook import columns, rows

MOST = 12_000  # rows; to check them takes about half of what the import takes (measured)
_DAY_MS = 86_400_000
_BEGIN = datetime(1970, 1, 1, tzinfo=UTC)
_WIDTHS = {"H": 2, "q": 8, "i": 4}

Row = tuple[int, ...]


def empty() -> list[Row]:
    """No rows."""
    return []


def read(body: bytes, number: int, *, closed: bool) -> list[Row]:
    """Rows of a block's body of this form, open or closed.

    Raises
    ------
    ValueError
        The bytes are no such rows, or the form is not known.
    """
    if not isinstance(body, bytes):  # a damaged page may call it text
        raise ValueError("they are no bytes")  # noqa: TRY004 - of what was read, as all that is wrong with it
    return _closed(body, number) if closed else [row for row in from_bytes(body, number) if row[0]]


def from_bytes(body: bytes, number: int) -> list[Row]:
    """Rows of an open block, as they lie."""
    form = columns.form(number)
    try:
        return _widened(struct.Struct(f"<{form.letters}").iter_unpack(body), form)
    except struct.error as trouble:
        raise ValueError(f"the rows cannot be read: {trouble}") from trouble


def _closed(body: bytes, number: int) -> list[Row]:
    """The rows that ``rows.pack`` packed."""
    form = columns.form(number)
    planes = rows.inflated(body, form.size)
    count, begin, read_columns = len(planes) // form.size, 0, []
    for letter in form.letters:
        width = _WIDTHS[letter]
        column = bytearray(count * width)
        for weight in range(width):
            column[weight::width] = planes[begin : begin + count]
            begin += count
        differences = struct.unpack(f"<{count}{letter}", column)
        read_columns.append(_within(accumulate(differences), letter))
    time, late = read_columns[1], read_columns[2]
    read_columns[2] = _within(map(add, time, late), "q")
    return _widened(zip(*read_columns, strict=True), form)


def _within(totals: Iterable[int], letter: str) -> list[int]:
    """The numbers as so many bytes hold them: one that runs over comes back."""
    span = 1 << 8 * _WIDTHS[letter]
    below = 0 if letter == "H" else span // 2
    return [(total + below) % span - below for total in totals]


def _widened(found: Iterator[Row], form: columns.Form) -> list[Row]:
    """The rows with the columns of the newest form."""
    more = (columns.NOTHING,) * (columns.newest().width - form.width)
    return [row + more for row in found] if more else list(found)


def spans(found: Sequence[Row]) -> list[tuple[int, int, int]]:
    """Each sensor with the earliest and the latest time of its rows. [ms]"""
    times: dict[int, list[int]] = {}
    for sensor, time, *_ in found:
        times.setdefault(sensor, []).append(time)
    return [(sensor, min(own), max(own)) for sensor, own in sorted(times.items())]


def lines(block: int, number: int, found: Sequence[Row], tokens: Mapping[int, str]) -> str:
    """The rows of a block of this form as canonical text, one line each, ended by a line feed."""
    shown = [(10.0**one.decimals, f"%.{one.decimals}f") for one in columns.form(number).quantities]
    try:
        return "".join(
            f"{block},{tokens[sensor]},{_stamp(time)},{_stamp(received)},{flags},"
            f"{'' if sequence == rows.NO_SEQUENCE else sequence},{_shown(kept, shown)}\n"
            for sensor, time, received, flags, sequence, *kept in found
        )
    except OverflowError:  # a stamp of a year that the calendar of Python does not have
        return rows.lines(block, number, rows.of(found), tokens)


def _shown(kept: Sequence[int], shown: Sequence[tuple[float, str]]) -> str:
    pairs = zip(kept, shown, strict=False)  # an older form shows fewer
    return ",".join("" if one == columns.NOTHING else form % (one / tenth) for one, (tenth, form) in pairs)


def _stamp(milliseconds: int) -> str:
    days, rest = divmod(milliseconds, _DAY_MS)
    minutes, rest = divmod(rest, 60_000)
    return f"{_date(days)}T{minutes // 60:02d}:{minutes % 60:02d}:{rest // 1000:02d}.{rest % 1000:03d}Z"


@lru_cache(maxsize=8)
def _date(days: int) -> str:
    return (_BEGIN + timedelta(days=days)).date().isoformat()
