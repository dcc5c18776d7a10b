"""Memory that a command once had is its own until it ends."""

import platform
import subprocess
import sys

import pytest

PIECES = """
import sys
if sys.argv[1] == "kept":
    from curewatch.cli.kept_heap import keep_free_memory
    keep_free_memory()
def resident():
    with open("/proc/self/statm") as told:
        return int(told.read().split()[1])
before = resident()
pieces = [bytearray(b"x") * 2**20 for _ in range(40)]
there = resident()
pieces.clear()
print((resident() - before) / (there - before))
"""


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="mallopt is of glibc")
def test_what_was_freed_is_kept() -> None:
    """Forty megabytes are made and let go: by default they are given back, and would be fetched anew."""
    usual, kept = (
        float(subprocess.run([sys.executable, "-c", PIECES, how], capture_output=True, check=True).stdout)
        for how in ("usual", "kept")
    )
    assert usual < 0.2
    assert kept > 0.8
