"""The durable memory of a shed in one SQLite file: the store that is meant when nothing else is said.

Theory of operation
-------------------
What it does stands in ``tabled``; here is how the file is opened, watched and left.
Any number of processes may read, and several may append; ``hold`` makes one of them the daemon.
"""

import sqlite3
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager, suppress
from pathlib import Path

from curewatch.errors import RecordBroken, StoreFailed
from curewatch.logbook import schema, store
from curewatch.logbook.lock import Lock
from curewatch.logbook.sqlite_tables import SqliteTables
from curewatch.logbook.tabled import TabledLogbook
from curewatch.logbook.verification import Verified
from curewatch.logbook.writer import Writer


class Logbook(TabledLogbook):
    """One SQLite file, open: a :class:`~curewatch.logbook.port.LogbookStore`.

    ``read_only`` opens an existing one beside a process that writes. ``passing`` is for a file that is
    thrown away with the process that made it, in a replay for instance: it is the same in all but that
    a commit does not wait for the disk.
    """

    def __init__(self, path: Path | str, *, read_only: bool = False, passing: bool = False) -> None:
        self.path = Path(path)
        self.read_only = read_only
        self._passing = passing
        self._lock: Lock | None = None
        with store.telling(self.path):
            self._open()

    def _open(self) -> None:
        if self.read_only:
            self._connection = store.open_to_read(self.path)
        else:
            self._connection = store.open_to_write(self.path, passing=self._passing)
        try:
            (schema.check_readable if self.read_only else schema.bring_up)(self._connection, self.path)
        except BaseException:
            self._connection.close()
            raise
        self._tables = SqliteTables(self._connection)
        if self.read_only:
            return
        self._standing = store.FilesOpened(self.path)
        self._damage: StoreFailed | None = None  # what was found by `examine`; of this very file
        self._writer = Writer(self._tables, self.path)

    def _telling(self) -> AbstractContextManager[None]:
        return store.telling(self.path)

    def examine(self) -> None:
        """Look at the file as another process would; a damaged one takes nothing until it is replaced."""
        self._damage = self._damage or store.damage(self.path)

    @contextmanager
    def _writing(self) -> Iterator[None]:
        """Before and after a commit: it is the file that was opened, and nobody has spoilt it.

        If somebody else wrote to it since we did, it is examined before anything more is said to be in it.
        """
        if self.read_only:
            raise StoreFailed(f"logbook {self.path} was opened for reading only")
        with store.telling(self.path):
            self._same_files()
            if self._standing.touched:
                self.examine()
            if self._damage is not None:
                raise self._damage
            yield
            self._same_files()
            self._standing.leave()

    def _same_files(self) -> None:
        """Other files stand at the paths: use those from now on, after saying so. None: keep what is open."""
        try:
            self._standing.check()
        except StoreFailed:
            if self.path.exists():
                with suppress(sqlite3.Error, OSError):  # what it could not do is said by the one raised below
                    store.bring_home(self._connection, self.path)
                self._connection.close()
                self._open()
            raise

    def verify(self) -> Verified:
        """Look at every page of the file, then walk the chain.

        Raises
        ------
        RecordBroken
            Names the first thing that is not as it was.
        """
        with store.telling(self.path):
            try:
                found = str(self._connection.execute("PRAGMA integrity_check(1)").fetchone()[0])
                if found != "ok":
                    raise RecordBroken(f"the file {self.path}", "pages that fit together", found)
                return super().verify()
            except sqlite3.DatabaseError as trouble:
                if isinstance(trouble, sqlite3.OperationalError):
                    raise  # locked, or the disk: nothing is known of the file
                raise RecordBroken(
                    f"the file {self.path}", "pages that can be read", str(trouble)
                ) from trouble

    # -- the file -------------------------------------------------------------------------------

    def hold(self, holder: str, since: float) -> None:
        """Become the one daemon of this logbook until :meth:`let_go` or :meth:`close`.

        Raises
        ------
        StoreFailed
            Another process is; the message names it, its process number and since when.
        """
        with store.telling(self.path):
            self._lock = Lock(self.path, holder, since)

    def let_go(self) -> None:
        """Let another hold it."""
        if self._lock is not None:
            self._lock.release()
            self._lock = None

    def size(self) -> int:
        """Bytes of the file, and of the log beside it that it has not taken in yet."""
        log = self.path.with_name(self.path.name + "-wal")
        with store.telling(self.path):
            return self.path.stat().st_size + (log.stat().st_size if log.exists() else 0)

    def copy(self, target: Path) -> None:
        """Copy the logbook as it stands to a new file, while others go on writing."""
        with store.telling(target):
            store.copy(self.path, target)

    def close(self) -> None:
        """Leave the file in order; the lock is let go."""
        self._connection.close()
        self.let_go()
