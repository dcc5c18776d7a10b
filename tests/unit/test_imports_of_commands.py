"""A command loads no library that it does not need: each costs up to a tenth of a second."""

import subprocess
import sys
from pathlib import Path

import pytest

HEAVY = {
    "numpy",
    "scipy",
    "pandas",
    "pyarrow",
    "matplotlib",
    "rich",
    "pydantic",
    "paho",
    "serial",
    "typst",
    "cryptography",
}

# command -> what it may load: pydantic reads the configuration, numpy unpacks a logbook
ALLOWED = {
    "explain blush": {"pydantic"},
    "alerts": {"pydantic", "numpy"},
    "--help": set(),
}
PROGRAM = """
import sys
from curewatch.cli.main import run
try: run(sys.argv[1:])
except SystemExit as stop: assert not stop.code
print(*sorted(sys.modules), file=sys.stderr)
"""


@pytest.mark.parametrize("command", ALLOWED)
def test_a_command_loads_only_what_it_may(command: str, tmp_path: Path) -> None:
    """In a process of its own, without a configuration."""
    ended = subprocess.run(
        [sys.executable, "-c", PROGRAM, *command.split()],
        capture_output=True,
        text=True,
        check=True,
        cwd=tmp_path,
    )
    assert "curewatch" in ended.stderr
    assert HEAVY & set(ended.stderr.split()) <= ALLOWED[command]
