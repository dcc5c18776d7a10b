"""The logbook of one shed in a PostgreSQL database. What it does stands in ``logbook/tabled``."""

import os
from collections.abc import Iterator
from contextlib import AbstractContextManager, closing, contextmanager
from pathlib import Path

from curewatch.clock import iso_utc
from curewatch.errors import StoreFailed
from curewatch.logbook import schema, store
from curewatch.logbook.lock import InUse, Lock
from curewatch.logbook.postgres.address import read_address
from curewatch.logbook.postgres.session import DatabaseSession
from curewatch.logbook.postgres.tables import PostgresTables
from curewatch.logbook.postgres.telling import telling
from curewatch.logbook.tabled import TabledLogbook
from curewatch.logbook.writer import Writer

COPIED = {
    "sensors": "number, name, readings, earliest, latest, form, last",
    "blocks": "number, form, closed, opened, previous, readings, readings_digest, entries, entries_digest,"
    " head, body",
    "spans": "sensor, earliest, block, latest",
    "entries": "number, block, kind, job, at, key, line",
    "hours": "sensor, hour, quantity, readings, lowest, total, highest",
    "rejected": "day, source, sensor, reason, count, last_at, last_raw, told",
    "notes": "key, value",
}


class PostgresLogbook(TabledLogbook):
    """A :class:`~curewatch.logbook.port.LogbookStore`. ``path`` names the database (``address``)."""

    def __init__(self, path: Path | str, *, read_only: bool = False) -> None:
        self.path = Path(path)
        self.read_only = read_only
        self._lock: Lock | None = None
        with telling(self.path):
            self._session = DatabaseSession(self.path, read_address(self.path), read_only=read_only)
        self._tables: PostgresTables = PostgresTables(self._session)
        self._writer = Writer(self._tables, self.path)

    def _telling(self) -> AbstractContextManager[None]:
        return telling(self.path)

    @contextmanager
    def _writing(self) -> Iterator[None]:
        if self.read_only:
            raise StoreFailed(f"logbook {self.path} was opened for reading only")
        with telling(self.path):
            yield

    # -- the database

    def hold(self, holder: str, since: float) -> None:
        """Become the one daemon of this shed until :meth:`let_go` or :meth:`close`, on whatever machine.

        Raises
        ------
        StoreFailed
            Another process is; the message names it and since when.
        """
        named = f"{holder}, process {os.getpid()} on {os.uname().nodename}, since {iso_utc(since)}"
        with telling(self.path):
            self._lock = Lock(self.path, holder, since)
            try:
                other = self._session.hold(named)
            except BaseException:
                self.let_go()
                raise
        if other is not None:
            self.let_go()
            raise InUse(self.path, other)

    def let_go(self) -> None:
        """Let another hold it. A lost session has let it go already."""
        self._session.let_go()
        if self._lock is not None:
            self._lock.release()
            self._lock = None

    def examine(self) -> None:
        """Whether the database answers; its pages are looked at by its operator (`pg_amcheck`)."""
        with telling(self.path):
            self._tables.execute("SELECT 1")

    def size(self) -> int:
        """Bytes of readings and entries."""
        with telling(self.path):
            (found,) = self._tables.execute(
                "SELECT (SELECT coalesce(sum(octet_length(body)), 0) FROM blocks)"
                " + (SELECT coalesce(sum(octet_length(line)), 0) FROM entries)"
            ).fetchone()
        return int(found)

    def copy(self, target: Path) -> None:
        """Copy the logbook as it stands to a new SQLite file: the same blocks, heads and entries."""
        with telling(self.path), store.telling(target), self._tables.still():
            with closing(store.open_to_write(target)) as made:
                schema.bring_up(made, target)
                made.execute("BEGIN")
                for table, columns in COPIED.items():
                    found = self._tables.each(f"SELECT {columns} FROM {table}")  # noqa: S608 - names of ours
                    marks = ", ".join("?" * len(columns.split(",")))
                    made.executemany(f"INSERT INTO {table} ({columns}) VALUES ({marks})", found)  # noqa: S608
                made.execute("COMMIT")
                made.execute("PRAGMA journal_mode = DELETE")  # one file, without a log beside it
            with target.open("rb") as file:
                os.fsync(file.fileno())

    def close(self) -> None:
        """Let the shed go, then leave the database, which ends a session only some time after."""
        self.let_go()
        self._tables.close()
