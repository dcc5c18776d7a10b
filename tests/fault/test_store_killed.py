"""Calamity: the process is killed while it writes."""

import signal
import subprocess
import sys
from pathlib import Path

import pytest

from curewatch.logbook import Logbook
from tests import record_world as world

CHILD = """
import sys
from curewatch.logbook import Entry, Logbook
from tests import record_world as world

readings = list(world.readings(world.OPENED, world.OPENED + 2 * 86400.0, step=30.0))
with Logbook(sys.argv[1]) as logbook:
    logbook.hold("ingest", 0.0)
    for n in range(0, 10_000, 25):
        logbook.append(readings[n : n + 25], [Entry("note", {"n": n}, readings[n].time, key=str(n))])
        print(n + 25, flush=True)
    sys.stdin.read()  # however late the kill comes, it finds somebody
"""


@pytest.mark.parametrize("after", [1, 7, 40])
@pytest.mark.few(1)
def test_what_was_acknowledged_is_there_after_a_kill(tmp_path: Path, after: int):
    """kill -9 after some commits: all that was said to be stored is, the chain holds, nothing comes twice."""
    path = tmp_path / "logbook.sqlite"
    command = [sys.executable, "-c", CHILD, str(path)]
    told = 0
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as child:
        assert child.stdout is not None
        for _ in range(after):
            told = int(child.stdout.readline())
        child.send_signal(signal.SIGKILL)
        rest = [int(line) for line in child.stdout if line.strip()]
    told = max([told, *rest])
    assert child.returncode == -signal.SIGKILL  # the fault happened
    readings = list(world.readings(world.OPENED, world.OPENED + 2 * 86400.0, step=30.0))
    with Logbook(path) as logbook:
        logbook.hold("ingest", 0.0)
        stored = logbook.verify().head.readings
        assert stored in {told, told + 25}
        assert len(logbook.entries()) == stored // 25
        assert logbook.append(readings[: stored + 100]) == 100
        assert logbook.verify().head.readings == stored + 100
