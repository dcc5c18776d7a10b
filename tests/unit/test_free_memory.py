"""Holes between what is kept go back to the system."""

import platform
import subprocess
import sys

import pytest

HOLES = """
import sys
from curewatch.daemon.edges.free_memory import FreeMemory
memory = FreeMemory(0.0)
def resident():
    with open("/proc/self/statm") as told:
        return int(told.read().split()[1])
before = resident()
pieces = [bytes(4000) for _ in range(10_000)]
there = resident()
kept = pieces[::100]
pieces.clear()
memory.look(float(sys.argv[1]))
print((resident() - before) / (there - before))
"""


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="malloc_trim is of glibc")
def test_what_lies_free_between_is_given_back_once_a_minute() -> None:
    """Forty megabytes are made, and one piece in a hundred stays; before the minute all of them are held."""
    early, due = (
        float(subprocess.run([sys.executable, "-c", HOLES, when], capture_output=True, check=True).stdout)
        for when in ("59", "60")
    )
    assert early > 0.9
    assert due < 0.2
