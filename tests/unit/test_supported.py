"""Where it does not run it says so in one sentence, before it imports what is missing there."""

import socket
import subprocess
import sys
from pathlib import Path

import pytest

from curewatch.cli.supported import check_supported
from curewatch.clock import SystemClock
from curewatch.daemon.edges.local_socket import LocalSocket
from curewatch.errors import UsageError
from tests.broker import PATIENCE

ELSEWHERE = """
import sys, socket, subprocess, typer, typer.core
for module in ("fcntl", "grp", "pwd", "termios", "tty", "resource"):
    sys.modules[module] = None
sys.platform = "win32"
from curewatch.cli.main import run
run(sys.argv[1:])
"""


@pytest.mark.parametrize("command", [["ingest"], ["tonight", "--json"], ["--help"]])
@pytest.mark.few(1)
def test_windows_is_refused_in_a_sentence(command: list[str]) -> None:
    """Where none of the modules is there that only POSIX has: no traceback, status 2."""
    ran = subprocess.run(
        [sys.executable, "-c", ELSEWHERE, *command],
        capture_output=True,
        text=True,
        timeout=PATIENCE,
        check=False,
    )
    assert (ran.returncode, ran.stdout) == (2, "")
    assert (
        ran.stderr == "curewatch: system: found Windows. Use Linux, macOS, or Linux inside Windows (WSL 2)\n"
    )


def test_a_python_of_32_bits_is_refused() -> None:
    with pytest.raises(UsageError, match="Use a 64-bit system"):
        check_supported("linux", 2**31 - 1)
    check_supported("darwin", 2**63 - 1)


def test_a_kernel_that_names_nobody_opens_no_socket(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delattr(socket, "SO_PEERCRED")
    with pytest.raises(UsageError, match=r"--for-group: .* Use Linux"):
        LocalSocket(tmp_path / "logbook.sqlite", SystemClock(), "root")
