"""Where a logbook in a database lies: a file of one line, named where the SQLite file would be.

    postgresql://saltmarsh@db1.example,db2.example/sheds?shed=hull

The role is the tenant. ``shed`` is ours, all else is an address as libpq reads it. Key and lock lie beside
the file. A password stands in ``~/.pgpass`` or where ``PGPASSFILE`` says, never here.
"""

from pathlib import Path
from typing import NamedTuple
from urllib.parse import parse_qsl, quote, urlencode, urlsplit

from curewatch.errors import UsageError

SCHEME = b"postgresql://"
LONGEST = 4000  # bytes of the file that are looked at
# a host that went away is noticed in 20 s; who connects waits 5 s for each host
DEFAULTS = {
    "connect_timeout": "5",
    "keepalives_idle": "10",
    "keepalives_interval": "3",
    "keepalives_count": "3",
    "tcp_user_timeout": "20000",
    "application_name": "curewatch",
}


class Address(NamedTuple):
    """Which database, and which shed in it."""

    database: str  # for libpq
    shed: str
    several: bool  # hosts, of which one is the primary


def is_address_file(path: Path) -> bool:
    """Whether this file names a database.

    A SQLite file is never opened here, and has at least one page of 4096 bytes: closing it would let go of
    every lock that this process has on it (POSIX), and another would then take its log away.
    """
    if not path.is_file() or not 0 < path.stat().st_size <= LONGEST:
        return False
    with path.open("rb") as file:
        return file.read(len(SCHEME)) == SCHEME


def read_address(path: Path) -> Address:
    """The address in this file.

    Raises
    ------
    UsageError
        It is no such address, it names no shed, or a password stands in it.
    """
    parts = urlsplit(path.read_bytes()[:LONGEST].decode(errors="replace").strip())
    asked = dict(parse_qsl(parts.query))
    if ":" in parts.netloc.rpartition("@")[0] or "password" in asked:
        raise UsageError(f"{path}: found a password. Use ~/.pgpass for it, mode 0600")
    shed = asked.pop("shed", "")
    if not shed or "\0" in shed or len(shed) > 64:
        raise UsageError(
            f"{path}: found {shed[:64]!r} as the shed. Use postgresql://ROLE@HOST/DATABASE?shed=NAME"
        )
    query = urlencode(DEFAULTS | asked, quote_via=quote)
    several = "," in parts.netloc + asked.get("host", "")
    return Address(f"postgresql://{parts.netloc}{parts.path}?{query}", shed, several)
