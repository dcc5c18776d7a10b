"""Plain text lines of boards that were not written for us: ``key=value`` pairs, and CSV.

They carry no checksum, so a number that lost its end on the way cannot be told from a whole one; a line
whose end was seen is taken, and firmware_notes recommends our own form.
"""

import re
from collections.abc import Sequence
from typing import Any

from curewatch.clock import Instant
from curewatch.readings import Reading, Rejected
from curewatch.wire.fields import (
    FURTHER_SPELT,
    KINDS,
    OURS,
    SEQUENCE,
    TIME,
    FieldRejected,
    Stated,
    Words,
    gather,
    reading,
)
from curewatch.wire.reasons import Reason, reject
from curewatch.wire.stated import Units, any_states_unit, units_for, units_of, with_units

# A unit may follow a value after a blank; one letter alone only where no pair begins with it.
_UNIT = (
    r"(?:deg(?:rees?)? ?[CF]|[°º] ?[CF]|%RH|%|ppm|celsius|fahrenheit|kelvin|percent|[CFK]"
    rf"|{'|'.join(map(re.escape, FURTHER_SPELT))})(?!\w|\s*[=:])"
)
_PAIR = re.compile(rf"([A-Za-z][A-Za-z0-9_]{{0,31}})\s*[=:]\s*([^\s,;=]+(?: ?{_UNIT})?)", re.IGNORECASE)
_BETWEEN = re.compile(r"[\s,;]*")
_NUMERIC = frozenset((b"", *(bytes([each]) for each in b"0123456789+-.")))  # what a number may begin with


def parse_pairs(
    line: bytes, at: Instant, source: str = "", sensor: str = "", words: Words = OURS
) -> Reading | Rejected:
    """A line such as ``T=12.5 RH=80.9``; separated by blanks, commas or semicolons."""
    try:
        named = pairs(line.decode("utf-8"))
        if any_states_unit(tuple([word for word, _ in named])):
            named = with_units(named, units_of(named, words), words)
        return reading(gather(named, words.taken), sensor, line, at, source)
    except UnicodeDecodeError:
        return reject(Reason.NOT_TEXT, line, at.utc, source, sensor)
    except FieldRejected as rejected:
        return reject(rejected.reason, line, at.utc, source, sensor)


def pairs(text: str) -> list[tuple[str, object]]:
    """Every word and its value; what stands between pairs may be separators only, or FieldRejected."""
    found: list[tuple[str, object]] = []
    place = _BETWEEN.match(text).end()  # type: ignore[union-attr]  # the pattern matches an empty text
    while place < len(text):
        pair = _PAIR.match(text, place)
        if pair is None:
            raise FieldRejected(Reason.NOT_A_LINE)
        found.append((pair[1], pair[2]))
        after = _BETWEEN.match(text, pair.end()).end()  # type: ignore[union-attr]
        if after == pair.end() and after < len(text):
            raise FieldRejected(Reason.BAD_UNIT)
        place = after
    return found


class ColumnTable:
    """What the columns of a CSV mean: worked out once from its header, used for each line.

    A unit may stand in brackets behind a column's word, or in a column of its own.
    """

    __slots__ = ("_columns", "_states", "_taken", "_words", "separator", "width")

    def __init__(self, columns: Sequence[str], separator: str = ",", words: Words = OURS) -> None:
        self.separator = separator
        self.width = len(columns)
        self._words = words
        self._columns = [_without_unit(column) for column in columns]
        self._taken = [
            (index, *words.taken[word], unit)
            for index, (word, unit) in enumerate(self._columns)
            if word in words.taken
        ]
        self._states = any_states_unit(tuple(word for word, _ in self._columns))

    def values(self, cells: Sequence[str]) -> list[Any]:
        """The cells' values by their place in fields.KINDS. Raises Rejected."""
        values: list[Any] = [None] * len(KINDS)
        units: Units = {}
        if self._states:
            units = units_of(
                [(word, cell.strip()) for (word, _), cell in zip(self._columns, cells, strict=True)],
                self._words,
            )
        for index, place, take, unit in self._taken:
            cell = cells[index].strip()
            if cell:
                if values[place] is not None:
                    if place > SEQUENCE:
                        continue
                    raise FieldRejected(Reason.TWICE)
                said = (*unit, *units_for(KINDS[place], units))
                values[place] = take(Stated(cell, said) if said else cell)
        return values

    def moment(self, cells: Sequence[str]) -> float | None:
        """The time that a line's cells tell, if they do [s]. Raises Rejected."""
        return next((take(cells[index]) for index, place, take, _ in self._taken if place == TIME), None)

    def cells(self, line: bytes) -> list[str]:
        """A line's cells, as many as there are columns. Raises Rejected.

        Where semicolons separate, a comma is the decimal mark of who wrote the file.
        """
        try:
            text = line.decode("utf-8")
        except UnicodeDecodeError as trouble:
            raise FieldRejected(Reason.NOT_TEXT) from trouble
        if self.separator == ";":
            text = text.replace(",", ".")
        if '"' in text:
            text = text.replace('"', "")
        cells = text.split(self.separator)
        if len(cells) != self.width:
            raise FieldRejected(Reason.CUT_OFF if len(cells) < self.width else Reason.NOT_A_LINE)
        return cells


def _without_unit(column: str) -> tuple[str, tuple[str, ...]]:
    """``temperature [degF]`` -> the word and its unit."""
    found = _IN_BRACKETS.fullmatch(column)
    return (found[1], (found[2],)) if found else (column, ())


_IN_BRACKETS = re.compile(r"(.*?)\s*[(\[]([^)\]]+)[)\]]")
_TWO = ("temperature", "humidity")
_NAMED = ("sensor", *_TWO)


def header(line: bytes, words: Words = OURS) -> ColumnTable | None:
    """The table that a CSV header begins; None when the line is no header."""
    if line[:1] in _NUMERIC or words.columns:
        return None
    try:
        text = line.decode("utf-8").lower()
    except UnicodeDecodeError:
        return None
    separator = _separator(text)
    cells = [cell.strip().strip('"') for cell in text.split(separator)]
    kinds = {meant.kind for cell in cells if (meant := words.meanings.get(_without_unit(cell)[0]))}
    known = len(cells) > 1 and kinds & {"temperature", "relative_humidity"}
    return ColumnTable(cells, separator, words) if known else None


def _separator(text: str) -> str:
    return next((mark for mark in ";\t" if mark in text), ",")


def parse_cells(
    line: bytes,
    table: ColumnTable | None,
    at: Instant,
    source: str = "",
    sensor: str = "",
    *,
    words: Words = OURS,
) -> Reading | Rejected:
    """A CSV line by its header's table; without a header: ``[name,]temperature,humidity``."""
    try:
        table = table or _guessed(line, words)
        return reading(table.values(table.cells(line)), sensor, line, at, source)
    except FieldRejected as rejected:
        return reject(rejected.reason, line, at.utc, source, sensor)


def numbered_cells(line: bytes) -> list[tuple[str, str]]:
    """The cells of a line without a header, each with its number from 1. Raises Rejected."""
    table = _numbered(line, OURS)
    return [(str(place), cell.strip()) for place, cell in enumerate(table.cells(line), start=1)]


def _numbered(line: bytes, words: Words) -> ColumnTable:
    """Columns known by their numbers. A line that ends before the last that is configured was cut off."""
    separator = _separator(line.decode("latin-1"))
    width = line.count(separator.encode("ascii")) + 1
    if width < max(words.columns, default=2):
        raise FieldRejected(Reason.CUT_OFF if words.columns else Reason.NOT_A_LINE)
    return ColumnTable([str(place) for place in range(1, width + 1)], separator, words)


def _guessed(line: bytes, words: Words) -> ColumnTable:
    """Two numbers, or a name and two numbers; or as the configuration numbers them."""
    if words.columns:
        return _numbered(line, words)
    separator = _separator(line.decode("latin-1"))
    named = line.count(separator.encode("ascii")) == 2 and line[:1] not in _NUMERIC
    columns = _NAMED if named else _TWO
    return ColumnTable(columns, separator, words)
