"""The SQLite file: opening it, and saying what is wrong with it in words a person can act on."""

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import NamedTuple

from curewatch.errors import StoreFailed

BUSY_MS = 5000  # how long to wait for another process's commit
PAGES = 2000  # copied at a time: a writer waits for one such step at most

FULL = "the disk is full; make room, nothing stored so far is lost"
_WHAT_TO_DO = {
    sqlite3.SQLITE_BUSY: "another program holds it locked; close that program (a database browser?)",
    sqlite3.SQLITE_LOCKED: "another program holds it locked; close that program (a database browser?)",
    sqlite3.SQLITE_FULL: FULL,
    sqlite3.SQLITE_IOERR_SHMSIZE: FULL,  # no room for the file beside it that its readers and writers share
    sqlite3.SQLITE_READONLY: "it cannot be written; look at the permissions and the mount",
    sqlite3.SQLITE_IOERR: "the disk does not answer; look at the card or disk and at `dmesg`",
    sqlite3.SQLITE_CANTOPEN: "it cannot be opened; look at the path, the folder and its permissions",
    sqlite3.SQLITE_PERM: "it may not be opened; look at the permissions",
    sqlite3.SQLITE_CORRUPT: "it is damaged; keep it. `curewatch logbook salvage NEW` takes what is whole",
    sqlite3.SQLITE_NOTADB: "it is not a logbook, or is damaged from its first page. Restore the last backup, "
    "or: curewatch logbook salvage NEW",
}


def failed(path: Path, trouble: sqlite3.Error | OSError) -> StoreFailed:
    """What a person must know and do about an error of the store."""
    if isinstance(trouble, OSError):
        return StoreFailed(f"logbook {path}: {trouble.strerror or trouble}")
    code = getattr(trouble, "sqlite_errorcode", 0)
    primary = _WHAT_TO_DO.get(code & 0xFF, "see the message of SQLite")  # the low byte
    advice = _WHAT_TO_DO.get(code, primary)
    return StoreFailed(f"logbook {path}: {advice} (SQLite: {trouble})")


@contextmanager
def telling(path: Path) -> Iterator[None]:
    """Errors of SQLite and of the file system leave as :class:`StoreFailed`."""
    try:
        yield
    except (sqlite3.Error, OSError) as trouble:
        raise failed(path, trouble) from trouble


def open_to_write(path: Path, *, passing: bool = False) -> sqlite3.Connection:
    """Open or create the file: write-ahead log, each commit on the disk before it returns.

    A ``passing`` one goes with this process: nothing waits for the disk.
    """
    _refuse_folder(path)
    path.parent.mkdir(parents=True, exist_ok=True)
    connection = sqlite3.connect(
        path, isolation_level=None, timeout=BUSY_MS / 1000, check_same_thread=False, cached_statements=64
    )
    try:
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute(f"PRAGMA synchronous = {'OFF' if passing else 'FULL'}")
        connection.execute("PRAGMA cache_size = -500")  # KiB: the ends of a dozen trees are all it writes to
    except sqlite3.Error:
        connection.close()
        raise
    return connection


def open_to_read(path: Path) -> sqlite3.Connection:
    """Open an existing file for reading, beside a daemon that writes."""
    if not path.exists():
        raise StoreFailed(f"there is no logbook at {path}; `curewatch ingest` or `watch` begins one")
    _refuse_folder(path)
    uri = path.absolute().as_uri()
    connection = sqlite3.connect(f"{uri}?mode=ro", uri=True, timeout=BUSY_MS / 1000, isolation_level=None)
    try:
        connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()
    except sqlite3.Error as trouble:
        connection.close()
        if not isinstance(trouble, sqlite3.OperationalError):
            raise
        # on a read-only medium the write-ahead log's index cannot be made; then nobody writes either
        connection = sqlite3.connect(f"{uri}?mode=ro&immutable=1", uri=True, isolation_level=None)
    return connection


def _refuse_folder(path: Path) -> None:
    if path.is_dir():
        raise StoreFailed(f"logbook {path}: that is a folder; name a file in it (logbook.path)")


def damage(path: Path) -> StoreFailed | None:
    """What another process would find damaged; None if every page can be read (10 ms for 4 MB).

    By a connection of its own, because the pages a writer holds in memory hide what happens beneath it.
    """
    uri = f"{path.absolute().as_uri()}?mode=ro"
    try:
        with closing(sqlite3.connect(uri, uri=True, isolation_level=None)) as connection:
            found = str(connection.execute("PRAGMA quick_check(1)").fetchone()[0])
        if found != "ok":
            return StoreFailed(f"logbook {path}: {_WHAT_TO_DO[sqlite3.SQLITE_CORRUPT]} (SQLite: {found})")
    except sqlite3.DatabaseError as trouble:
        code = getattr(trouble, "sqlite_errorcode", 0) & 0xFF
        return failed(path, trouble) if code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB) else None
    return None


def copy(source: Path, target: Path) -> None:
    """The file as it stands, with what is in its log, as one new file that is on the disk."""
    with closing(open_to_read(source)) as origin, closing(sqlite3.connect(target)) as made:
        origin.backup(made, pages=PAGES)
        made.execute("PRAGMA journal_mode = DELETE")  # one file, without a log beside it
    with target.open("rb") as file:
        os.fsync(file.fileno())


def bring_home(connection: sqlite3.Connection, path: Path) -> None:
    """The log was taken from beside its file: put what is in it there, unless another log took its place."""
    log = path.with_name(path.name + "-wal")
    if not log.exists() or log.stat().st_size == 0:
        connection.execute("PRAGMA wal_checkpoint(FULL)")


class FileMark(NamedTuple):
    """What the file system says of a file."""

    device: int
    inode: int
    size: int
    changed: int  # when it was written last [ns]; its clock ticks every few ms


class FilesOpened:
    """Which files a connection was opened on, and how this process left them.

    Readings go into the write-ahead log first, so it is as much the logbook as the file beside it.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._left = {file: _mark(file) for file in (str(path), f"{path}-wal")}
        self._found = self._left  # when last looked at: they are asked for twice a commit

    def check(self) -> None:
        """Look at the files; StoreFailed if a path no longer leads to the one that was opened."""
        self._found = {file: _mark(file) for file in self._left}
        for file, before in self._left.items():
            now = self._found[file]
            if before is not None and (now is None or now[:2] != before[:2]):
                raise StoreFailed(
                    f"logbook {self.path}: the file {Path(file).name} was removed or replaced while in use; "
                    "put it back from a backup (or start again without it: a new logbook begins)"
                )

    @property
    def touched(self) -> bool:
        """Whether somebody else had written to a file, when it was looked at, since it was left."""
        return self._found != self._left

    def leave(self) -> None:
        """We wrote, then looked: whatever differs from that was not done by us."""
        self._left = self._found


def _mark(file: str) -> FileMark | None:
    try:
        found = os.stat(file)  # noqa: PTH116 - called at every commit
    except FileNotFoundError:
        return None
    return FileMark(found.st_dev, found.st_ino, found.st_size, found.st_mtime_ns)
