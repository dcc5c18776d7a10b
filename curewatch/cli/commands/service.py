"""``curewatch service``: the systemd unit, with the program's own place in it."""

import sys
from importlib.resources import files
from pathlib import Path

import typer

WRITTEN = "/usr/local/bin/curewatch"  # what stands in the unit as it is packaged


def unit(program: Path) -> str:
    """The unit as text, starting the program from where it is."""
    text = files("curewatch.cli").joinpath("curewatch.service").read_text(encoding="utf-8")
    return text.replace(WRITTEN, str(program))


def app() -> None:
    """The unit file for systemd: own user, read-only system, restart with limits, watchdog.

    How to install it stands in its first lines.

    Example: curewatch service
    """
    typer.echo(unit(_program()), nl=False)


def _program() -> Path:
    """The command beside the interpreter that runs now, else as it was packaged."""
    beside = Path(sys.executable).parent / "curewatch"
    return beside if beside.exists() else Path(WRITTEN)
