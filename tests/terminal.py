"""The program on a real terminal: in an empty home, with nothing inherited that a test does not know."""

import os
import shlex
import sys
from pathlib import Path

import pexpect

import curewatch
from tests.broker import PATIENCE

BESIDE = str(Path(curewatch.__file__).parents[1])  # where this very package is imported from


def environment(home: Path, **more: str) -> dict[str, str]:
    """A new user's environment."""
    kept = {"PATH": os.environ["PATH"], "PYTHONPATH": BESIDE}
    return kept | {"HOME": str(home), "TERM": "xterm", "LANG": "C.UTF-8", "TZ": "Europe/Lisbon"} | more


def _given_time(program: pexpect.spawn) -> pexpect.spawn:
    """What is closed while it runs may need more than the library's tenth of a second to be gone."""
    program.ptyproc.delayafterterminate = 0.5  # s, after each of four signals
    return program


def spawn(home: Path, *arguments: str, rows: int = 24, columns: int = 80, **more: str) -> pexpect.spawn:
    """``curewatch`` with these arguments on a terminal of this size, run in ``home``."""
    program = pexpect.spawn(
        sys.executable,
        ["-m", "curewatch", *arguments],
        cwd=home,
        env=environment(home, **more),
        dimensions=(rows, columns),
        timeout=PATIENCE,
        encoding="utf-8",
    )
    return _given_time(program)


def spawn_in_shell(home: Path, *arguments: str, rows: int, columns: int, **more: str) -> pexpect.spawn:
    """The same as somebody's shell runs it: the terminal outlives the program, which says its status."""
    command = shlex.join([sys.executable, "-m", "curewatch", *arguments])
    program = pexpect.spawn(
        "/bin/sh",
        ["-c", f'trap : INT; {command}; echo "left with $?"; read line'],
        cwd=home,
        env=environment(home, **more),
        dimensions=(rows, columns),
        timeout=PATIENCE,
        encoding="utf-8",
    )
    return _given_time(program)
