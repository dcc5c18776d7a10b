"""The daemon as a process, with a real port (a pseudo-terminal) and a real broker."""

import json
import signal
import socket
import subprocess
import threading
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import cbor2
import numpy as np
import pytest
from jsonschema import Draft202012Validator, FormatChecker

from curewatch.answers.catalogue import schema
from curewatch.clock import SystemClock
from curewatch.logbook import Logbook
from curewatch.model.air.forecast import Forecast
from curewatch.shed import forecasts
from curewatch.simulation.port import SimulatedPort
from curewatch.wire.lines import checksum
from tests.broker import PATIENCE, Broker, Talker, free_port, needs_mosquitto, until
from tests.certificates import authority, certificate
from tests.running import Running

SENSORS = '[sensors.bench]\nrole = "air"\n[sensors.hull]\nrole = "surface"\n'


def line(sensor: str, number: int, temperature: float = 12.5, humidity: float = 71.0) -> bytes:
    body = f"cw1 {sensor} t={temperature:.2f} h={humidity:.2f} n={number}".encode()
    return body + f" *{checksum(body):04X}\n".encode()


def message(number: int, **more: Any) -> bytes:
    return json.dumps({"temperature": 12.5, "humidity": 71.0, "n": number} | more).encode()


def over_mqtt(broker: Broker, more: str = "") -> str:
    return (
        f'{SENSORS}[mqtt.yard]\nhost = "127.0.0.1"\nport = {broker.port}\nversion = "{broker.version}"\n'
        f'client_id = "ours"\ntopics = ["creek/+/state"]\n{more}'
    )


@pytest.fixture
def port() -> Iterator[SimulatedPort]:
    with SimulatedPort() as made:
        yield made


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    (tmp_path / "broker").mkdir()
    with Broker(tmp_path / "broker") as started:
        yield started


@pytest.mark.long
def test_a_board_on_a_port_ends_in_the_logbook(tmp_path: Path, port: SimulatedPort) -> None:
    """Boot noise, a partial first line, lines in pieces: every whole line is there; a clean stop ends it."""
    with Running(tmp_path, f'{SENSORS}[serial.usb]\nurl = "{port.url}"\nsensor = "bench"') as daemon:
        daemon.start()
        daemon.says("usb answers")
        port.write(b"\x00\xf8\x80rst:0x1 (POWERON)\r\nt=12.5 h=")
        port.write(b"71.0\r\n")
        for number in range(1, 21):
            whole = line("bench", number)
            port.write(whole[:9])
            port.write(whole[9:])
        daemon.waits_for(20, "bench")
        assert daemon.stop() == 0
        assert daemon.numbers("bench")[-20:] == list(range(1, 21))
        with Logbook(daemon.path) as logbook:
            logbook.verify()
            assert [e.payload["what"] for e in logbook.entries("daemon")] == ["started", "stopped"]
            assert logbook.entries("configuration")[0].payload["sensors"]["bench"]["role"] == "air"


@pytest.mark.long
def test_two_ports_and_a_socket_at_once(tmp_path: Path, port: SimulatedPort) -> None:
    """A pseudo-terminal and a board behind socket:// speak at the same time."""
    server = socket.create_server(("127.0.0.1", 0))
    settings = (
        f'{SENSORS}[serial.usb]\nurl = "{port.url}"\n'
        f'[serial.far]\nurl = "socket://127.0.0.1:{server.getsockname()[1]}"\n'
    )
    with server, Running(tmp_path, settings) as daemon:
        daemon.start()
        far, _ = server.accept()
        with far:
            daemon.says("usb answers")
            daemon.says("far answers")
            far.sendall(b"\n" + b"".join(line("hull", number) for number in range(5)))
            port.write(b"\n" + b"".join(line("bench", number) for number in range(5)))
            daemon.waits_for(5, "hull")
            daemon.waits_for(5, "bench")
        daemon.says("far does not answer")
        assert daemon.stop() == 0


@pytest.mark.long
def test_a_port_on_another_machine(tmp_path: Path) -> None:
    """rfc2217:// (RFC 2217) against a server that speaks the protocol."""
    import serial
    import serial.rfc2217

    inner = serial.serial_for_url("loop://", timeout=0.2)
    server = socket.create_server(("127.0.0.1", 0))
    url = f"rfc2217://127.0.0.1:{server.getsockname()[1]}"
    with server, Running(tmp_path, f'{SENSORS}[serial.far]\nurl = "{url}"') as daemon:
        daemon.start(ready=False)
        far, _ = server.accept()
        with far:
            manager = serial.rfc2217.PortManager(inner, _Wire(far))
            stopping = threading.Event()
            reader = threading.Thread(target=_serve, args=(far, manager, stopping))
            reader.start()
            daemon.says("far answers")
            for number in range(6):
                far.sendall(b"".join(manager.escape(line("hull", number))))
            daemon.waits_for(5, "hull")
            assert daemon.stop() == 0
            stopping.set()
            far.shutdown(socket.SHUT_RDWR)
            reader.join(PATIENCE)


class _Wire:
    def __init__(self, far: socket.socket) -> None:
        self._far = far

    def write(self, data: bytes) -> None:
        self._far.sendall(data)


def _serve(far: socket.socket, manager: Any, stopping: threading.Event) -> None:
    while not stopping.is_set():
        try:
            data = far.recv(1024)
        except OSError:
            return
        if not data:
            return
        b"".join(manager.filter(data))


def test_messages_are_stored_acknowledged_and_answered(tmp_path: Path, broker: Broker) -> None:
    """JSON and SenML, text and CBOR, arrive over QoS 1; whether we run stands with the broker, retained."""
    with Running(tmp_path, over_mqtt(broker)) as daemon, Talker(broker) as device:
        daemon.start()
        daemon.says("yard answers")
        device.send("creek/bench/state", [message(number) for number in range(100)])
        pack = b'[{"bn":"hull","u":"Cel","v":11.5}]'
        device.send("creek/hull/state", [pack])
        device.send("creek/hull/state", [cbor2.dumps([{-2: "hull", 1: "Cel", 2: 11.25, 6: -30}])])
        device.send("creek/bench/state", [b"not a reading \x1b[31m"])
        daemon.waits_for(102)
        daemon.says("rejected")
        assert "\x1b" not in daemon.text()
        assert sorted(daemon.numbers("bench")) == list(range(100))
        device.listen("curewatch/v1/availability")
        until(lambda: [m.payload for m in device.heard] == [b"online"])
        assert daemon.stop() == 0
        until(lambda: device.heard[-1].payload == b"offline")


@pytest.mark.long
def test_state_advice_and_alerts_stand_with_the_broker(tmp_path: Path, broker: Broker) -> None:
    """Retained, each as its schema says; and when we are killed the broker says so in our name."""
    documents = {topic: f"mqtt-{topic}" for topic in ("state", "alerts")} | {"advice": "tonight"}
    with Running(tmp_path, over_mqtt(broker)) as daemon, Talker(broker) as device:
        daemon.start()
        daemon.says("yard answers")
        device.send("creek/bench/state", [b'{"temperature": 9.0, "humidity": 96}'])
        daemon.says("alert")  # the first look comes after a minute

        def standing() -> dict[str, Any]:
            """What a reader that comes now is given; nothing as long as it is not all of it."""
            with Talker(broker, "reader") as reader:
                reader.listen("curewatch/v1/+")
                with suppress(AssertionError):
                    until(lambda: len(reader.heard) >= len(documents) + 2, 5.0)
                kept = {
                    each.topic.rpartition("/")[2]: json.loads(each.payload)
                    for each in reader.heard
                    if each.retain and each.topic.rpartition("/")[2] in documents
                }
            return kept if kept.keys() >= documents.keys() else {}

        told = until(standing)
        for topic, name in documents.items():
            checked = Draft202012Validator(json.loads(schema(name)), format_checker=FormatChecker())
            assert list(checked.iter_errors(told[topic])) == []
        assert told["state"]["sensors"]["bench"]["humidity_percent"] == 96.0
        assert told["advice"]["verdict"] in {"no-go", "unknown"}
        assert told["alerts"]["alerts"]
        device.listen("curewatch/v1/availability")
        until(lambda: device.heard and device.heard[-1].payload == b"online")
        daemon.kill()
        until(lambda: device.heard[-1].payload == b"offline")


@pytest.mark.long
def test_a_forecast_over_mqtt_is_what_the_coming_hours_rest_on(tmp_path: Path, broker: Broker) -> None:
    """SenML with times ahead, through a real broker: an entry and no reading, found by the next question."""
    hours = range(1, 61)
    pack = [{"bn": "forecast/", "n": "temperature", "u": "Cel", "t": 3600, "v": 7.0}]
    pack += [{"n": "temperature", "u": "Cel", "t": 3600 * hour, "v": 7.0} for hour in hours[1:]]
    pack += [{"n": "humidity", "u": "%RH", "t": 3600 * hour, "v": 80.0} for hour in hours]
    settings = over_mqtt(broker).replace('"creek/+/state"', '"creek/+/state", "curewatch/+/reading"')
    with Running(tmp_path, settings) as daemon, Talker(broker) as device:
        daemon.start()
        daemon.says("yard answers")
        device.send("curewatch/forecast/reading", [json.dumps(pack).encode()])
        device.send("creek/bench/state", [message(number) for number in range(3)])
        daemon.waits_for(3, "bench")
        until(lambda: bool(_forecasts(daemon.path)))
        assert daemon.stop() == 0
    (fed,) = _forecasts(daemon.path)
    assert len(fed.time) == len(hours)
    assert fed.temperature[-1] == pytest.approx(280.15)
    with Logbook(daemon.path) as logbook:
        assert "forecast" not in logbook.latest()


def _forecasts(path: Path) -> tuple[Forecast, ...]:
    with Logbook(path, read_only=True) as logbook:
        return forecasts.kept(logbook, SystemClock().now().utc)


@pytest.mark.long
def test_what_was_sent_while_we_were_down_arrives(tmp_path: Path, broker: Broker) -> None:
    """The session is kept: a stop and a start lose nothing and double nothing."""
    needs_mosquitto("the broker in Python keeps no session that can be relied on")
    with Running(tmp_path, over_mqtt(broker)) as daemon, Talker(broker) as device:
        daemon.start()
        daemon.says("yard answers")
        device.send("creek/bench/state", [message(number) for number in range(20)])
        daemon.waits_for(20)
        assert daemon.stop() == 0
        device.send("creek/bench/state", [message(number) for number in range(20, 60)])
        daemon.start()
        daemon.waits_for(60)
        assert daemon.stop() == 0
        assert sorted(daemon.numbers("bench")) == list(range(60))
        assert "kept no session" not in daemon.text()


@pytest.mark.long
def test_a_kept_message_is_not_taken_for_a_new_one(tmp_path: Path, broker: Broker) -> None:
    """A retained reading without a time is stored with its flag; a second start does not store it again."""
    from curewatch.readings import Flag

    needs_mosquitto("retain handling is MQTT 5; the broker at hand speaks 3.1.1")
    with Running(tmp_path, over_mqtt(broker)) as daemon, Talker(broker) as device:
        device.send("creek/bench/state", [message(1)], retain=True)
        daemon.start()
        daemon.waits_for(1)
        assert daemon.stop() == 0
        daemon.start()
        device.send("creek/bench/state", [message(2)])
        daemon.waits_for(2)
        assert daemon.stop() == 0
        with Logbook(daemon.path, read_only=True) as logbook:
            flags = [flag for *_, rows in logbook.blocks(sensor="bench") for flag in rows["flags"].tolist()]
        assert [bool(flag & Flag.RETAINED) for flag in flags] == [True, False]


@pytest.mark.long
def test_reload_takes_a_good_configuration_and_refuses_a_bad_one(tmp_path: Path, port: SimulatedPort) -> None:
    """SIGHUP: a bad file keeps the old settings, loudly; a good one is taken without a restart."""
    settings = f'{SENSORS}[serial.usb]\nurl = "{port.url}"\nsensor = "bench"'
    with Running(tmp_path, settings) as daemon:
        daemon.start()
        daemon.says("usb answers")
        daemon.configure("[shed]\nnam = 3")
        daemon.signal(signal.SIGHUP)
        daemon.says("the old one stays")
        assert "line 2" in daemon.text()
        port.write(b"\n" + line("probe-1", 1))
        daemon.waits_for(1, "probe-1")
        daemon.configure(settings.replace('role = "surface"', 'role = "surface"\naddress = "probe-1"'))
        daemon.signal(signal.SIGHUP)
        daemon.says("configuration read again")
        port.write(line("probe-1", 2))
        daemon.waits_for(1, "hull")
        assert daemon.stop() == 0


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        ("[shed]\nnam = 3", "key shed.nam"),
        *(
            pytest.param(*row, marks=pytest.mark.long)
            for row in (
                ('[resin]\nname = "no-such-resin"', "no-such-resin"),
                ('[sensors.bench]\nrole = "air"\npart = "golden"', "sensors.bench.part"),
                ('[mqtt.yard]\nca_file = "absent.pem"', "mqtt.yard"),
                ('[mqtt.yard]\npassword_file = "absent"', "mqtt.yard.password_file"),
            )
        ),
    ],
)
def test_a_boot_failure_is_status_78(settings: str, words: str, tmp_path: Path) -> None:
    """What cannot work is said once, with the place, and not tried for ever."""
    with Running(tmp_path, settings) as daemon:
        daemon.start(ready=False)
        assert daemon.ended() == 78
        assert words in daemon.text()
        assert "Traceback" not in daemon.text()


@pytest.mark.long
def test_one_daemon_a_logbook(tmp_path: Path, port: SimulatedPort) -> None:
    """The second one names the first and ends with 78."""
    with Running(tmp_path, f'[serial.usb]\nurl = "{port.url}"') as first:
        first.start()
        with Running(tmp_path, f'[serial.usb]\nurl = "{port.url}"') as second:
            second.start(ready=False)
            assert second.ended() == 78
        assert "in use by curewatch ingest" in first.text()
        assert first.stop() == 0


@pytest.mark.long
def test_the_service_manager_is_told(tmp_path: Path, port: SimulatedPort) -> None:
    """READY once it listens, signs of life while it runs, STOPPING at the end."""
    address = tmp_path / "notify"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listener:
        listener.bind(str(address))
        listener.settimeout(PATIENCE)
        settings = f'[serial.usb]\nurl = "{port.url}"'
        heard: list[bytes] = []

        def hear() -> None:
            """All the time: where ten words wait, the system lets the daemon wait with the next."""
            while b"STOPPING=1" not in heard:
                heard.append(listener.recv(1024))

        hearing = threading.Thread(target=hear, daemon=True)
        hearing.start()
        with Running(tmp_path, settings, NOTIFY_SOCKET=str(address), WATCHDOG_USEC="400000") as daemon:
            daemon.start()
            until(lambda: len(heard) > 1)
            assert heard[0].startswith(b"READY=1")
            assert heard[1] == b"WATCHDOG=1"
            assert daemon.stop() == 0
        hearing.join(PATIENCE)
        assert heard[-1] == b"STOPPING=1"


@pytest.mark.long
def test_tls_with_an_authority_of_our_own(tmp_path: Path) -> None:
    """The yard's own authority is accepted with a client certificate; another one is refused and said."""
    needs_mosquitto("for TLS")
    files = tmp_path / "broker"
    files.mkdir()
    authority(files, "yard")
    authority(files, "other")
    certificate(files, "server", "yard")
    certificate(files, "ours", "yard")
    broker = Broker(
        files,
        f"cafile {files}/yard.pem",
        f"certfile {files}/server.pem",
        f"keyfile {files}/server.key",
        "require_certificate true",
    )
    with broker:
        names = {"ca_file": "yard.pem", "certificate_file": "ours.pem", "key_file": "ours.key"}
        sound = "\n".join(f'{key} = "{files}/{name}"' for key, name in names.items())
        with Running(tmp_path, over_mqtt(broker, sound)) as daemon:
            daemon.start()
            daemon.says("yard answers")
            daemon.configure(over_mqtt(broker, sound.replace("yard.pem", "other.pem")))
            daemon.signal(signal.SIGHUP)
            daemon.says("certificate is not of our authority")
            daemon.configure(over_mqtt(broker, f'ca_file = "{files}/yard.pem"'))
            daemon.signal(signal.SIGHUP)
            daemon.says("it wants a certificate_file")
            daemon.configure(over_mqtt(broker))
            daemon.signal(signal.SIGHUP)
            daemon.says("does it want TLS (ca_file)?")
            assert daemon.stop() == 0


@pytest.mark.long
def test_user_and_password_come_from_the_environment(tmp_path: Path) -> None:
    """Without the word the broker refuses us and we say so; with it we are in."""
    needs_mosquitto("for passwords")
    files = tmp_path / "broker"
    files.mkdir()
    subprocess.run(["mosquitto_passwd", "-c", "-b", str(files / "words"), "us", "tide-table"], check=True)
    with Broker(files, "allow_anonymous false", f"password_file {files}/words") as broker:
        settings = over_mqtt(broker, 'username = "us"')
        with Running(tmp_path, settings) as daemon:
            daemon.start()
            daemon.says("refuses us: Not authorized; see username and its password")
            assert daemon.stop() == 0
        with Running(tmp_path, settings, CUREWATCH_MQTT_PASSWORD="tide-table") as daemon:
            daemon.start()
            daemon.says("yard answers")
            assert daemon.stop() == 0
            assert "tide-table" not in daemon.text()


@pytest.mark.long
def test_nothing_listens_at_the_brokers_place(tmp_path: Path, port: SimulatedPort) -> None:
    """The other source goes on; the broker's absence is said once."""
    settings = f'{SENSORS}[serial.usb]\nurl = "{port.url}"\n[mqtt.yard]\nport = {free_port()}'
    with Running(tmp_path, settings) as daemon:
        daemon.start()
        daemon.says("yard does not answer")
        daemon.says("usb answers")
        port.write(b"\n" + line("bench", 1))
        daemon.waits_for(1, "bench")
        assert daemon.text().count("yard does not answer") == 1
        assert daemon.stop() == 0


@pytest.mark.long
def test_bare_numbers_on_a_topic_for_each_quantity(tmp_path: Path, broker: Broker) -> None:
    """Each half is stored as it came, under its sensor; the pump's number is refused with what to do."""
    settings = over_mqtt(broker).replace("creek/+/state", "creek/+/+")
    with Running(tmp_path, settings) as daemon, Talker(broker) as talker:
        daemon.start()
        daemon.says("yard answers")
        talker.send("creek/bench/temperature", [b"12.4"])
        talker.send("creek/bench/humidity", [b'"71 %"'])
        talker.send("creek/pump/power", [b"40"])
        daemon.waits_for(2, "bench")
        daemon.says("a number that does not say of what")
        assert daemon.stop() == 0
        with Logbook(daemon.path) as logbook:
            found = logbook.series("bench", 0.0, 2.0**33)
            assert [(name, known.readings) for name, known in logbook.sensors().items()] == [("bench", 2)]
    assert np.round(found.temperature[~np.isnan(found.temperature)], 2).tolist() == [285.55]
    assert np.round(found.relative_humidity[~np.isnan(found.relative_humidity)], 2).tolist() == [0.71]
