"""Memory of a command that answers once: what one array leaves free is the next one's.

Source: mallopt(3) of the Linux manual pages. A system without glibc has no such choice, and is left as it is.
"""

import ctypes
from contextlib import suppress

_TRIM, _MMAP = -1, -3  # M_TRIM_THRESHOLD, M_MMAP_THRESHOLD
_FREE = 2**28  # bytes that may lie free before some are given back: more than a command ever has
_LARGE = 2**25  # bytes from which an array has its own mapping; glibc takes no more


def keep_free_memory() -> None:
    """Until the process ends: else it is given back, and the system clears it anew for the next array."""
    with suppress(OSError, AttributeError):
        library = ctypes.CDLL(None)
        library.mallopt(_TRIM, _FREE)
        library.mallopt(_MMAP, _LARGE)
