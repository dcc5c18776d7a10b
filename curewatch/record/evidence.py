"""The evidence of a record as a store to read from: the lines of its files, and nothing beside them.

Law: a record is gathered from these lines when it is written, and again when it is verified. So the same
files give the same account, and whoever changes what the pages say has to change the lines.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from curewatch.errors import RecordBroken
from curewatch.logbook import StoredEntry, columns, rows
from curewatch.logbook.series import BlockRows, Series, arranged

_SENSORS = 65_535  # that a row can tell apart


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
        self._all = np.concatenate([rows.empty(), *(one.rows for one in self._blocks)])

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
        for name, number in sorted(self._numbers.items()):
            time = self._all["time"][self._all["sensor"] == number]
            if len(time):
                found[name] = RecordedSensor(len(time), float(time.min()) / 1e3, float(time.max()) / 1e3)
        return found

    def series(self, sensor: str, start: float | None = None, end: float | None = None) -> Series:
        """One sensor's readings in order of time."""
        chosen = self._all["sensor"] == self._numbers.get(sensor, -1)
        for edge, keep in ((start, np.greater_equal), (end, np.less)):
            if edge is not None:
                chosen &= keep(self._all["time"], round(edge * 1000))
        found = self._all[chosen]
        return arranged(found[np.argsort(found["time"], kind="stable")])

    def block_rows(self, first: int, last: int) -> Iterator[BlockRows]:
        """All rows of these blocks."""
        return (one for one in self._blocks if first <= one.block <= last)


def read_rows(
    blocks: Iterable[tuple[int, int, Sequence[str]]],
) -> tuple[list[BlockRows], dict[int, str]]:
    """The rows of these blocks (number, form, lines), and the sensors' words by their number.

    Raises
    ------
    RecordBroken
        A line is not as this program writes it.
    """
    numbers: dict[str, int] = {}
    read = []
    for block, form, lines in blocks:
        try:
            found = _rows(lines, columns.form(form), numbers)
            tokens = {number: token for token, number in numbers.items()}
            written = rows.lines(block, form, found, tokens)
        except (ValueError, OverflowError, IndexError) as trouble:
            raise _not_readings(block, f"{trouble}"[:80]) from trouble
        if written != "".join(f"{line}\n" for line in lines):
            raise _not_readings(block, "another way of writing them")
        read.append(BlockRows(block, form, found))
    return read, {number: token for token, number in numbers.items()}


def _not_readings(block: int, found: str) -> RecordBroken:
    return RecordBroken(f"readings of block {block}", "lines as this program writes them", found)


def _rows(lines: Sequence[str], form: columns.Form, numbers: dict[str, int]) -> rows.Rows:
    if not lines:
        return rows.empty()
    _, sensors, time, received, flags, sequence, *quantities = zip(
        *(line.split(",") for line in lines), strict=True
    )
    found = np.zeros(len(lines), form.row)
    found["sensor"] = [numbers.setdefault(word, len(numbers) + 1) for word in sensors]
    if len(numbers) > _SENSORS:
        raise ValueError("more sensors than there can be")
    found["time"], found["received"] = _milliseconds(time), _milliseconds(received)
    found["flags"] = [int(word) for word in flags]
    found["sequence"] = [rows.NO_SEQUENCE if word == "" else int(word) for word in sequence]
    for quantity, words in zip(form.quantities, quantities, strict=True):
        scale = 10.0**quantity.decimals
        found[quantity.name] = [
            columns.NOTHING if word == "" else round(float(word) * scale) for word in words
        ]
    return rows.from_bytes(found.tobytes(), form.number)


def _milliseconds(stamps: Sequence[str]) -> NDArray[np.int64]:
    return np.array([stamp[:-1] for stamp in stamps], "M8[ms]").astype(np.int64)
