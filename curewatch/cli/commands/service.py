"""``curewatch service``: the systemd unit, with the program's own place in it."""

import sys
from importlib.resources import files
from pathlib import Path

import typer

from curewatch.cli.terminal import note

WRITTEN = "/usr/local/bin/curewatch"  # what stands in the unit as it is packaged

ELSEWHERE = "install it elsewhere for a service: python3 -m venv /opt/curewatch"


def unit(program: Path) -> str:
    """The unit as text, starting the program from where it is."""
    text = files("curewatch.cli").joinpath("curewatch.service").read_text(encoding="utf-8")
    return text.replace(WRITTEN, str(program))


def app() -> None:
    """The unit file for systemd: own user, read-only system, restart with limits, watchdog.

    How to install it stands in its first lines.

    Example: curewatch service
    """
    program = _program()
    typer.echo(unit(program), nl=False)
    if program.is_relative_to("/home") or program.is_relative_to("/root"):
        note(f"{program} is in somebody's home, which the unit may not see (ProtectHome); {ELSEWHERE}")


def _program() -> Path:
    """The command beside the interpreter that runs now, else as it was packaged."""
    beside = Path(sys.executable).parent / "curewatch"
    return beside if beside.exists() else Path(WRITTEN)
