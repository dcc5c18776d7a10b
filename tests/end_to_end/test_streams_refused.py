"""Standard streams that are closed, full or left: a status and at most one line, never a traceback."""

import subprocess
import sys
from pathlib import Path

import pytest

from tests.broker import PATIENCE
from tests.terminal import environment

# a reader that is gone before the first byte; the status is that of the command before the pipe
GONE = "mkfifo gone; sleep 5 < gone & exec 3> gone; kill $!; wait; curewatch {} >&3"


def at_shell(home: Path, command: str) -> "subprocess.CompletedProcess[str]":
    """A line at a new user's shell; ``curewatch`` is this very package."""
    program = f"{sys.executable} -m curewatch"
    return subprocess.run(
        ["/bin/sh", "-c", command.replace("curewatch", program)],
        cwd=home,
        env=environment(home),
        capture_output=True,
        text=True,
        timeout=PATIENCE,
        check=False,
    )


@pytest.mark.parametrize(
    ("command", "status", "said"),
    [
        ("curewatch setup <&-", 2, "needs a terminal"),
        ("curewatch tonight >&- 2>&-", 4, ""),
        ("curewatch air 12 80 >/dev/full", 1, "No space left on device"),
        (GONE.format("air 12 80 --json"), 0, ""),
        (GONE.format("--help"), 141, ""),
        *(
            pytest.param(*row, marks=pytest.mark.long)
            for row in (
                ("curewatch job open <&-", 2, "missing: --title"),
                ("curewatch tonight >&-", 4, "curewatch setup"),
                ("curewatch tonight --json >/dev/full", 1, "No space left on device"),
                ("curewatch explain | head -n 1", 0, ""),
                (GONE.format("tonight"), 4, ""),
                (GONE.format("doctor"), 4, ""),
                (GONE.format("resin compare --temperature 12 --humidity 80"), 0, ""),
                (GONE.format("cure --help"), 141, ""),
                (GONE.format("simulate --file - --hours 90"), 141, ""),
            )
        ),
    ],
)
@pytest.mark.few(2)
def test_a_stream_that_refuses_costs_no_traceback(
    tmp_path: Path, command: str, status: int, said: str
) -> None:
    """The answer's status is the verdict's where only the stream is missing."""
    done = at_shell(tmp_path, command)
    assert done.returncode == status
    assert said in done.stderr
    assert "Traceback" not in done.stderr
    assert "Exception ignored" not in done.stderr
