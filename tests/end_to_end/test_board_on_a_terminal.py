"""The board on a real pseudo-terminal: what stands on it, keys, sizes, and every way out."""

import os
import re
import signal
import subprocess
import sys
import termios
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pexpect
import pyte
import pytest

from curewatch.advice.alert.alerts import AlertKind, Event, Happening, Key, event_as_plain
from curewatch.clock import SystemClock
from curewatch.jobs import Layer, layer_as_plain
from curewatch.logbook import Entry, Logbook
from curewatch.readings import Reading
from curewatch.wire.lines import encode
from tests.broker import PATIENCE
from tests.simulators import SimulatedPort
from tests.terminal import environment, spawn, spawn_in_shell

LEAVE = "\x1b[?25h\x1b[?1049l"
SHED = """
[shed]
name = "Saltmarsh Shed"
boat = "Kittiwake Nine"
[resin]
name = "epoxy-fast"
[sensors.bench]
role = "air"
part = "humidity-2"
[sensors.hull]
role = "surface"
part = "probe"
[logbook]
path = "logbook.sqlite"
"""


class Seen:
    """The program on its terminal, and the screen as a person sees it."""

    def __init__(self, home: Path, *arguments: str, rows: int = 24, columns: int = 80, **more: str) -> None:
        self.screen = pyte.Screen(columns, rows)
        self._stream = pyte.Stream(self.screen)
        self.raw = ""
        self.program = spawn_in_shell(home, "watch", *arguments, rows=rows, columns=columns, **more)
        self.before = termios.tcgetattr(self.program.child_fd)

    def read(self) -> None:
        """Take what has come."""
        try:
            came = self.program.read_nonblocking(65536, timeout=0.1)
        except pexpect.TIMEOUT:
            return
        except pexpect.EOF:
            came = ""
        self.raw += came
        self._stream.feed(came)

    def wait_for(self, text: str, among: slice = slice(None)) -> list[str]:
        """The rows of the screen once it is whole and this text stands on it, or among some of its rows."""
        until = time.monotonic() + PATIENCE
        while "q leave" not in self.screen.display[-1] or not any(
            text in row for row in self.screen.display[among]
        ):
            assert time.monotonic() < until, "\n".join(self.screen.display)
            self.read()
        return [row.rstrip() for row in self.screen.display]

    def wait_for_end(self) -> None:
        """Everything it, its keeper and the shell still had to say, in whatever order."""
        until = time.monotonic() + PATIENCE
        while not ((ended := re.search(r"left with (\d+)", self.raw)) and LEAVE in self.raw):
            assert time.monotonic() < until, repr(self.raw[-300:])
            self.read()
        self.status = int(ended[1])

    @property
    def process(self) -> int:
        """The program's number: the one child of its shell."""
        shell = self.program.pid
        return int(Path(f"/proc/{shell}/task/{shell}/children").read_text().split()[0])

    def resize(self, rows: int, columns: int) -> None:
        self.screen.reset()  # what stood there is no answer to the new size
        self.screen.resize(rows, columns)
        self.program.setwinsize(rows, columns)


@pytest.fixture
def shed(tmp_path: Path) -> Path:
    """An hour of readings, a layer in progress, an alert nobody has seen: demo numbers."""
    (tmp_path / "curewatch.toml").write_text(SHED)
    now = SystemClock().now().utc
    alert = Event(
        Happening.RAISED, Key(AlertKind.PEEL_PLY, "L1"), now - 300, "peel-ply needed on L1", "press it on"
    )
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        logbook.append(
            [
                Reading(name, now - 60.0 * minute, now, 285.0 + 0.01 * minute, humidity)
                for minute in range(60)
                for name, humidity in (("bench", 0.6), ("hull", None))
            ],
            [
                Entry("layer", layer_as_plain(Layer("L1", now - 1180, "epoxy-fast", 0.15)), now - 1180),
                Entry("alert", event_as_plain(alert), alert.at),
            ],
        )
    return tmp_path


def test_the_board_stands_on_the_screen_and_follows_its_size(shed: Path) -> None:
    """Compact at 80 by 24, wide at 130 by 36, compact again; the last row always has the keys."""
    seen = Seen(shed, "--look")
    rows = seen.wait_for("a acknowledge")
    assert rows[0].startswith(" Saltmarsh Shed · Kittiwake Nine")
    assert "██" in rows[1] or "▒▒" in rows[1]
    assert any("blush is likely" in row for row in rows)
    assert "bench 11.9 °C 60 %" in rows[22]
    seen.resize(36, 130)
    wide = seen.wait_for("L1 epoxy-fast, ")
    assert "q leave" in wide[35]
    seen.resize(24, 80)
    seen.wait_for("peel ply", slice(20, 23))
    seen.program.send("q")
    seen.wait_for_end()
    assert seen.status == 0


@pytest.mark.long
def test_one_key_acknowledges_the_oldest_alert(shed: Path) -> None:
    """It is written down, and shown as acknowledged."""
    seen = Seen(shed, "--look")
    seen.wait_for("ALERT")
    seen.program.send("a")
    seen.wait_for(" ack ")
    seen.program.send("q")
    seen.wait_for_end()
    with Logbook(shed / "logbook.sqlite", read_only=True) as logbook:
        assert [entry.payload["happening"] for entry in logbook.entries("alert")] == [
            "raised",
            "acknowledged",
        ]


WAYS = [
    "SIGKILL",
    *(pytest.param(way, marks=pytest.mark.long) for way in ("SIGTERM", "q", "ctrl-c", "SIGHUP")),
]


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.long
def test_the_terminal_is_left_as_it_was_found(shed: Path, way: str) -> None:
    """By key, by interrupt, by signal, and when killed outright: settings, cursor and screen are back."""
    seen = Seen(shed, "--look")
    seen.wait_for("a acknowledge")
    assert termios.tcgetattr(seen.program.child_fd) != seen.before
    if way == "q":
        seen.program.send("q")
    elif way == "ctrl-c":
        seen.program.sendcontrol("c")
    else:
        os.kill(seen.process, getattr(signal, way))
    seen.wait_for_end()
    until = time.monotonic() + PATIENCE
    while termios.tcgetattr(seen.program.child_fd) != seen.before:
        assert time.monotonic() < until
    assert "Traceback" not in seen.raw


def speaking(port: SimulatedPort, over: threading.Event) -> threading.Thread:
    """A board that reports bench and hull ten times a second until it is over."""

    def speak() -> None:
        count = 0
        while not over.wait(0.1):
            port.write(encode("bench", 15.9, 52.0, sequence=count) + b"\n")
            port.write(encode("hull", 15.2, sequence=count) + b"\n")
            count += 1

    return threading.Thread(target=speak)


@pytest.fixture
def port(shed: Path) -> Iterator[SimulatedPort]:
    """A speaking board on a real pseudo-terminal, written into the shed's configuration."""
    found, over = SimulatedPort(), threading.Event()
    with (shed / "curewatch.toml").open("a") as file:
        file.write(f'[serial.usb]\nurl = "{found.url}"\n')
    speaker = speaking(found, over)
    speaker.start()
    yield found
    over.set()
    speaker.join()
    found.close()


@pytest.mark.long
def test_it_runs_the_daemon_where_none_runs(shed: Path, port: SimulatedPort) -> None:
    """From bytes on a port to the board, through the logbook; leaving ends the daemon and loses nothing."""
    seen = Seen(shed)
    rows = seen.wait_for("bench 15.9 °C 52 %")
    assert "readings are kept while this runs" in rows[23]
    seen.program.send("q")
    seen.wait_for_end()
    assert seen.status == 0
    with Logbook(shed / "logbook.sqlite") as logbook:
        assert logbook.latest()["hull"].temperature == pytest.approx(288.35)
        logbook.hold("a test", 0.0)


@pytest.mark.long
def test_it_attaches_to_a_daemon_that_runs(shed: Path, port: SimulatedPort) -> None:
    """The board says who keeps the readings, and leaving does not end that one."""
    service = subprocess.Popen(
        [sys.executable, "-m", "curewatch", "ingest"],
        cwd=shed,
        env=environment(shed),
        stdout=subprocess.PIPE,
        text=True,
    )
    assert service.stdout is not None
    assert any("started" in line for line in service.stdout)
    seen = Seen(shed)
    rows = seen.wait_for("bench 15.9 °C 52 %")
    assert "readings are kept by curewatch ingest" in rows[23]
    seen.program.send("q")
    seen.wait_for_end()
    assert service.poll() is None
    service.terminate()
    service.communicate(timeout=PATIENCE)
    assert service.returncode == 0


@pytest.mark.long
def test_a_new_alert_rings_once(shed: Path) -> None:
    """What stood before stays quiet; what is raised while somebody watches rings the terminal's bell."""
    seen = Seen(shed, "--look")
    seen.wait_for("ALERT")
    assert "\a" not in seen.raw
    now = SystemClock().now().utc
    alert = Event(Happening.RAISED, Key(AlertKind.CONDENSATION), now, "condensation coming", "cover the work")
    with Logbook(shed / "logbook.sqlite") as logbook:
        logbook.write(Entry("alert", event_as_plain(alert), now))
    seen.wait_for("condensation coming")
    seen.program.send("q")
    seen.wait_for_end()
    assert seen.raw.count("\a") == 1


@pytest.mark.long
def test_a_logbook_that_vanishes_ends_the_board_in_order(shed: Path) -> None:
    """The terminal is given back first, then the message is said where it can be read."""
    seen = Seen(shed, "--look")
    seen.wait_for("ALERT")
    for file in shed.glob("logbook.sqlite*"):
        file.unlink()
    seen.program.send("a")
    seen.wait_for_end()
    seen.read()
    assert seen.status == 1
    assert "was removed" in seen.raw.partition(LEAVE)[2]


@pytest.mark.long
def test_an_old_terminal_gets_letters(shed: Path) -> None:
    """Without UTF-8 the board is drawn with #, - and letters, and stays within its rows."""
    seen = Seen(shed, "--look", PYTHONIOENCODING="ascii", LANG="C", PYTHONUTF8="0")
    rows = seen.wait_for("a acknowledge")
    assert "##" in rows[1] or "%%" in rows[1]
    assert all(row.isascii() for row in rows)
    assert "q leave" in rows[23]
    seen.program.send("q")
    seen.wait_for_end()


@pytest.mark.long
def test_no_colour_is_used_where_none_is_wanted(shed: Path) -> None:
    """With NO_COLOR the board has bold and reverse at most; the words carry everything."""
    seen = Seen(shed, "--look", NO_COLOR="1")
    seen.wait_for("a acknowledge")
    seen.program.send("q")
    seen.wait_for_end()
    assert "\x1b[1;7m" in seen.raw
    assert not re.search(r"\x1b\[(?:[0-9]+;)*[34][0-7](?:;[0-9]+)*m", seen.raw)


@pytest.mark.parametrize("how", [pytest.param("--plain", marks=pytest.mark.long), "dumb"])
@pytest.mark.long
def test_plain_lines_are_told_where_a_screen_serves_nobody(shed: Path, how: str) -> None:
    """For a screen reader: no cursor movement, one statement a line, until it is interrupted."""
    arguments = ["--plain"] if how == "--plain" else []
    program = spawn(shed, "watch", "--look", *arguments, TERM="dumb" if how == "dumb" else "xterm")
    program.expect("alert: L1: blush is likely")
    program.expect("sensor hull: fresh")
    assert "\x1b" not in program.before
    program.sendcontrol("c")
    program.expect(pexpect.EOF)
    program.close()
    assert program.exitstatus == 0
