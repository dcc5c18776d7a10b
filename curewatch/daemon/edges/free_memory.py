"""Memory that lies free between what the daemon keeps goes back to the system, once a minute.

Theory of operation. Batches and blocks come and go, and small things that stay lie between what they leave.
The C library gives back the end of its heap by itself, never the holes: they grew with the readings.

Source: malloc_trim(3) of the Linux manual pages. A system without it is left as it is.
"""

import ctypes
from contextlib import suppress

from curewatch.units import MINUTE


class FreeMemory:
    """Gives back what is free, once a minute at most."""

    def __init__(self, now: float) -> None:
        """``now``: monotonic. [s]"""
        self._due = now + MINUTE
        self._give_back = None
        with suppress(OSError, AttributeError):
            self._give_back = ctypes.CDLL(None).malloc_trim

    def look(self, now: float) -> None:
        """The daemon's loop goes round: once a minute what is free is given back. [s]"""
        if self._give_back is not None and now >= self._due:
            self._due = now + MINUTE
            self._give_back(0)
