"""What a broker kept while nobody listened is never taken for what is so now: no GO rests on it."""

import json
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

import tests.broker
from curewatch.clock import SystemClock
from curewatch.daemon.edges import fence
from curewatch.daemon.edges.fence import WITHIN
from curewatch.logbook import Logbook
from curewatch.readings import Flag, undated
from curewatch.shed import recall
from curewatch.wire.lines import checksum
from tests.broker import Broker, Talker, needs_mosquitto, until
from tests.running import Running

KEPT = 100  # messages a sensor
MARKERS = "curewatch/v1/fence/ours"  # what is sent after one came by reaches the daemon behind it
SENSORS = {"bench": "air", "hull": "surface", "yard": "outside"}


def _settings(broker: Broker, version: str, more: str = "") -> str:
    sensors = "".join(f'[sensors.{name}]\nrole = "{role}"\n' for name, role in SENSORS.items())
    return (
        f"{sensors}[limits]\nreading_age_minutes = 10\n[mqtt.broker]\nport = {broker.port}\n"
        f'version = "{version}"\nclient_id = "ours"\ntopics = ["creek/+/state"]\n{more}'
    )


def _said(form: str, sensor: str, number: int) -> bytes:
    """Warm and dry: a GO, if it were of now."""
    if form == "json":
        return json.dumps({"temperature": 18.0 + number % 5 / 10, "humidity": 50.0}).encode()
    body = f"cw1 {sensor} t={18.0 + number % 5 / 10:.2f} h=50.00 age=0".encode()
    return body + f" *{checksum(body):04X}\n".encode()


def _send(device: Talker, form: str, count: int, **more: Any) -> None:
    for sensor in SENSORS:
        device.send(f"creek/{sensor}/state", (_said(form, sensor, each) for each in range(count)), **more)


def _tonight(folder: Path) -> dict[str, Any]:
    command = [sys.executable, "-m", "curewatch", "tonight", "--json"]
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
    answer: dict[str, Any] = json.loads(done.stdout)
    return answer


def _unknown(daemon: Running, sensor: str) -> int:
    """How many of a sensor's readings are of unknown age."""
    with Logbook(daemon.path, read_only=True) as logbook:
        return int(undated(logbook.series(sensor).flags).sum())


@pytest.mark.long
@pytest.mark.parametrize(("version", "form"), [("5", "json"), ("3.1.1", "line"), ("5", "line")])
def test_a_kept_session_gives_no_go_before_a_sensor_speaks(tmp_path: Path, version: str, form: str) -> None:
    """Three sensors, a hundred kept messages each: all stored, none believed; one live message each is."""
    needs_mosquitto("amqtt hands a kept session nothing that came while it was away")
    (tmp_path / "broker").mkdir()
    with (
        Broker(tmp_path / "broker") as broker,
        Talker(broker) as device,
        Running(tmp_path, _settings(broker, version)) as daemon,
    ):
        daemon.start()
        daemon.says("broker answers")
        daemon.kill()
        _send(device, form, KEPT)
        daemon.start()
        for sensor in SENSORS:
            daemon.waits_for(KEPT, sensor)
        assert {sensor: _unknown(daemon, sensor) for sensor in SENSORS} == dict.fromkeys(SENSORS, KEPT)
        old = _tonight(tmp_path)
        assert old["verdict"] == "unknown"
        assert "held back" in json.dumps(old)
        _send(device, form, 1)
        for sensor in SENSORS:
            daemon.waits_for(KEPT + 1, sensor)
        assert {sensor: _unknown(daemon, sensor) for sensor in SENSORS} == dict.fromkeys(SENSORS, KEPT)
        assert _tonight(tmp_path)["verdict"] == "go"  # the control: the same words, said now
        assert daemon.stop() == 0


@pytest.mark.long
def test_a_kept_message_with_its_own_time_counts(tmp_path: Path) -> None:
    """It says when it was measured: that it waited changes nothing, and it is marked as having waited."""
    needs_mosquitto("amqtt hands a kept session nothing that came while it was away")
    (tmp_path / "broker").mkdir()
    with (
        Broker(tmp_path / "broker") as broker,
        Talker(broker) as device,
        Running(tmp_path, _settings(broker, "5")) as daemon,
    ):
        daemon.start()
        daemon.says("broker answers")
        daemon.kill()
        now = int(SystemClock().now().utc)
        said = {"temperature": 18.0, "humidity": 50.0}
        device.send("creek/bench/state", [json.dumps(said | {"time": now - 60}).encode()])
        device.send("creek/hull/state", [json.dumps(said).encode()])
        daemon.start()
        daemon.waits_for(2)
        assert daemon.stop() == 0
        with Logbook(daemon.path, read_only=True) as logbook:
            [bench], [hull] = logbook.series("bench").flags, logbook.series("hull").flags
            seen = {name: recall.look_up(logbook, (name,), now + 5.0)[name] for name in ("bench", "hull")}
    assert bench == Flag.BACKLOG
    assert hull & Flag.BACKLOG
    assert seen["bench"].last is not None
    assert seen["hull"].last is None
    assert seen["hull"].held_back


@pytest.mark.parametrize("python", [False, True])
@pytest.mark.few(1)
def test_a_retained_reading_is_of_unknown_age_whatever_it_says_of_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, python: bool
) -> None:
    """``age=0`` was true when it was sent. A live one behind it counts, on a broker in Python, too."""
    if python:
        monkeypatch.setattr(tests.broker, "MOSQUITTO", None)
        monkeypatch.setattr(tests.broker, "REQUIRED", False)
    (tmp_path / "broker").mkdir()
    with Broker(tmp_path / "broker") as broker, Talker(broker) as device:
        device.listen(MARKERS)
        for form, sensor in (("json", "bench"), ("line", "hull")):
            device.send(f"creek/{sensor}/state", [_said(form, sensor, 0)], retain=True)
        with Running(tmp_path, _settings(broker, broker.version)) as daemon:
            daemon.start()
            daemon.waits_for(2)
            assert {sensor: _unknown(daemon, sensor) for sensor in ("bench", "hull")} == {
                "bench": 1,
                "hull": 1,
            }
            until(lambda: device.heard)
            _send(device, "line", 3)
            daemon.waits_for(11)
            assert {sensor: _unknown(daemon, sensor) for sensor in SENSORS} == {
                "bench": 1,
                "hull": 1,
                "yard": 0,
            }
            assert daemon.stop() == 0


def _stopped(daemon: Running) -> bool:
    """Whether each of its threads is stopped, as the system tells it."""
    assert daemon.process is not None
    threads = Path(f"/proc/{daemon.process.pid}/task").iterdir()
    return all(" T " in (each / "stat").read_text() for each in threads)


@pytest.mark.long
def test_what_waited_while_the_daemon_was_stopped_is_old(tmp_path: Path) -> None:
    """The connection lives, and we do not listen: what piled up is not of now, what comes next is."""
    (tmp_path / "broker").mkdir()
    with (
        Broker(tmp_path / "broker") as broker,
        Talker(broker) as device,
        Running(tmp_path, _settings(broker, broker.version)) as daemon,
    ):
        device.listen(MARKERS)
        daemon.start()
        until(lambda: device.heard)
        _send(device, "json", 1)
        daemon.waits_for(3)
        daemon.signal(signal.SIGSTOP)
        until(lambda: _stopped(daemon))  # none of its threads listens any more
        _send(device, "json", 20)
        time.sleep(WITHIN + 1.0)
        device.heard.clear()
        daemon.signal(signal.SIGCONT)
        daemon.waits_for(63)
        assert {sensor: _unknown(daemon, sensor) for sensor in SENSORS} == dict.fromkeys(SENSORS, 20)
        until(lambda: device.heard)
        _send(device, "json", 1)
        daemon.waits_for(66)
        assert {sensor: _unknown(daemon, sensor) for sensor in SENSORS} == dict.fromkeys(SENSORS, 20)
        assert daemon.stop() == 0


@pytest.mark.long
def test_a_broker_that_denies_the_marker_is_said_and_never_gives_go(tmp_path: Path) -> None:
    """Its access list has the readings alone: nothing unstamped is believed; `doctor` names the cure."""
    needs_mosquitto("for its access list")
    folder = tmp_path / "broker"
    folder.mkdir()
    (folder / "access").write_text("topic readwrite creek/#\n")
    with (
        Broker(folder, f"acl_file {folder}/access", "max_queued_messages 1000") as broker,
        Talker(broker) as device,
        Running(tmp_path, _settings(broker, "3.1.1")) as daemon,
    ):
        daemon.start()
        daemon.says("broker answers")
        _send(device, "json", 5)
        daemon.says(fence.MISSING)
        _send(device, "json", 5)
        daemon.waits_for(30)
        assert _tonight(tmp_path)["verdict"] == "unknown"
        command = [sys.executable, "-m", "curewatch", "doctor", "--json"]
        done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False)
        assert fence.CURE.format(topic="curewatch/v1/fence/ours") in done.stdout
        assert daemon.stop() == 0
