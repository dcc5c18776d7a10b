"""Brokers that speak MQTT 3.1.1 alone, and two daemons that share one subscription."""

import json
from pathlib import Path

import pytest

from tests.broker import Broker, Talker, needs_mosquitto, until
from tests.running import Running

COUNT = 60


def settings(broker: Broker, version: str, more: str) -> str:
    return (
        f'[sensors.bench]\nrole = "air"\n[mqtt.yard]\nport = {broker.port}\nversion = "{version}"\n'
        f'topics = ["creek/+/state"]\n{more}\n'
    )


def messages(first: int, last: int) -> list[bytes]:
    return [
        json.dumps({"temperature": 12.5, "humidity": 71.0, "n": number}).encode()
        for number in range(first, last)
    ]


@pytest.mark.long
def test_the_older_protocol_keeps_its_session(tmp_path: Path) -> None:
    """MQTT 3.1.1: what is sent while the daemon is killed comes afterwards, once each."""
    needs_mosquitto("amqtt hands a kept session nothing that came while it was away")
    (tmp_path / "broker").mkdir()
    with Broker(tmp_path / "broker") as broker, Talker(broker) as device:
        daemon = Running(tmp_path, settings(broker, "3.1.1", 'client_id = "ours"'))
        with daemon:
            daemon.start()
            daemon.says("yard answers")
            device.send("creek/bench/state", messages(0, 20))
            daemon.waits_for(20)
            daemon.kill()
            device.send("creek/bench/state", messages(20, COUNT))
            daemon.start()
            daemon.waits_for(COUNT)
            assert daemon.stop() == 0
            assert daemon.numbers("bench") == list(range(COUNT))


@pytest.mark.long
def test_two_daemons_share_a_subscription(tmp_path: Path) -> None:
    """Each message goes to one of the two, both get some, and together they have every one, once."""
    needs_mosquitto("shared subscriptions are MQTT 5, amqtt speaks 3.1.1")
    for name in ("broker", "one", "two"):
        (tmp_path / name).mkdir()
    with Broker(tmp_path / "broker") as broker, Talker(broker) as device:
        shared = [
            Running(tmp_path / name, settings(broker, "5", f'share = "yard"\nclient_id = "{name}"'))
            for name in ("one", "two")
        ]
        with shared[0], shared[1]:
            for daemon in shared:
                daemon.start()
                daemon.says("yard answers")
            device.send("creek/bench/state", messages(0, COUNT))
            until(lambda: sum(daemon.readings() for daemon in shared) >= COUNT)
            assert [daemon.stop() for daemon in shared] == [0, 0]
            parts = [daemon.numbers("bench") for daemon in shared]
    assert all(parts)
    assert sorted(parts[0] + parts[1]) == list(range(COUNT))
