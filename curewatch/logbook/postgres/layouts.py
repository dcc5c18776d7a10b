"""The numbered layouts of the database: each is applied once, in order, by the database's owner."""

from importlib.resources import files
from pathlib import Path
from typing import Any

from curewatch.errors import StoreFailed
from curewatch.logbook.postgres.address import read_address
from curewatch.logbook.postgres.telling import library, telling

BEGIN = (
    "CREATE SCHEMA IF NOT EXISTS curewatch",
    "SET LOCAL search_path = curewatch",
    """CREATE TABLE IF NOT EXISTS layout (
        number integer PRIMARY KEY, name text NOT NULL, applied timestamptz NOT NULL DEFAULT now())""",
)
ONE_AT_A_TIME = 0x43757265  # the lock of those that apply: "Cure"
OLDEST_SERVER = 150000  # views that ask with the rights of who asks came with 15


def layouts() -> dict[int, tuple[str, str]]:
    """Number -> name and SQL of every layout of this edition."""
    found = {}
    for one in files(__package__).joinpath("layout").iterdir():
        number, _, name = one.name.removesuffix(".sql").partition("_")
        if number.isdigit():
            found[int(number)] = name, one.read_text(encoding="utf-8")
    return dict(sorted(found.items()))


def prepare(path: Path) -> list[int]:
    """Apply what is missing, all in one commit; the numbers that were applied. ``path``: an address file.

    Raises
    ------
    StoreFailed
        The server is too old, the layout newer than this edition, or the role may not.
    """
    with telling(path), library().connect(read_address(path).database) as connection:
        if connection.info.server_version < OLDEST_SERVER:
            raise StoreFailed(
                f"logbook {path}: found PostgreSQL {connection.info.server_version // 10000}. Use 15 or later"
            )
        connection.execute("SELECT pg_advisory_xact_lock(%s)", (ONE_AT_A_TIME,))
        for statement in BEGIN:
            connection.execute(statement)
        missing = _missing(connection, path)
        for number, (name, statements) in missing.items():
            connection.execute(statements)
            connection.execute("INSERT INTO layout (number, name) VALUES (%s, %s)", (number, name))
    return list(missing)


def _missing(connection: Any, path: Path) -> dict[int, tuple[str, str]]:
    applied = {number for (number,) in connection.execute("SELECT number FROM layout")}
    known = layouts()
    check(max(applied, default=0), path, carrying=True)
    return {number: one for number, one in known.items() if number not in applied}


def check(found: int, path: Path, *, carrying: bool = False) -> None:
    """Raise StoreFailed if this edition does not know the layout, or needs one that is not there yet."""
    known = max(layouts())
    if found > known:
        raise StoreFailed(
            f"logbook {path} was written by a newer version (layout {found}, this one reads {known}); "
            "update curewatch; nothing was touched"
        )
    if found < known and not carrying:
        raise StoreFailed(
            f"logbook {path}: found layout {found} in the database, this one needs {known}. "
            "Use, as the owner of the database, curewatch logbook prepare FILE"
        )
