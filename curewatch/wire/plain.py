"""Plain text lines of boards that were not written for us: ``key=value`` pairs, and CSV.

They carry no checksum, so a number that lost its end on the way cannot be told from a whole one; a line
whose end was seen is taken, and firmware_notes recommends our own form.
"""

import re
from collections.abc import Sequence

from curewatch.clock import Instant
from curewatch.readings import Reading, Rejected
from curewatch.wire.fields import WORDS, Refused, gather, reading
from curewatch.wire.numbers import name_allowed, number
from curewatch.wire.reasons import Reason, reject

_PAIR = re.compile(r"([A-Za-z][A-Za-z0-9_]{0,31})\s*[=:]\s*([^\s,;=]+(?: ?(?:deg[CF]|°[CF]|%RH|%|ppm))?)")
_BETWEEN = re.compile(r"[\s,;]*")
_SEPARATOR = re.compile(r"[,;\t]")

PLAIN_COLUMNS = ("temperature_c", "humidity_percent")  # of a line of two numbers


def parse_pairs(line: bytes, at: Instant, source: str = "", sensor: str = "") -> Reading | Rejected:
    """A line such as ``T=12.5 RH=80.9``; separated by blanks, commas or semicolons."""
    try:
        named = _pairs(line.decode("utf-8"))
        return reading(gather(named), sensor, line, at, source)
    except UnicodeDecodeError:
        return reject(Reason.NOT_TEXT, line, at.utc, source, sensor)
    except Refused as refused:
        return reject(refused.reason, line, at.utc, source, sensor)


def _pairs(text: str) -> list[tuple[str, object]]:
    """Every pair of the line; what stands between pairs may be separators only."""
    found: list[tuple[str, object]] = []
    place = _BETWEEN.match(text).end()  # type: ignore[union-attr]  # the pattern matches an empty text
    while place < len(text):
        pair = _PAIR.match(text, place)
        if pair is None:
            raise Refused(Reason.NOT_A_LINE)
        found.append((pair[1], pair[2]))
        after = _BETWEEN.match(text, pair.end()).end()  # type: ignore[union-attr]
        if after == pair.end() and after < len(text):
            raise Refused(Reason.BAD_UNIT)
        place = after
    return found


def header(line: bytes) -> tuple[str, ...] | None:
    """The columns that a CSV header names, in our words' spelling; None when the line is no header."""
    try:
        cells = [cell.strip().strip('"') for cell in _SEPARATOR.split(line.decode("utf-8").lower())]
    except UnicodeDecodeError:
        return None
    known = [WORDS[cell][0] for cell in cells if cell in WORDS]
    worded = "temperature" in known or "relative_humidity" in known
    return tuple(cells) if len(cells) > 1 and worded and number(cells[0]) is None else None


def parse_cells(
    line: bytes, columns: Sequence[str], at: Instant, source: str = "", sensor: str = ""
) -> Reading | Rejected:
    """A CSV line by its header's columns; without a header: ``[name,]temperature,humidity``."""
    try:
        cells: list[str] = [cell.strip().strip('"') for cell in _SEPARATOR.split(line.decode("utf-8"))]
    except UnicodeDecodeError:
        return reject(Reason.NOT_TEXT, line, at.utc, source, sensor)
    columns = columns or _plain_columns(cells)
    if len(cells) != len(columns):
        reason = Reason.CUT_OFF if len(cells) < len(columns) else Reason.NOT_A_LINE
        return reject(reason, line, at.utc, source, sensor)
    try:
        return reading(gather(zip(columns, cells, strict=True)), sensor, line, at, source)
    except Refused as refused:
        return reject(refused.reason, line, at.utc, source, sensor)


def _plain_columns(cells: Sequence[str]) -> Sequence[str]:
    named = len(cells) == 3 and name_allowed(cells[0]) and number(cells[0]) is None
    return ("sensor", *PLAIN_COLUMNS) if named else PLAIN_COLUMNS
