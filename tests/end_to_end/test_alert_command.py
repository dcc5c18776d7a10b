"""The user's own command for alerts: it gets the event, holds nothing up, and its failures are said."""

import json
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from curewatch import configuration
from curewatch.advice.alert.alerts import AlertKind, Event, Happening, Key, event_as_plain
from curewatch.clock import Instant, ManualClock
from curewatch.daemon.edges.alert_command import WAITING, AlertCommand
from curewatch.daemon.edges.process import ServiceManager
from curewatch.daemon.events import Evaluated, Show
from curewatch.daemon.loop import Daemon
from curewatch.errors import ConfigurationError
from curewatch.phrases import phrase
from tests.broker import until

EVENT = {"happening": "raised", "alert": "stall", "text": 'too cold; `reboot` $(id) "ä\x1b[2J'}


class Told:
    """A command made of a few lines of Python, and what was said of it."""

    def __init__(self, folder: Path, program: str, longest: float = 20.0) -> None:
        self.kept = folder / "kept"
        self.said: list[str] = []
        self.command = AlertCommand(
            (sys.executable, "-c", f"import os, sys, time\nkept = {str(self.kept)!r}\n{program}"),
            longest,
            self.said.append,
        )


@pytest.fixture
def made() -> Iterator[list[Told]]:
    found: list[Told] = []
    yield found
    for each in found:
        each.command.stop()


def test_it_gets_the_event_as_one_json_object_and_no_secret(
    tmp_path: Path, made: list[Told], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Byte for byte what was stored, as pure ASCII; a broker's password is not in its environment."""
    monkeypatch.setenv("CUREWATCH_MQTT_PASSWORD", "hidden")
    program = (
        "said = sys.stdin.read()\nopen(kept + '~', 'w').write(said + str('hidden' in os.environ.values()))"
    )
    told = Told(tmp_path, f"{program}\nos.rename(kept + '~', kept)")
    made.append(told)
    told.command.tell(EVENT)
    until(told.kept.exists)
    said, secret = told.kept.read_text().rsplit("\n", 1)
    assert json.loads(said) == EVENT
    assert said.isascii()
    assert secret == "False"
    assert told.said == []


@pytest.mark.parametrize(
    ("program", "said"),
    [
        ("sys.exit('no bell\\x1b[2J in this shed')", "status 1: no bell"),
        ("sys.stderr.write('x' * 3_000_000); sys.exit(3)", "status 3: xxx"),
        ("os.close(0); sys.exit(4)", "status 4: no words"),
    ],
)
def test_a_failure_is_said_in_a_line(tmp_path: Path, made: list[Told], program: str, said: str) -> None:
    """With its status and the begin of its complaint, however much it writes."""
    told = Told(tmp_path, program)
    made.append(told)
    told.command.tell(EVENT)
    until(lambda: told.said)
    assert said in told.said[0]
    assert len(told.said[0]) < 500


def test_one_that_never_ends_is_ended_with_its_children(tmp_path: Path, made: list[Told]) -> None:
    """It is killed after its time, also a child that keeps its standard error open; the next event runs."""
    for longest in (0.4, 5.0, 25.0):  # a busy machine may need more than a moment to come as far as the fork
        told = Told(tmp_path, "os.fork()\nopen(kept, 'a').write('x')\ntime.sleep(600)", longest=longest)
        made.append(told)
        for _ in range(2):
            told.command.tell(EVENT)
        until(lambda told=told: len(told.said) == 2)
        assert all(f"ended after {longest:g} s" in said for said in told.said)
        written = told.kept.read_text() if told.kept.exists() else ""
        if written == "xxxx":
            break
        told.kept.unlink(missing_ok=True)
    assert written == "xxxx"


def test_telling_never_waits_and_what_is_too_much_is_said(tmp_path: Path, made: list[Told]) -> None:
    """Hundreds of alerts while one run hangs: none waits for it, the surplus is named."""
    told = Told(tmp_path, "time.sleep(600)", longest=60.0)
    made.append(told)
    for _ in range(300):
        told.command.tell(EVENT)
    assert 300 - WAITING - 1 <= len(told.said) <= 300 - WAITING
    assert "left out: too cold" in told.said[0]


def test_one_that_is_not_there_is_said(made: list[Told], tmp_path: Path) -> None:
    """A wrong name is no traceback."""
    said: list[str] = []
    command = AlertCommand((str(tmp_path / "gone"),), 5.0, said.append)
    command.tell(EVENT)
    until(lambda: said)
    command.stop()
    assert "cannot be started" in said[0]


def test_the_daemon_runs_it_for_alerts_alone_and_keeps_its_failure(tmp_path: Path) -> None:
    """One alert, one run; the status that was not zero stands in the logbook as a source's notice."""
    command = [
        sys.executable,
        "-c",
        "import sys; open(sys.argv[1], 'a').write(sys.stdin.read()); sys.exit(7)",
    ]
    settings = configuration.parse(
        f"[alerts]\ncommand = {json.dumps([*command, str(tmp_path / 'kept')])}\n"
        f'[logbook]\npath = "{tmp_path / "shed.sqlite"}"\n'
    )
    clock = ManualClock(1_792_247_400.0, 1000.0)
    daemon = Daemon(settings, clock=clock)
    shows = (Show("health", 0.0, "bench: silent", {}), Show("alert", 0.0, "stall", EVENT))
    daemon.actor.handle(Evaluated(Instant(clock.now().utc, 1000.0), shows))

    def noticed() -> bool:
        clock.advance(1.0)
        daemon._turn(ServiceManager({}))
        return any(entry.payload.get("notice") for entry in daemon.logbook.entries("source"))

    until(noticed)
    assert [json.loads(line) for line in (tmp_path / "kept").read_text().splitlines()] == [EVENT]
    (entry,) = (one for one in daemon.logbook.entries("source") if one.payload.get("notice"))
    assert entry.payload["source"] == "alert command"
    assert "status 7" in entry.payload["notice"]
    daemon.logbook.close()


def test_it_is_told_in_the_units_of_the_house(tmp_path: Path) -> None:
    """What a person reads on a telephone is in their degrees and on their clock; the numbers stay SI."""
    copy = "import sys; open(sys.argv[1], 'w').write(sys.stdin.read())"
    settings = configuration.parse(
        f"[alerts]\ncommand = {json.dumps([sys.executable, '-c', copy, str(tmp_path / 'kept')])}\n"
        f'[shed]\nunits = "F,12h"\n[logbook]\npath = "{tmp_path / "shed.sqlite"}"\n'
    )
    clock = ManualClock(1_792_247_400.0, 1000.0)
    daemon = Daemon(settings, clock=clock)
    text = phrase("{margin:difference} above dew point until {until:moment}", margin=1.5, until=79200.0)
    event = Event(Happening.RAISED, Key(AlertKind.CONDENSATION), 72000.0, text, "cover the work")
    show = Show("alert", event.at, event.text, event_as_plain(event))
    daemon.actor.handle(Evaluated(Instant(1_792_247_400.0, 1000.0), (show,)))

    def told_whole() -> bool:
        clock.advance(1.0)
        daemon._turn(ServiceManager({}))
        return (tmp_path / "kept").exists() and (tmp_path / "kept").read_text().endswith("\n")

    until(told_whole)
    told = json.loads((tmp_path / "kept").read_text())
    assert told["text"] == "2.7 °F above dew point until 10:00 pm"
    assert told["advised"] == "cover the work"
    assert told["numbers"] == {"margin": 1.5, "until": 79200.0}
    daemon.logbook.close()


def test_a_command_is_a_list_of_words() -> None:
    """A line for a shell is refused with what is allowed."""
    with pytest.raises(ConfigurationError, match=r"alerts\.command.*a list"):
        configuration.parse('[alerts]\ncommand = "ring --short"\n')
