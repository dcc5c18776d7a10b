"""The rows in a damaged SQLite file, page by page, without the trees that lead to them.

Theory of operation
-------------------
SQLite finds a row by a tree of pages; one page of rubbish near the root hides all below it. A row
itself lies whole in a leaf page, and what is too long for it in a list of further pages. So each page
that looks like a leaf of a table is read by itself. What is in the write-ahead log is newer than the file.
Nothing here is believed: who asks checks each row by its digests.

Source: "Database File Format" and "WAL-mode File Format" of the SQLite documentation.
"""

import contextlib
import mmap
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

LEAF, INDEX_LEAF = 0x0D, 0x0A  # of a table; of an index, or of a table without numbers
USUAL = 4096  # bytes of a page, where the header cannot be read
LARGEST_ROW = 32 * 1024 * 1024
LOG_HEADER, FRAME_HEADER = 32, 24

Value = int | float | str | bytes | None


class FoundRow(NamedTuple):
    """One row as it lies: its number (0 where it has none), and its columns."""

    number: int
    values: tuple[Value, ...]


class FilePages:
    """The pages of one file and of the log beside it, as the last commit left them."""

    def __init__(self, path: Path) -> None:
        self._file = _content(path)
        self._log = _content(path.with_name(path.name + "-wal"))
        told = int.from_bytes(self._file[16:18], "big") if self._file[:16] == b"SQLite format 3\0" else USUAL
        self.size = told if told in (512, 1024, 2048, 4096, 8192, 16384, 32768) else USUAL
        self._logged = dict(self._committed())  # page -> where it lies in the log

    def rows(self) -> Iterator[FoundRow]:
        """Every row of every leaf, in no order; also old ones that are no longer part of a table."""
        for number in range(1, self.count + 1):
            page = self._page(number)
            start = 100 if number == 1 else 0
            if len(page) != self.size or page[start] not in (LEAF, INDEX_LEAF):
                continue
            cells = int.from_bytes(page[start + 3 : start + 5], "big")
            for cell in range(min(cells, self.size // 4)):
                at = int.from_bytes(page[start + 8 + 2 * cell : start + 10 + 2 * cell], "big")
                with contextlib.suppress(IndexError, ValueError, OverflowError):  # rubbish is no row
                    yield self._row(page, at, numbered=page[start] == LEAF)

    @property
    def count(self) -> int:
        """Pages, as far as the file or the log reaches."""
        return max(len(self._file) // self.size, *self._logged, 0)

    def _page(self, number: int) -> bytes:
        at = self._logged.get(number)
        if at is not None:
            return self._log[at : at + self.size]
        return self._file[(number - 1) * self.size : number * self.size]

    def _committed(self) -> Iterator[tuple[int, int]]:
        """Pages of the log up to its last commit, oldest first."""
        salts, waiting = self._log[16:24], []
        for at in range(LOG_HEADER, len(self._log), FRAME_HEADER + self.size):
            head = self._log[at : at + FRAME_HEADER]
            if len(head) < FRAME_HEADER or head[8:16] != salts:
                return  # of an earlier round of the log
            waiting.append((int.from_bytes(head[:4], "big"), at + FRAME_HEADER))
            if any(head[4:8]):  # a commit
                yield from waiting
                waiting = []

    def _row(self, page: bytes, at: int, *, numbered: bool) -> FoundRow:
        length, at = _varint(page, at)
        number, at = _varint(page, at) if numbered else (0, at)
        if length > LARGEST_ROW:
            raise ValueError("longer than any row")
        most = self.size - 35 if numbered else (self.size - 12) * 64 // 255 - 23
        return FoundRow(number, _columns(self._payload(page, at, length, most)))

    def _payload(self, page: bytes, at: int, length: int, most: int) -> bytes:
        """The bytes of a row: here, and on the pages that its end names."""
        if length <= most:
            return page[at : at + length]
        least = (self.size - 12) * 32 // 255 - 23
        here = least + (length - least) % (self.size - 4)
        here = least if here > most else here
        parts, missing = [page[at : at + here]], length - here
        following = int.from_bytes(page[at + here : at + here + 4], "big")
        while missing > 0:
            page = self._page(following)
            if not following or len(page) != self.size:
                raise ValueError("it ends too early")
            parts.append(page[4 : 4 + min(missing, self.size - 4)])
            missing -= self.size - 4
            following = int.from_bytes(page[:4], "big")
        return b"".join(parts)


def _content(path: Path) -> "bytes | mmap.mmap":
    """The bytes of a file, not yet read; none where there is none."""
    if not path.exists() or path.stat().st_size == 0:
        return b""
    with path.open("rb") as file:
        return mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ)


def _varint(content: bytes, at: int) -> tuple[int, int]:
    """A number of one to nine bytes, and where it ends."""
    value = 0
    for place in range(8):
        byte = content[at + place]
        value = value << 7 | byte & 0x7F
        if byte < 0x80:
            return value, at + place + 1
    value = value << 8 | content[at + 8]
    return value - (1 << 64 if value >> 63 else 0), at + 9


def _columns(payload: bytes) -> tuple[Value, ...]:
    """The columns of a row, by the types that stand at its head."""
    end, at = _varint(payload, 0)
    values: list[Value] = []
    body = end
    while at < end:
        kind, at = _varint(payload, at)
        size = _WIDTHS[kind] if kind < 12 else (kind - 12) // 2
        content = payload[body : body + size]
        if len(content) != size:
            raise ValueError("a column beyond the row")
        values.append(_value(kind, content))
        body += size
    return tuple(values)


_WIDTHS = (0, 1, 2, 3, 4, 6, 8, 8, 0, 0, 0, 0)


def _value(kind: int, content: bytes) -> Value:
    if kind >= 12:
        return content if kind % 2 == 0 else content.decode()
    if kind in (8, 9):
        return kind - 8
    return int.from_bytes(content, "big", signed=True) if kind in range(1, 7) else None
