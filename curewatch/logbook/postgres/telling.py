"""What is wrong with a database, in words that a person can act on."""

import logging
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from curewatch.errors import StoreFailed
from curewatch.extras import require

STANDBY = "the server is a standby and takes no writing; name the primary in the address, too"
_BY_CODE = {
    "53100": "the disk of the database is full; make room there, nothing stored so far is lost",
    "55P03": "another program is writing to this shed and has not ended; try again, or end that program",
    "25006": STANDBY,
    "25P03": "this program was too slow in the middle of a commit; nothing of it is stored",
    "42501": "this role may not do that; GRANT curewatch_tenant TO it, and use a role that began the shed",
    "28P01": "the server refuses the password; look at ~/.pgpass",
    "28000": "the server refuses this role; look at its pg_hba.conf",
    "3D000": "there is no such database; look at the address",
    "57P03": "the server is starting or ending; try again",
}
GONE = "the database does not answer or the connection was lost; nothing that was acknowledged is lost"


def library() -> Any:
    """psycopg; a UsageError with the line that installs it where it is missing."""
    logging.getLogger("psycopg").setLevel(logging.CRITICAL)  # what it would say is said by StoreFailed
    return require("psycopg", "fleet", "a logbook in PostgreSQL")


def failed(path: Path, trouble: Exception) -> StoreFailed:
    """What a person must know and do about an error of the database."""
    code = getattr(trouble, "sqlstate", None)
    words = str(trouble).strip()
    gone = GONE
    if "read-only" in words or "recovery" in words:
        gone = _BY_CODE["25006"]
    if code is None and "password authentication failed" in words:
        gone = _BY_CODE["28P01"]
    advice = _BY_CODE.get(code or "") or (gone if not code or code[:2] in ("08", "57") else "")
    first = words.partition("\n")[0][:200]
    return StoreFailed(f"logbook {path}: {advice or 'see the message of PostgreSQL'} (PostgreSQL: {first})")


@contextmanager
def telling(path: Path) -> Iterator[None]:
    """Errors of the database leave as :class:`StoreFailed`."""
    psycopg = library()
    try:
        yield
    except psycopg.Error as trouble:
        raise failed(path, trouble) from trouble
