"""The open block: the end of the chain, growing with each commit until it is closed.

Law: however the lines are divided into commits, the head is the same, because the running digests
see only the lines in their order.
"""

from collections.abc import Mapping, Sequence
from hashlib import sha256

from curewatch.logbook import chain, columns, entry, rows
from curewatch.logbook.rows import Rows

READINGS = 540  # a block holds at most so many readings; packed it fills a page of the file
ENTRIES = 512
ARRIVAL_SPAN = 6 * 3_600_000  # ms from its first line to its last
TIME_SPAN = 24 * 3_600_000  # ms between the earliest and the latest reading of one sensor; readers rely on it


class OpenBlock:
    """The block that still takes lines. Bounded by READINGS and ENTRIES."""

    def __init__(self, number: int, previous: str, form: int | None = None) -> None:
        self.form = form or columns.newest().number
        self.number = number
        self.previous = previous
        self.opened: int | None = None  # ms, arrival of the first line
        self.body = bytearray()  # rows as they lie; <= READINGS rows
        self.readings = 0  # rows in the body
        self.entries = 0
        self.known: set[tuple[int, ...]] = set()  # what makes a reading the same; <= READINGS
        self.spans: dict[int, tuple[int, int]] = {}  # sensor -> earliest, latest [ms]
        self._waiting: list[tuple[int, ...]] = []  # taken, not yet hashed; <= READINGS
        self._readings_hash = sha256()
        self._entries_hash = sha256()

    @classmethod
    def restore(
        cls, face: chain.Face, opened: int, body: bytes, entry_lines: Sequence[str], tokens: Mapping[int, str]
    ) -> "OpenBlock":
        """The open block as it was when its last commit ended."""
        block = cls(face.number, face.previous, face.form)
        block.opened = opened
        for values in rows.read(body, face.form, closed=False).tolist():
            block.take(values)
        block.settle(tokens)
        for text in entry_lines:
            block.take_entry(text, opened)
        return block

    def full_for(self, values: Sequence[int]) -> bool:
        """Whether this row must go into the next block."""
        if self.opened is None:
            return False
        earliest, latest = self.spans.get(values[0], (values[1], values[1]))
        return (
            len(self.known) >= READINGS
            or abs(values[2] - self.opened) >= ARRIVAL_SPAN
            or values[1] - earliest >= TIME_SPAN
            or latest - values[1] >= TIME_SPAN
        )

    def full_for_entry(self, recorded: int) -> bool:
        """Whether an entry told at this moment [ms] must go into the next block."""
        if self.opened is None:
            return False
        return self.entries >= ENTRIES or abs(recorded - self.opened) >= ARRIVAL_SPAN

    def take(self, values: tuple[int, ...], same: tuple[int, ...] | None = None) -> None:
        """One more row; it is in the chain after :meth:`settle`. ``same`` is :func:`rows.same` of it."""
        if self.opened is None:
            self.opened = values[2]
        earliest, latest = self.spans.get(values[0], (values[1], values[1]))
        self.spans[values[0]] = min(earliest, values[1]), max(latest, values[1])
        self.known.add(same or rows.same(values))
        self._waiting.append(values)

    def settle(self, tokens: Mapping[int, str]) -> Rows:
        """Put the rows taken since into the body and the digest; returns them."""
        taken = rows.of(self._waiting)
        self._waiting.clear()
        self.body += rows.to_bytes(taken, self.form)
        self.readings += len(taken)
        self._readings_hash.update(rows.lines(self.number, self.form, taken, tokens).encode())
        return taken

    def take_entry(self, text: str, recorded: int) -> None:
        """One more entry."""
        if self.opened is None:
            self.opened = recorded
        self.entries += 1
        self._entries_hash.update(entry.digest_line(text).encode())

    def face(self) -> chain.Face:
        """What the head is made of, now."""
        return chain.Face(
            self.form,
            self.number,
            self.previous,
            self.readings,
            self._readings_hash.hexdigest(),
            self.entries,
            self._entries_hash.hexdigest(),
        )

    def padded_body(self) -> bytes:
        """The body as it is kept: always as long, so that a commit writes only the pages that it changes."""
        return bytes(self.body).ljust(READINGS * columns.form(self.form).size, b"\0")

    def rows(self) -> Rows:
        """All rows of the body."""
        return rows.from_bytes(bytes(self.body), self.form)
