"""The node's code in real MicroPython: chips simulated on its bus, a real broker, our parser at the end."""

import platform
import subprocess
import sys
import time
from pathlib import Path

import pytest

from curewatch.clock import Instant
from curewatch.readings import Flag, Reading
from curewatch.wire import Parser
from tests.broker import PATIENCE, Broker, Talker, free_port, until

NOTES = Path(__file__).parents[2] / "firmware_notes"
pytestmark = pytest.mark.skipif(
    (sys.platform, platform.machine()) != ("linux", "x86_64"),
    reason="MicroPython's unix build is packaged for Linux on x86_64",
)

# A board whose I2C bus answers as the chip's data sheet says: 20.0 degC is 0x5F15 (24341), 60 % is 0x872A.
BOARD = """
import sys
sys.path.insert(0, sys.argv[1])
import time
from chips import HumidityChip, crc8
from node import Node
from mqtt_publisher import Publisher

class Bus:
    reads = 0
    def writeto(self, address, command):
        assert (address, command) == (0x44, b"\\xfd")
    def readfrom(self, address, count):
        Bus.reads += 1
        if Bus.reads in BROKEN:
            return b"\\x00\\x00\\x00\\x00\\x00\\x00"
        if Bus.reads in ABSENT:
            raise OSError(19)
        t, h = b"\\x5f\\x15", b"\\x87\\x2a"
        return t + bytes([crc8(t)]) + h + bytes([crc8(h)])

class Board:
    fed = 0
    asked = 0
    def feed(self):
        Board.fed += 1
    def sensors(self):
        chip = HumidityChip(Bus())
        def air():
            t, h = chip.read()
            return {"t": t, "h": h}
        return [("bench", air), ("hull", lambda: {"t": 11.0})]
    def battery(self):
        return 77
    def network(self):
        Board.asked += 1
        return Board.asked > OFFLINE

class Settings:
    EVERY_S = 0
    BACKLOG = BACKLOG
    AT_ONCE = 60
    TOPIC = "curewatch/%s/reading"

assert crc8(b"\\xbe\\xef") == 0x92
"""


def run(
    folder: Path, values: dict[str, object], rounds: str, port: int | None = None
) -> "subprocess.CompletedProcess[str]":
    head = "".join(f"{name} = {value!r}\n" for name, value in values.items())
    client = "None" if port is None else f'Publisher("127.0.0.1", {port}, "node-1", patience={PATIENCE:.0f})'
    script = folder / "run.py"
    script.write_text(
        f"{head}{BOARD}\nnode = Node(Board(), Settings, {client})\n{rounds}\nprint('# fed', Board.fed > 0)\n",
        encoding="ascii",
    )
    return subprocess.run(
        [sys.executable, "-m", "micropython_unix", script, NOTES / "micropython"],
        capture_output=True,
        text=True,
        check=True,
        timeout=PATIENCE,
    )


USUAL = {"BROKEN": (), "ABSENT": (), "OFFLINE": 0, "BACKLOG": 720}


def test_what_the_node_prints_is_read_by_our_parser(tmp_path):
    """Chip bytes become temperature and humidity by the data sheet, printed, and read back in SI."""
    done = run(tmp_path, USUAL, "node.run(3)")
    events = Parser().corpus(done.stdout.encode(), Instant(1_790_000_000.0, 0.0), "usb")
    assert [event.sensor for event in events] == ["bench", "hull"] * 3
    first = events[0]
    assert first.temperature == pytest.approx(273.15 + 20.0, abs=0.01)
    assert first.relative_humidity == pytest.approx(0.60, abs=0.0005)
    assert first.battery == pytest.approx(0.77)
    assert [event.sequence for event in events] == [0, 0, 1, 1, 2, 2]
    assert first.flags == Flag.AGE_GIVEN
    assert "# fed True" in done.stdout


def test_a_chip_that_fails_is_silent_and_said(tmp_path):
    """A lost byte or a missing chip is no reading; the other sensor goes on."""
    done = run(tmp_path, {**USUAL, "BROKEN": (1,), "ABSENT": (2,)}, "node.run(3)")
    events = Parser().corpus(done.stdout.encode(), Instant(1_790_000_000.0, 0.0), "usb")
    assert [event.sensor for event in events] == ["hull", "hull", "bench", "hull"]
    assert all(isinstance(event, Reading) for event in events)
    assert done.stdout.count("# bench:") == 2


def received(folder: Path, rounds: str, values: dict[str, object], count: int) -> list[Reading]:
    """What a subscriber of a real broker gets while the node runs."""
    with Broker(folder) as broker, Talker(broker, "listener") as listener:
        listener.listen("curewatch/+/reading")
        run(folder, values, rounds, broker.port)
        until(lambda: len(listener.heard) >= count)
    parser, now = Parser(), Instant(1_790_000_000.0, 0.0)
    events = [
        event
        for each in listener.heard
        for event in parser.payload(each.payload, now, each.topic, each.topic.split("/")[1])
    ]
    assert len(events) == count
    assert all(isinstance(event, Reading) for event in events)
    return events


@pytest.mark.long
def test_a_backlog_goes_to_a_real_broker_with_its_ages(tmp_path):
    """Rounds without Wi-Fi wait; then all arrive, oldest first, each with its age by the board's ticks."""
    rounds = "node.run(3)\ntime.sleep_ms(1100)\nnode.round()\nnode._publisher.close()"
    begun = time.monotonic()
    events = received(tmp_path, rounds, {**USUAL, "OFFLINE": 3}, 8)
    lasted = time.monotonic() - begun
    bench = [event for event in events if event.sensor == "bench"]
    assert [event.sequence for event in bench] == [0, 1, 2, 3]
    ages = [event.received - event.time for event in bench]
    assert ages == sorted(ages, reverse=True)
    assert ages[0] - ages[-1] >= 1
    assert ages[0] <= lasted  # none is older than the board; the last may have waited for a busy machine


@pytest.mark.long
def test_without_a_broker_the_node_goes_on_and_its_backlog_stays_bounded(tmp_path):
    """Nobody listens: lines keep coming, the backlog keeps its bound, and the tries grow rarer."""
    rounds = "node.run(40)\nprint('# waiting', len(node._backlog), node._backlog.dropped)"
    done = run(tmp_path, {**USUAL, "BACKLOG": 10}, rounds, free_port())
    assert sum(line.startswith("cw1 bench") for line in done.stdout.splitlines()) == 40
    assert "# waiting 10 70" in done.stdout
    assert 2 <= done.stdout.count("# mqtt:") <= 8
