"""``curewatch simulate``: bounded, repeatable, into a file, on a port and on a real broker."""

import os
import select
import subprocess
import sys
from pathlib import Path

import pytest

from curewatch.cli.main import run
from curewatch.clock import Instant, SystemClock
from curewatch.errors import ExitStatus
from curewatch.readings import Reading
from curewatch.simulation import outputs
from curewatch.wire import Parser
from tests.broker import PATIENCE, Broker, Talker, free_port, until

RECORDING = Path(__file__).parents[2] / "recordings" / "saltmarsh-evening.txt"


@pytest.fixture(autouse=True)
def patience(monkeypatch: pytest.MonkeyPatch) -> None:
    """A broker on a busy machine may need more than five seconds for an answer."""
    monkeypatch.setattr(outputs, "PATIENCE", PATIENCE)


def called(*arguments: str) -> int:
    with pytest.raises(SystemExit) as stop:
        run(["simulate", *arguments])
    return int(stop.value.code or 0)


def test_the_command_in_the_recordings_header_makes_the_recording(tmp_path: Path) -> None:
    """What the file says of itself is true to the byte."""
    made = tmp_path / "evening.txt"
    assert called("--evening", "--file", str(made)) == ExitStatus.OK
    assert made.read_bytes() == RECORDING.read_bytes()


def test_a_file_of_a_day_with_a_fault_is_bounded_and_repeats(tmp_path: Path) -> None:
    """Count, interval, seed and fault are what was asked for."""
    options = ("--count", "10", "--every", "600", "--seed", "5", "--fault", "silent:yard@30m", "--unstamped")
    for name in ("one", "two"):
        assert called(*options, "--file", str(tmp_path / name)) == ExitStatus.OK
    told = (tmp_path / "one").read_bytes()
    assert told == (tmp_path / "two").read_bytes()
    assert told.count(b"cw1 bench") == 10
    assert told.count(b"cw1 yard") == 3
    assert b"at=" not in told


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--hours", "1", "--count", "5"), "one of them"),
        (("--file", "-", "--broker", "127.0.0.1"), "one of --port, --broker and --file"),
        (("--fault", "melt@1h"), "KIND is one of silent"),
        (("--every", "0"), "Use 0.1 to 3600"),
        (("--hours", "99999"), "a year"),
        (("--start", "yesterday", "--count", "1"), "ISO 8601"),
        (("--broker", "127.0.0.1:x"), "HOST or HOST:PORT"),
        (("--broker", "127.0.0.1", "--topic", "one"), "{sensor}"),
        (("--file", "/nowhere/x", "--count", "1"), "give a file that can be written"),
        (("--speed", "-1", "--file", "-"), "Use 0 to"),
    ],
)
def test_a_mistake_says_what_is_allowed(
    arguments: tuple[str, ...], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """No traceback, exit status 2."""
    assert called(*arguments) == ExitStatus.USAGE
    assert said in " ".join(capsys.readouterr().err.split())


def test_without_a_broker_it_says_so(capsys: pytest.CaptureFixture[str]) -> None:
    """The message names the place and what to start."""
    assert called("--broker", f"127.0.0.1:{free_port()}", "--count", "1") == ExitStatus.FAILURE
    assert "start one, e.g. mosquitto" in capsys.readouterr().err


@pytest.mark.long
def test_on_a_port_under_a_lasting_name(tmp_path: Path) -> None:
    """A reader opens the link like a serial port and gets whole lines; the link goes when it ends."""
    link = tmp_path / "port"
    command = [
        sys.executable,
        "-m",
        "curewatch",
        "simulate",
        "--link",
        link,
        *("--every", "1", "--speed", "50"),
        *("--count", "30000"),  # ten minutes of it: it goes on until it is ended, however late somebody reads
    ]
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    with subprocess.Popen(command, env=environment, stderr=subprocess.PIPE, text=True) as process:
        assert "simulated port" in process.stderr.readline()
        reader = os.open(link, os.O_RDONLY | os.O_NOCTTY)
        data = b""
        while data.count(b"\n") < 30 and select.select([reader], [], [], PATIENCE)[0]:
            piece = os.read(reader, 4096)
            assert piece, "it ended by itself"
            data += piece
        process.terminate()
    os.close(reader)
    assert not link.is_symlink()
    now = SystemClock().now()
    events = Parser().corpus(data[: data.rindex(b"\n") + 1], Instant(now.utc + 60, 0.0))
    assert len(events) >= 30
    assert all(isinstance(event, Reading) and event.time <= now.utc + 60 for event in events)


@pytest.mark.parametrize("form", ["line", "senml", "json"])
def test_on_a_real_broker_in_each_form(tmp_path: Path, form: str) -> None:
    """What a subscriber receives is read by the one door, and says the same in each form."""
    with Broker(tmp_path) as broker, Talker(broker, "listener") as listener:
        listener.listen("curewatch/+/reading")
        options = ("--broker", f"127.0.0.1:{broker.port}", "--format", form, "--count", "2", "--speed", "0")
        assert called(*options) == ExitStatus.OK
        until(lambda: len(listener.heard) >= 6)
    now, parser = SystemClock().now().utc, Parser()
    events = [
        event
        for each in listener.heard
        for event in parser.payload(each.payload, Instant(now, 0.0), each.topic, each.topic.split("/")[1])
    ]
    assert [event.sensor for event in events] == ["bench", "hull", "yard"] * 2
    assert all(isinstance(event, Reading) and abs(event.time - now) < 300 for event in events)


def test_bare_numbers_on_a_real_broker(tmp_path: Path) -> None:
    """Each quantity on its own topic below the sensor's, and nothing in it but the number."""
    with Broker(tmp_path) as broker, Talker(broker, "listener") as listener:
        listener.listen("shed/+/+")
        options = ("--format", "numbers", "--topic", "shed/{sensor}", "--count", "1", "--speed", "0")
        assert called("--broker", f"127.0.0.1:{broker.port}", *options) == ExitStatus.OK
        until(lambda: len(listener.heard) >= 5)
    told = {each.topic: float(each.payload) for each in listener.heard}
    assert sorted(told) == [
        "shed/bench/humidity",
        "shed/bench/temperature",
        "shed/hull/temperature",
        "shed/yard/humidity",
        "shed/yard/temperature",
    ]


def test_a_form_that_is_none_is_said_before_the_broker_is_asked(capsys: pytest.CaptureFixture[str]) -> None:
    """What is allowed is named."""
    assert called("--broker", "127.0.0.1:1", "--format", "xml") == ExitStatus.USAGE
    assert "line, senml, json, numbers" in capsys.readouterr().err
