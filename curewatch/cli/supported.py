"""On which systems it runs; said in one sentence where it does not."""

import sys

from curewatch.errors import UsageError

WORDS_64 = 2**32  # the largest size is above it where addresses have 64 bits


def check_supported(system: str = sys.platform, largest: int = sys.maxsize) -> None:
    """Refuse a system on which a logbook could not be kept safely.

    Raises
    ------
    UsageError
        Windows has no lock of the kind that a logbook needs, and there are no libraries for 32 bits.
    """
    if system in {"win32", "cygwin"}:
        raise UsageError("system: found Windows. Use Linux, macOS, or Linux inside Windows (WSL 2)")
    if largest < WORDS_64:
        raise UsageError("system: found Python of 32 bits. Use a 64-bit system and its Python")
