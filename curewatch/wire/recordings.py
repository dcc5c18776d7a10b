"""A recording, as the lines it would have arrived in and the moment of each.

A recording is a file of lines in any form the door reads (a SenML pack may be a line), or one SenML
pack. Whoever replays it gives each piece to the door at its own moment, so that a recording takes the
same way as live bytes.
"""

import json
from collections.abc import Iterable, Iterator
from datetime import UTC, tzinfo
from itertools import groupby
from typing import BinaryIO, NamedTuple

from curewatch.clock import Instant
from curewatch.readings import Reading
from curewatch.wire import lines, plain, senml
from curewatch.wire.fields import FieldRejected, Local, at_the_shed
from curewatch.wire.json_fields import LARGEST
from curewatch.wire.parser import Parser

FAR_AHEAD = Instant(4e9, 0.0)  # no recording of ours is stamped after the year 2096
LONGEST_LINE = 4096
MOST_PACK = 64 * 1024 * 1024  # bytes of one SenML pack in a file
LATE = 900.0  # so much older than the line before it a line may be [s]
MOST_RECORDS = 10_000_000


class Piece(NamedTuple):
    """One line, without its end, or one pack, and when it came."""

    at: float  # UTC; a piece that does not say takes the time of the one before [s]
    data: bytes


def pieces(stream: BinaryIO, start: float = 0.0, zone: tzinfo = UTC) -> Iterator[Piece]:
    """The pieces of a recording, in the order they stand there.

    ``start`` is the time of what stands before the first stamp, ``zone`` that of stamps without an offset.
    """
    head = stream.read(LONGEST_LINE)
    if head.lstrip()[:1] == b"[" or senml.is_cbor(head[:1]):
        head += stream.read(LARGEST)
        if _is_pack(head.partition(b"\n")[0]):
            yield from _of_packs(_lines(head, stream, LARGEST), start)
        else:
            yield from _of_pack(head + stream.read(MOST_PACK - len(head) + 1), start)
        return
    yield from _of_lines(_lines(head, stream), start, zone)


def _is_pack(line: bytes) -> bool:
    """Whether a first line is a SenML pack by itself, so that others may stand below it."""
    try:
        return type(senml.decode(line)) is list
    except FieldRejected:
        return False


def _of_packs(lines_there: Iterable[bytes], start: float) -> Iterator[Piece]:
    """Packs, one a line, in the order they stand there; what is none is left for the door to reject."""
    at = start
    for line in lines_there:
        for piece in _of_pack(line, at) if line.lstrip()[:1] == b"[" else [Piece(at, line)]:
            at = piece.at
            yield piece


def _lines(head: bytes, stream: BinaryIO, longest: int = LONGEST_LINE) -> Iterator[bytes]:
    """Lines without their ends; one that is longer than any form's comes cut, and is rejected at the door."""
    rest = head
    while True:
        whole = rest.split(b"\n")
        rest = whole.pop()
        yield from whole
        if len(rest) > longest:
            yield rest[:longest]
            rest = b""
        more = stream.read(65_536)
        if not more:
            break
        rest += more
    if rest:
        yield rest


def _of_lines(lines_there: Iterable[bytes], start: float, zone: tzinfo) -> Iterator[Piece]:
    parser, table, at = Parser(check=False, zone=None), None, start
    for line in lines_there:
        if line.startswith(b"cw"):  # the most usual of long recordings; the door reads it whole again
            told = lines.parse(line, FAR_AHEAD)
            if isinstance(told, Reading) and told.time < FAR_AHEAD.utc:
                at = told.time
            yield Piece(at, line)
            continue
        if table is not None and line[:1] not in b"{[#":
            at = _utc(_moment(table, line, at), zone, at)
        else:
            for event in parser.line(line, FAR_AHEAD, "recording"):
                if isinstance(event, Reading) and event.time < FAR_AHEAD.utc:
                    at = _utc(event.time, zone, at)
        table = plain.header(line.strip()) or table
        yield Piece(at, line)


def _utc(time: float, zone: tzinfo, before: float) -> float:
    """Of an hour that repeats the one that goes on from the line before; some lines are a little late."""
    if type(time) is not Local:
        return time
    early, late = at_the_shed(time, zone)
    return early if early >= before - LATE else late


def _moment(table: plain.ColumnTable, line: bytes, before: float) -> float:
    """The time of a CSV line, or that of the line before when it tells none that can be read."""
    try:
        return table.moment(table.cells(line.rstrip(b"\r"))) or before
    except FieldRejected:
        return before


def _of_pack(data: bytes, start: float) -> Iterator[Piece]:
    """A pack, cut into packs of one moment each; a pack that cannot be read comes whole, to be rejected."""
    try:
        records = senml.resolve_pack(senml.decode(data, MOST_PACK), FAR_AHEAD.utc, most=MOST_RECORDS)
    except FieldRejected:
        yield Piece(start, data[:LARGEST])
        return
    for moment, group in groupby(records, key=lambda record: record.time):
        said = [
            {"n": record.name, "u": record.unit, "t": record.time, "v": record.value}
            for record in group
            if type(record.value) in (float, int)
        ]
        if said:
            yield Piece(moment, json.dumps(said).encode("ascii"))
