"""The evidence of a record as a store to read from: the lines of its files, and nothing beside them.

Law: a record is gathered from these lines when it is written, and again when it is verified. So the same
files give the same account, and whoever changes what the pages say has to change the lines.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import NamedTuple

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from curewatch.errors import RecordBroken
from curewatch.logbook import StoredEntry, columns, rows
from curewatch.logbook.series import EARLIEST, LATEST, BlockRows, Series, arranged

AT_ONCE = 4_000_000  # bytes of lines
_SENSORS = 65_535  # that a row can tell apart
_DIGITS = 19  # of a number
_WIDEST = 2_000_000_000  # of a quantity as it is kept: twice of what any can be, and a row holds it
ANOTHER = "another way of writing them"
_STAMP = np.frombuffer(b"0000-00-00T00:00:00.000Z", np.uint8)  # the least letter of each place
_SPAN = np.array([9 if mark == 48 else 0 for mark in _STAMP], np.uint8)  # how far it may go on from it


class RecordedSensor(NamedTuple):
    """What the evidence has of one sensor."""

    readings: int
    earliest: float  # UTC [s]
    latest: float  # UTC [s]


class RecordEvidence:
    """Entries and readings of a record. Times are UTC seconds, start <= time < end."""

    def __init__(
        self, entries: Iterable[StoredEntry], blocks: Iterable[BlockRows], tokens: Mapping[int, str]
    ) -> None:
        self._entries = tuple(entries)
        self._blocks = tuple(blocks)
        self._numbers = {rows.name_of(token): number for number, token in tokens.items()}
        found = np.concatenate([rows.empty(), *(one.rows for one in self._blocks)])
        found = found[np.argsort(found["sensor"], kind="stable")]
        if ((np.diff(found["time"]) < 0) & (found["sensor"][1:] == found["sensor"][:-1])).any():
            found = found[np.lexsort((found["time"], found["sensor"]))]  # some came late
        self._sorted = found

    def entries(
        self,
        kind: str | Iterable[str] | None = None,
        *,
        job: str | None = None,
        start: float | None = None,
        end: float | None = None,
        after: int = 0,
    ) -> list[StoredEntry]:
        """Entries in the order they were written."""
        kinds = {kind} if isinstance(kind, str) else None if kind is None else set(kind)
        return [
            one
            for one in self._entries
            if (kinds is None or one.kind in kinds)
            and (job is None or one.job == job)
            and (start is None or one.at >= start)
            and (end is None or one.at < end)
            and one.number > after
        ]

    def sensors(self) -> dict[str, RecordedSensor]:
        """Every sensor of these readings, by name."""
        found = {}
        for name in sorted(self._numbers):
            time = self._of(name)["time"]
            if len(time):
                found[name] = RecordedSensor(len(time), float(time[0]) / 1e3, float(time[-1]) / 1e3)
        return found

    def series(self, sensor: str, start: float | None = None, end: float | None = None) -> Series:
        """One sensor's readings in order of time."""
        found = self._of(sensor)
        edges = (
            EARLIEST if start is None else round(start * 1000),
            LATEST if end is None else round(end * 1000),
        )
        first, last = np.searchsorted(found["time"], edges)
        return arranged(found[first:last])

    def _of(self, sensor: str) -> rows.Rows:
        number = self._numbers.get(sensor, -1)
        first, last = np.searchsorted(self._sorted["sensor"], [number, number + 1])
        return self._sorted[first:last]

    def block_rows(self, first: int, last: int) -> Iterator[BlockRows]:
        """All rows of these blocks."""
        return (one for one in self._blocks if first <= one.block <= last)


class BlockLines(NamedTuple):
    """The lines of one block."""

    block: int
    form: int
    content: bytes


def read_rows(blocks: Iterable[BlockLines]) -> tuple[list[BlockRows], dict[int, str]]:
    """The rows of these blocks, and the sensors' words by their number.

    Raises
    ------
    RecordBroken
        A line is not as this program writes it.
    """
    numbers, read = _Numbers(), list[BlockRows]()
    for batch in _batches(blocks):
        try:
            read += _read(batch, numbers)
        except (ValueError, OverflowError):
            for each in batch:  # to name the block
                _must_be_read(each)
            raise
    return read, {number: word.decode() for word, number in numbers.items()}


def _batches(blocks: Iterable[BlockLines]) -> Iterator[list[BlockLines]]:
    """Blocks of one form that are read at once, so that memory is bounded."""
    batch, size = list[BlockLines](), 0
    for each in blocks:
        if batch and (batch[0].form != each.form or size + len(each.content) > AT_ONCE):
            yield batch
            batch, size = [], 0
        batch.append(each)
        size += len(each.content)
    if batch:
        yield batch


def _must_be_read(block: BlockLines) -> None:
    try:
        _read([block], _Numbers())
    except (ValueError, OverflowError) as trouble:
        raise RecordBroken(
            f"readings of block {block.block}", "lines as this program writes them", f"{trouble}"[:80]
        ) from trouble


class _Numbers(dict[bytes, int]):
    """Sensors by their words, in the order they are met."""

    def __missing__(self, word: bytes) -> int:
        if len(self) == _SENSORS:
            raise ValueError("more sensors than there can be")
        if not word or rows.token(rows.name_of(word.decode("ascii"))).encode() != word:
            raise ValueError(ANOTHER)
        self[word] = len(self) + 1
        return self[word]


def _read(batch: Sequence[BlockLines], numbers: _Numbers) -> list[BlockRows]:
    """The rows of blocks of one form."""
    counts = [each.content.count(b"\n") for each in batch]
    if max(counts) > rows.MOST:
        raise ValueError("more lines than a block has")
    ends = np.cumsum(counts).tolist()
    content, form = b"".join(each.content for each in batch), columns.form(batch[0].form)
    found = _rows(content, form, np.repeat([each.block for each in batch], counts), numbers)
    return [
        BlockRows(each.block, each.form, found[end - count : end])
        for each, end, count in zip(batch, ends, counts, strict=True)
    ]


def _rows(content: bytes, form: columns.Form, blocks: NDArray[np.int64], numbers: _Numbers) -> rows.Rows:
    if not content and not blocks.size:
        return rows.empty()
    cells = _Cells(content, form.width + 1, blocks.size)
    if not np.array_equal(cells.whole(0)[0], blocks):
        raise ValueError("a line of another block")
    found = np.zeros(blocks.size, form.row)
    found["sensor"] = np.fromiter(map(numbers.__getitem__, cells.words(1)), np.uint16, blocks.size)
    found["time"], found["received"] = cells.milliseconds(2), cells.milliseconds(3)
    for at, (name, decimals, bound, nothing) in enumerate(
        (
            ("flags", 0, 2**16, None),
            ("sequence", 0, 2**62, rows.NO_SEQUENCE),
            *((one.name, one.decimals, _WIDEST, columns.NOTHING) for one in form.quantities),
        ),
        4,
    ):
        value, there = cells.whole(at, decimals)
        if (abs(value) >= bound).any() or (nothing is None and not (there & (value >= 0)).all()):
            raise ValueError(ANOTHER)
        found[name] = np.where(there, value, 0 if nothing is None else nothing)
    return rows.from_bytes(found.tobytes(), form.number)


class _Cells:
    """A table of so many lines and columns, all of it at once: a month has a million words.

    Each word must be as this program writes it; any other is a ValueError.
    """

    def __init__(self, content: bytes, width: int, count: int) -> None:
        self._content, self._text = content, np.frombuffer(content, np.uint8)
        ends = np.flatnonzero((self._text == ord(",")) | (self._text == ord("\n")))
        feeds = self._text[ends] == ord("\n")
        if ends.size != count * width or not feeds[width - 1 :: width].all() or feeds.sum() != count:
            raise ValueError("another number of columns")
        begins = np.concatenate([[0], ends[:-1] + 1])
        self._begins, self._ends = begins.reshape(count, width).T, ends.reshape(count, width).T

    def words(self, column: int) -> list[bytes]:
        """As they stand."""
        edges = zip(self._begins[column].tolist(), self._ends[column].tolist(), strict=True)
        return [self._content[begin:end] for begin, end in edges]

    def milliseconds(self, column: int) -> NDArray[np.int64]:
        """UTC, of stamps that are digits and marks where this program has them. [ms]"""
        begin = self._begins[column]
        if (self._ends[column] - begin != len(_STAMP)).any():
            raise ValueError(ANOTHER)
        letters = sliding_window_view(self._text, len(_STAMP))[begin]
        if (letters - _STAMP > _SPAN).any():  # below the least letter it wraps round
            raise ValueError(ANOTHER)
        return _instants(letters - ord("0"))

    def whole(self, column: int, decimals: int = 0) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
        """Numbers with so many decimals, in units of the last; and which words are not empty."""
        begin, end = self._begins[column], self._ends[column]
        there = end > begin
        minus = there & (self._text[begin] == ord("-"))
        digits = end - begin - minus - (1 if decimals else 0)
        most = int(digits.max(initial=0))
        if (digits[there] <= decimals).any() or most > _DIGITS:
            raise ValueError(ANOTHER)
        value = np.zeros(begin.size, np.int64)
        for place in range(most):
            digit = self._text[end - 1 - place - (1 if 0 < decimals <= place else 0)] - ord("0")
            digit[place >= digits] = 0
            if (digit > 9).any():
                raise ValueError(ANOTHER)
            value += digit * np.int64(10**place)
        nought = self._text[begin + minus] == ord("0")
        if (
            ((value < 0) | (minus & (value == 0))).any()  # nineteen digits may run over
            or (there & nought & (digits > decimals + 1)).any()
            or (decimals and (self._text[end - 1 - decimals] != ord("."))[there].any())
        ):
            raise ValueError(ANOTHER)
        return np.where(minus, -value, value), there


def _instants(digits: NDArray[np.uint8]) -> NDArray[np.int64]:
    """UTC, of stamps by their digits (n, 24). [ms]

    Not by numpy's reader: one that it must refuse among many, as the 30th of February, ends the process.
    """
    year, month, day, hour, minute, second, thousandths = (
        digits[:, begin:end] @ 10 ** np.arange(end - begin)[::-1]
        for begin, end in ((0, 4), (5, 7), (8, 10), (11, 13), (14, 16), (17, 19), (20, 23))
    )
    months = 12 * (year - 1970) + month - 1
    first, following = ((months + n).astype("M8[M]").astype("M8[D]").astype(np.int64) for n in (0, 1))
    known = (year > 0) & (month > 0) & (month < 13) & (day > 0) & (day <= following - first)
    if not (known & (hour < 24) & (minute < 60) & (second < 60)).all():
        raise ValueError("a time that there is not")
    minutes = ((first + day - 1) * 24 + hour) * 60 + minute
    return np.asarray((minutes * 60 + second) * 1000 + thousandths)
