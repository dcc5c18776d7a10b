"""The tables of a logbook in one SQLite file."""

import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Any

from curewatch.logbook import chain, rows
from curewatch.logbook.block import OpenBlock
from curewatch.logbook.tables import Answer

_CHANGE = (
    "UPDATE blocks SET form = ?, closed = ?, opened = ?, previous = ?, readings = ?, readings_digest = ?,"
    " entries = ?, entries_digest = ?, head = ?, body = ? WHERE number = ?"
)
LAY_BLOCK = "INSERT INTO blocks VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"


class SqliteTables:
    """Over an open connection. The body of the open block is changed in place, always as long."""

    kept_after_all = False

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection
        self._seen = -1  # SQLite's data_version: changes when another connection commits
        self.execute = connection.execute
        self.each: Any = connection.execute

    def executemany(self, question: str, values: Iterable[Any], /) -> Answer:
        return self._connection.executemany(question, values)

    @contextmanager
    def commit(self) -> Iterator[bool]:
        """Begun by taking SQLite's write lock; if anything fails, none of it."""
        self.execute("BEGIN IMMEDIATE")
        try:
            seen = int(self.execute("PRAGMA data_version").fetchone()[0])
            alone, self._seen = seen == self._seen, seen
            yield alone
            self.execute("COMMIT")
        except BaseException:
            if self._connection.in_transaction:
                self.execute("ROLLBACK")
            raise

    @contextmanager
    def still(self) -> Iterator[None]:
        """All that is read inside is of one moment, however much others write meanwhile."""
        self.execute("BEGIN")
        try:
            yield
        finally:
            self.execute("ROLLBACK")

    def save_block(self, block: OpenBlock, taken: rows.Rows, *, closed: bool) -> None:
        """Rewrite the last block; a commit then writes only the pages that it changes."""
        face = block.face()
        body = rows.pack(block.rows(), block.form) if closed else block.padded_body()
        values = (block.form, closed, block.opened, *face[2:], chain.head(face), body)
        if not self.execute(_CHANGE, (*values, block.number)).rowcount:
            self.execute(LAY_BLOCK, (block.number, *values))

    def lay_block(self, face: chain.Face, opened: int, head: str, body: bytes) -> None:
        """Keep a closed block that another store made."""
        self.execute(LAY_BLOCK, (face.number, face.form, True, opened, *face[2:], head, body))

    def close_as_it_stands(self, number: int, body: bytes) -> None:
        """Close the last block under the head that it has."""
        self.execute("UPDATE blocks SET closed = TRUE, body = ? WHERE number = ?", (body, number))

    def drop_body(self, number: int) -> None:
        """Let go of the rows of a closed block."""
        self.execute("UPDATE blocks SET body = NULL WHERE number = ? AND closed", (number,))
