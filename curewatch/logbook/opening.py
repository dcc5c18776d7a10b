"""Which store a place means, and opening it: the one door to a logbook."""

import re
from pathlib import Path

from curewatch.errors import UsageError
from curewatch.logbook.logbook import Logbook
from curewatch.logbook.port import LogbookStore


def open_logbook(place: Path | str, *, read_only: bool = False, passing: bool = False) -> LogbookStore:
    """The logbook at this place. ``read_only`` opens an existing one beside a process that writes.

    ``passing`` is for one that is thrown away with the process that made it, in a replay for instance.

    Raises
    ------
    UsageError
        The place is an address of a store that this edition does not have.
    StoreFailed
        It cannot be opened; the message says what to do.
    """
    scheme = re.match(r"([a-z][a-z0-9+.-]*)://", str(place)) if isinstance(place, str) else None
    if scheme:
        raise UsageError(f"logbook: found a store of kind {scheme[1]}; use a file (logbook.path)")
    return Logbook(place, read_only=read_only, passing=passing)
