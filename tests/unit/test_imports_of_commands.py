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
# The program is imported once. Each command then runs in a process of its own that goes on from there.
PROGRAM = """
import gc, os, sys
gc.disable()  # as it is started
looks = lambda: sum(each["collections"] for each in gc.get_stats())
before = looks()
from curewatch.cli.main import run
for words in sys.argv[1:]:
    child = os.fork()
    if child:
        assert os.waitpid(child, 0)[1] == 0, words
        continue
    os.chdir(words.replace(" ", "_"))
    for number, name in ((1, "said"), (2, "loaded")):
        os.dup2(os.open(name, os.O_WRONLY | os.O_CREAT), number)
    try: run(words.split())
    except SystemExit as stop: assert stop.code in (None, 0, 3, 4)
    print(gc.isenabled(), looks() - before, *sorted(sys.modules), file=sys.stderr, flush=True)
    sys.stdout.flush()
    os._exit(0)
"""


@pytest.fixture(scope="module")
def looked_at(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a logbook that has a closed block, a reading, an active alert and the last look."""
    folder = tmp_path_factory.mktemp("shed")
    (folder / "curewatch.toml").write_text('[logbook]\npath = "shed.sqlite"\n')
    raised = Event(Happening.RAISED, Key(AlertKind.CONDENSATION), NOW, "the yard sweats", "see to it")
    told = [Entry("alert", alerts.event_as_plain(raised), NOW)]
    with Logbook(folder / "shed.sqlite") as logbook:
        logbook.append([Reading("bench", NOW - 9.0, NOW, 293.15, 0.5)])
        logbook.close_block()
        logbook.append([Reading("bench", NOW, NOW, 293.15, 0.5)], told)
        settings, now = configuration.load(folder / "curewatch.toml"), SystemClock().now()
        look = last_look.looked(Look(logbook, settings, now.utc), logbook, now, logbook.head())
        logbook.append(notes={last_look.NOTE: last_look.as_note(look)})
    return folder


@pytest.fixture(scope="module")
def ran(looked_at: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Each command, over a copy of that folder: what it said, and what was loaded at its end."""
    place = tmp_path_factory.mktemp("ran")
    for command in ALLOWED:
        shutil.copytree(looked_at, place / command.replace(" ", "_"))
    subprocess.run([sys.executable, "-c", PROGRAM, *ALLOWED], check=True, cwd=place)
    return place


@pytest.mark.parametrize("command", ALLOWED)
def test_a_command_loads_only_what_it_may(command: str, ran: Path) -> None:
    """In a process of its own, over a copy of that folder."""
    said, loaded = ((ran / command.replace(" ", "_") / name).read_text() for name in ("said", "loaded"))
    assert "curewatch" in loaded
    assert ("yard" in said) == (command in {"alerts", "setup --example", "watch --once"})
    assert HEAVY & set(loaded.split()) <= ALLOWED[command]


@pytest.mark.parametrize("command", ALLOWED)
def test_a_command_looks_for_no_garbage_among_what_it_imports(command: str, ran: Path) -> None:
    """It looks for some once it has made more than that."""
    enabled, looks, *_ = (ran / command.replace(" ", "_") / "loaded").read_text().split()
    assert (enabled, looks) == (str(command != "--help"), "0")


def test_a_daemon_loads_the_serial_library_for_a_port_alone() -> None:
    """It is 0.4 MB of memory, which a shed of brokers has free."""
    asked = "import sys, curewatch.daemon.loop; print('paho' in sys.modules, 'serial' in sys.modules)"
    told = subprocess.run([sys.executable, "-c", asked], capture_output=True, check=True, text=True)
    assert told.stdout.split() == ["True", "False"]
