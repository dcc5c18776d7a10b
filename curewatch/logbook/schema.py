"""The tables of a logbook, their version, and the way from an older version to this one."""

import sqlite3
from collections.abc import Callable, Mapping
from contextlib import closing
from pathlib import Path

from curewatch.errors import StoreFailed
from curewatch.logbook import columns

APPLICATION = 0x43757265  # "Cure", SQLite's application_id: tells our file from others
VERSION = 4

TABLES = """
CREATE TABLE sensors (
    number INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE,
    readings INTEGER NOT NULL, earliest INTEGER NOT NULL, latest INTEGER NOT NULL,
    form INTEGER NOT NULL, last BLOB NOT NULL  -- the latest reading, and the form of its bytes
);
CREATE TABLE blocks (                      -- the chain; the face of each block, then its packed readings
    number INTEGER PRIMARY KEY, form INTEGER NOT NULL, closed INTEGER NOT NULL, opened INTEGER NOT NULL,
    previous TEXT NOT NULL,                -- head before it: so each row can be checked alone
    readings INTEGER NOT NULL, readings_digest TEXT NOT NULL,
    entries INTEGER NOT NULL, entries_digest TEXT NOT NULL, head TEXT NOT NULL,
    body BLOB                              -- null: removed by retention
);
CREATE TABLE spans (                       -- which closed blocks hold a sensor's readings of some time
    sensor INTEGER NOT NULL, earliest INTEGER NOT NULL, block INTEGER NOT NULL, latest INTEGER NOT NULL,
    PRIMARY KEY (sensor, earliest, block)
) WITHOUT ROWID;
CREATE TABLE entries (
    number INTEGER PRIMARY KEY, block INTEGER NOT NULL, kind TEXT NOT NULL, job TEXT,
    at INTEGER NOT NULL, key TEXT UNIQUE, line TEXT NOT NULL
);
CREATE INDEX entries_by_kind ON entries (kind, number);
CREATE INDEX entries_by_job ON entries (job, number) WHERE job IS NOT NULL;
CREATE TABLE hours (                       -- rollup, made from the readings; not part of the chain
    sensor INTEGER NOT NULL, hour INTEGER NOT NULL,
    quantity INTEGER NOT NULL,             -- its place in the table of quantities, from 0
    readings INTEGER NOT NULL, lowest INTEGER NOT NULL, total INTEGER NOT NULL, highest INTEGER NOT NULL,
    PRIMARY KEY (sensor, hour, quantity)
) WITHOUT ROWID;
CREATE TABLE rejected (                    -- counts of what was rejected; written into the chain at each seal
    day INTEGER NOT NULL, source TEXT NOT NULL, sensor TEXT NOT NULL, reason TEXT NOT NULL,
    count INTEGER NOT NULL, last_at INTEGER NOT NULL, last_raw BLOB NOT NULL,
    told INTEGER NOT NULL DEFAULT 0,       -- of the count: is in an entry of the chain already
    PRIMARY KEY (day, source, sensor, reason)
) WITHOUT ROWID;
CREATE TABLE notes (key TEXT PRIMARY KEY, value BLOB NOT NULL) WITHOUT ROWID;
"""

Migration = Callable[[sqlite3.Connection], None]


MIGRATIONS: Mapping[int, Migration] = {}  # from version n to n + 1; the first that can be carried over is 4


def create(connection: sqlite3.Connection) -> None:
    """Lay out an empty logbook, in one transaction."""
    connection.executescript(
        f"BEGIN IMMEDIATE;{TABLES}"
        f"PRAGMA application_id = {APPLICATION};PRAGMA user_version = {VERSION};COMMIT;"
    )


def version(connection: sqlite3.Connection, path: Path) -> int:
    """The version of the file; 0 for an empty one.

    Raises
    ------
    StoreFailed
        The file is a database of something else.
    """
    application = connection.execute("PRAGMA application_id").fetchone()[0]
    number = int(connection.execute("PRAGMA user_version").fetchone()[0])
    empty = connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0] == 0
    if application != APPLICATION and not empty:
        raise StoreFailed(f"{path} is a database, but not a logbook; name another file")
    return 0 if empty else number


def check_readable(connection: sqlite3.Connection, path: Path) -> None:
    """Reading needs this version's layout: a file is carried over only by who may write it.

    Raises
    ------
    StoreFailed
        The file is newer or older than this program, or is not a logbook.
    """
    found = version(connection, path)
    _refuse_other(connection, path, found, VERSION, MIGRATIONS)
    if found == 0:
        raise StoreFailed(f"{path} is empty: nothing was written into it yet; `curewatch watch` begins it")
    if found < VERSION:
        raise StoreFailed(
            f"{path} was written by an older version (layout {found}, this one reads {VERSION}); "
            "`curewatch ingest` or `watch` carries it over once, a copy made first"
        )


def check_form(form: int, path: Path) -> None:
    """Raise StoreFailed if blocks of this form cannot be read by this program."""
    known = columns.newest().number
    if form > known:
        raise _newer(path, "form", form, known)


def _refuse_other(
    connection: sqlite3.Connection, path: Path, found: int, known: int, migrations: Mapping[int, Migration]
) -> None:
    if found > known:
        raise _newer(path, "layout", found, known)
    if 0 < found < known and any(step not in migrations for step in range(found, known)):
        raise StoreFailed(
            f"{path} was written by an edition that this one cannot carry over (layout {found}, this one "
            f"reads {known}); read it with that edition and name another file here; it was not touched"
        )
    if found == known:  # forms only grow along the chain
        last = connection.execute("SELECT form FROM blocks ORDER BY number DESC LIMIT 1").fetchone()
        check_form(last[0] if last else 0, path)


def _newer(path: Path, what: str, found: int, known: int) -> StoreFailed:
    return StoreFailed(
        f"{path} was written by a newer version ({what} {found}, this one reads {known}); "
        "update curewatch; the file was not touched"
    )


def bring_up(
    connection: sqlite3.Connection,
    path: Path,
    *,
    target: int = VERSION,
    migrations: Mapping[int, Migration] = MIGRATIONS,
) -> None:
    """Create the tables of a new file, or carry an older file to this version, a copy made first.

    Raises
    ------
    StoreFailed
        The file is newer than this program, or is not a logbook.
    """
    found = version(connection, path)
    if found == 0:
        create(connection)
        return
    _refuse_other(connection, path, found, target, migrations)
    if found < target:
        _copy(connection, path.with_name(f"{path.name}.layout-{found}"))
    for step in range(found, target):
        _step(connection, migrations[step], step + 1)


def _copy(connection: sqlite3.Connection, target: Path) -> None:
    if target.exists():
        return  # of an earlier try; the file at hand may be half-way only between transactions
    with closing(sqlite3.connect(target)) as copy:
        connection.backup(copy)


def _step(connection: sqlite3.Connection, migration: Migration, reached: int) -> None:
    connection.execute("BEGIN IMMEDIATE")
    try:
        migration(connection)
        connection.execute(f"PRAGMA user_version = {reached}")
    except BaseException:
        connection.execute("ROLLBACK")
        raise
    connection.execute("COMMIT")
