"""A command loads no library that it does not need: each costs up to a tenth of a second."""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from curewatch import configuration
from curewatch.advice.alert import alerts
from curewatch.advice.alert.alerts import AlertKind, Event, Happening, Key
from curewatch.answers import last_look
from curewatch.clock import SystemClock
from curewatch.logbook import Entry, Logbook
from curewatch.readings import Reading
from curewatch.shed.look import Look

NOW = 1_795_000_000.0
HEAVY = {
    "numpy",
    "numpy.ma",
    "numpy.random",
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
    "curewatch.wire.parser",
    "curewatch.advice.alert.watchers",
    "curewatch.model.fit.learning",
}

# command -> what it may load
ALLOWED = {
    "explain blush": set(),
    "alerts": set(),
    "--help": set(),
    "doctor": set(),
    "layer --running": set(),  # while the last look holds
    "sensor list": set(),
    "resin list": set(),
    "setup --example": set(),
    "tonight": {"numpy"},  # nothing comes in, no alert is asked for, no lot was observed
    "windows": {"numpy"},
    "watch --once": {"numpy", "numpy.ma", "rich", "curewatch.advice.alert.watchers"},  # it looks, and draws
}
PROGRAM = """
import sys
from curewatch.cli.main import run
try: run(sys.argv[1:])
except SystemExit as stop: assert stop.code in (None, 0, 3, 4)
print(*sorted(sys.modules), file=sys.stderr)
"""


@pytest.fixture(scope="module")
def looked_at(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a logbook that has a closed block, a reading, an active alert and the last look."""
    folder = tmp_path_factory.mktemp("shed")
    (folder / "curewatch.toml").write_text('[logbook]\npath = "shed.sqlite"\n')
    raised = Event(Happening.RAISED, Key(AlertKind.SENSOR_LOST, "yard"), NOW, "yard: silent", "see to it")
    told = [Entry("alert", alerts.event_as_plain(raised), NOW)]
    with Logbook(folder / "shed.sqlite") as logbook:
        logbook.append([Reading("bench", NOW - 9.0, NOW, 293.15, 0.5)])
        logbook.close_block()
        logbook.append([Reading("bench", NOW, NOW, 293.15, 0.5)], told)
        settings, now = configuration.load(folder / "curewatch.toml"), SystemClock().now()
        look = last_look.looked(Look(logbook, settings, now.utc), logbook, now, logbook.head())
        logbook.append(notes={last_look.NOTE: last_look.as_note(look)})
    return folder


@pytest.mark.parametrize("command", ALLOWED)
def test_a_command_loads_only_what_it_may(command: str, looked_at: Path, tmp_path: Path) -> None:
    """In a process of its own, over a copy of that folder."""
    folder = shutil.copytree(looked_at, tmp_path / "shed")
    ended = subprocess.run(
        [sys.executable, "-c", PROGRAM, *command.split()],
        capture_output=True,
        text=True,
        check=True,
        cwd=folder,
    )
    assert "curewatch" in ended.stderr
    assert ("yard" in ended.stdout) == (command in {"alerts", "setup --example", "watch --once"})
    assert HEAVY & set(ended.stderr.split()) <= ALLOWED[command]
