"""The broker is killed, the network is cut, the broker is full, two clients have one id."""

import json
import socket
import threading
from pathlib import Path

import pytest

from curewatch.clock import SystemClock
from curewatch.configuration import MqttSource
from curewatch.daemon.edges.mqtt import MqttBroker
from curewatch.daemon.events import MessageArrived, SourceUp
from curewatch.daemon.inbox import Inbox
from tests.broker import Broker, Talker, needs_mosquitto, until
from tests.running import Running

SENSORS = '[sensors.bench]\nrole = "air"\n'


def _settings(port: int, version: str, client_id: str = "ours") -> str:
    return (
        f'{SENSORS}[mqtt.yard]\nport = {port}\nversion = "{version}"\nclient_id = "{client_id}"\n'
        'topics = "creek/+/state"\nkeepalive_s = 5\n'
    )


def _messages(first: int, last: int) -> list[bytes]:
    return [
        json.dumps({"temperature": 12.5, "humidity": 71.0, "n": number}).encode()
        for number in range(first, last)
    ]


@pytest.mark.long
def test_a_broker_killed_and_started_again(tmp_path: Path) -> None:
    """We say that it is gone, find it again by ourselves, and what it had saved is there once."""
    (tmp_path / "broker").mkdir()
    broker = Broker(tmp_path / "broker")
    with broker, Running(tmp_path, _settings(broker.port, broker.version)) as daemon:
        daemon.start()
        daemon.says("yard answers")
        with Talker(broker) as device:
            device.send("creek/bench/state", _messages(0, 30))
        daemon.waits_for(30, "bench")
        broker.kill()
        daemon.says("yard does not answer")  # the fault happened
        broker.start()
        until(lambda: daemon.text().count("yard answers") == 2)
        with Talker(broker) as device:
            device.send("creek/bench/state", _messages(30, 60))
        daemon.waits_for(60, "bench")
        assert daemon.stop() == 0
        assert sorted(daemon.numbers("bench")) == list(range(60))


class Cable:
    """A network between us and the broker that can be cut: silent, not closed."""

    def __init__(self, port: int) -> None:
        self._to = port
        self._whole = threading.Event()
        self._whole.set()
        self.dropped = 0
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port = self._server.getsockname()[1]
        self._pairs: list[socket.socket] = []
        threading.Thread(target=self._accept, daemon=True).start()

    def _accept(self) -> None:
        while True:
            try:
                near, _ = self._server.accept()
            except OSError:
                return
            far = socket.create_connection(("127.0.0.1", self._to))
            self._pairs += [near, far]
            for here, there in ((near, far), (far, near)):
                threading.Thread(target=self._carry, args=(here, there), daemon=True).start()

    def _carry(self, here: socket.socket, there: socket.socket) -> None:
        try:
            while data := here.recv(65_536):
                if self._whole.is_set():
                    there.sendall(data)
                else:
                    self.dropped += len(data)
        except OSError:
            return

    def cut(self) -> None:
        self._whole.clear()

    def mend(self) -> None:
        """Whole again for new connections; those of before are lost, as after a long cut."""
        for end in self._pairs:
            end.close()
        self._pairs.clear()
        self._whole.set()

    def close(self) -> None:
        self._server.close()
        self.mend()


@pytest.mark.long
def test_a_cut_network_is_noticed_and_outlived(tmp_path: Path) -> None:
    """Nothing closes the connection, only silence: keepalive notices; all of it arrives once."""
    needs_mosquitto("amqtt hands a kept session nothing that came while it was away")
    (tmp_path / "broker").mkdir()
    with Broker(tmp_path / "broker", saves=False) as broker:
        cable = Cable(broker.port)
        with Talker(broker) as device, Running(tmp_path, _settings(cable.port, broker.version)) as daemon:
            daemon.start()
            daemon.says("yard answers")
            device.send("creek/bench/state", _messages(0, 20))
            daemon.waits_for(20, "bench")
            cable.cut()
            device.send("creek/bench/state", _messages(20, 400))
            daemon.says("yard does not answer")
            assert cable.dropped > 0  # the fault happened
            assert daemon.readings("bench") == 20
            cable.mend()
            daemon.waits_for(400, "bench")
            assert daemon.stop() == 0
            assert sorted(daemon.numbers("bench")) == list(range(400))
        cable.close()


@pytest.mark.long
def test_two_clients_with_one_id_are_told_apart(tmp_path: Path) -> None:
    """The one that is thrown out again and again says why and what to change, and then waits longer."""
    needs_mosquitto("amqtt lets two clients of one id live side by side")
    (tmp_path / "broker").mkdir()
    with (
        Broker(tmp_path / "broker", saves=False) as broker,
        Running(tmp_path, _settings(broker.port, "5")) as daemon,
    ):
        daemon.start()
        daemon.says("yard answers")
        with Talker(broker, "ours"):
            daemon.says("another client uses the id 'ours'")
            thrown_out = daemon.text().count("does not answer")
            assert thrown_out >= 3  # the fault happened
        assert daemon.stop() == 0


@pytest.mark.long
def test_a_full_broker_costs_what_it_dropped_and_no_more(tmp_path: Path) -> None:
    """A broker that queues 50 keeps 50 while we are away; they arrive, and it is we who are not to blame."""
    needs_mosquitto("to set the length of its queue")
    (tmp_path / "broker").mkdir()
    broker = Broker(tmp_path / "broker", "max_queued_messages 50", "max_inflight_messages 20", saves=False)
    with broker, Talker(broker) as device, Running(tmp_path, _settings(broker.port, "5")) as daemon:
        daemon.start()
        daemon.says("yard answers")
        assert daemon.stop() == 0
        device.send("creek/bench/state", _messages(0, 500))
        daemon.start()
        until(lambda: daemon.readings("bench") >= 50)
        device.send("creek/bench/state", _messages(500, 520))
        until(lambda: 519 in daemon.numbers("bench"))
        assert daemon.stop() == 0
        numbers = daemon.numbers("bench")
        assert len(numbers) == len(set(numbers))
        assert len([number for number in numbers if number < 500]) < 500  # the fault happened
        assert set(range(500, 520)) <= set(numbers)


@pytest.mark.long
def test_a_broker_that_forgot_us_is_said(tmp_path: Path) -> None:
    """Restarted without a memory it keeps no session: messages are lost, and nobody hides it."""
    needs_mosquitto("the other one keeps no sessions at all")
    (tmp_path / "broker").mkdir()
    with (
        Broker(tmp_path / "broker", saves=False) as broker,
        Running(tmp_path, _settings(broker.port, "5")) as daemon,
    ):
        daemon.start()
        daemon.says("yard answers")
        with Talker(broker) as device:
            device.send("creek/bench/state", _messages(0, 5))
        daemon.waits_for(5, "bench")
        broker.kill()
        daemon.says("yard does not answer")
        broker.start()
        daemon.says("kept no session for us")
        assert daemon.stop() == 0
        assert any("kept no session" in str(entry.get("notice")) for entry in daemon.entries("source"))


def test_what_was_not_acknowledged_is_asked_for_again(tmp_path: Path) -> None:
    """A broker sends it again on a new connection only: with the session of before."""
    needs_mosquitto("amqtt hands a kept session nothing that came while it was away")
    (tmp_path / "broker").mkdir()
    inbox, heard = Inbox(), list[MessageArrived]()
    messages = _messages(0, 3)

    def came() -> list[MessageArrived]:
        heard.extend(event for event in inbox.take(0.1) if isinstance(event, MessageArrived))
        return heard

    with Broker(tmp_path / "broker") as broker, Talker(broker) as device:
        source = MqttSource(port=broker.port, version="5", topics=("creek/+/state",))
        edge = MqttBroker("yard", source, inbox, SystemClock())
        edge.start()
        until(lambda: any(isinstance(event, SourceUp) for event in inbox.take(0.1)))
        # it answers before our subscription stands: what is sent until then goes to nobody
        until(lambda: came() or device.client.publish("creek/bench/state", b"{}", 1) is None)
        device.send("creek/bench/state", messages)
        until(lambda: any(event.payload == messages[-1] for event in came()))
        edge.acknowledge(1, tuple(event.identifier for event in heard[:-2]))
        first = len(heard)
        edge.renew()
        until(lambda: len(came()) == first + 2)
        edge.stop()
    assert [(event.connection, event.payload) for event in heard[first:]] == [
        (2, payload) for payload in messages[1:]
    ]
    assert all(event.duplicate and event.backlog for event in heard[first:])
