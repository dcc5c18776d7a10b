"""The memory that threads of the page would leave in the daemon: one heap, and what is free given back.

Source: mallopt(3) and malloc_trim(3) of the Linux manual pages. A system without glibc has neither, and is
left as it is. Measured in this room's README.
"""

import ctypes
from contextlib import suppress

_ARENAS = -8  # M_ARENA_MAX


def share_one_arena() -> None:
    """Let all threads use one heap: else glibc gives each a piece of its own."""
    with suppress(OSError, AttributeError):
        ctypes.CDLL(None).mallopt(_ARENAS, 1)


def give_back() -> None:
    """Give the system what is free."""
    with suppress(OSError, AttributeError):
        ctypes.CDLL(None).malloc_trim(0)
