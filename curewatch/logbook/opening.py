"""Which store a place means, and opening it: the one door to a logbook."""

import re
from contextlib import suppress
from pathlib import Path

from curewatch.errors import StoreFailed, UsageError
from curewatch.logbook.forwarded import ForwardedLogbook, kept_by_another
from curewatch.logbook.lock import held
from curewatch.logbook.logbook import Logbook
from curewatch.logbook.port import LogbookStore
from curewatch.logbook.postgres.address import is_address_file


def open_logbook(place: Path | str, *, read_only: bool = False, passing: bool = False) -> LogbookStore:
    """The logbook at this place: a SQLite file, or a file that names a database.

    ``read_only`` opens an existing one beside a process that writes.
    One that a daemon of another user keeps is read here and written through that daemon.
    ``passing`` is for one that is thrown away with the process that made it, in a replay for instance.

    Raises
    ------
    UsageError
        The place is an address itself: key and lock need a file.
    StoreFailed
        It cannot be opened; the message says what to do.
    """
    scheme = re.match(r"([a-z][a-z0-9+.-]*)://", str(place)) if isinstance(place, str) else None
    if scheme:
        raise UsageError(f"logbook: found an address, {scheme[1]}. Use a file that has it (logbook.path)")
    if is_address_file(Path(place)):
        from curewatch.logbook.postgres.logbook import PostgresLogbook

        return PostgresLogbook(place, read_only=read_only)
    if not read_only and kept_by_another(Path(place)):
        return ForwardedLogbook(place)
    return Logbook(place, read_only=read_only, passing=passing)


def watched(place: Path) -> bool | None:
    """Whether a daemon keeps this logbook; none where one on another machine may."""
    found = held(place)
    return None if found is False and is_address_file(place) else found


def keep_note(place: Path | str, key: str, value: bytes) -> None:
    """Keep what a command that reads found, outside the chain; who may only read keeps nothing."""
    with suppress(StoreFailed), open_logbook(place) as logbook:
        logbook.append(notes={key: value})
