"""What the daemon leaves with a real broker stands apart from what comes in, and goes when switched off."""

import json
import signal
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from curewatch.clock import SystemClock
from curewatch.configuration import MqttSource
from curewatch.daemon.edges import mqtt
from curewatch.daemon.edges.mqtt import MqttBroker
from curewatch.daemon.events import MessageArrived
from curewatch.daemon.inbox import Inbox
from tests.broker import Broker, Talker, until
from tests.running import Running

PLACE = "homeassistant/device/curewatch-ours/config"


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    (tmp_path / "broker").mkdir()
    with Broker(tmp_path / "broker") as started:
        yield started


def settings(broker: Broker, more: str = "") -> str:
    return (
        '[shed]\nname = "Saltmarsh Shed"\n[sensors.bench]\nrole = "air"\n[mqtt.yard]\nhost = "127.0.0.1"\n'
        f'port = {broker.port}\nversion = "{broker.version}"\nclient_id = "ours"\ntopics = ["#"]\n{more}'
    )


def standing(broker: Broker, topic: str) -> dict[str, bytes]:
    """What a reader that comes now is given."""
    with Talker(broker, "reader") as reader:
        reader.listen(topic)
        reader.listen("nothing/at/all")  # answered behind what was kept
        return {each.topic: each.payload for each in reader.heard if each.retain}


@pytest.mark.long
def test_discovery_is_off_comes_and_goes(tmp_path: Path, broker: Broker) -> None:
    """Nothing by default; one retained document when asked; none after a reload without it, nor elsewhere."""
    with Running(tmp_path, settings(broker)) as daemon, Talker(broker):
        daemon.start()
        daemon.says("yard answers")
        until(
            lambda: standing(broker, "curewatch/v1/availability") == {"curewatch/v1/availability": b"online"}
        )
        assert standing(broker, "homeassistant/#") == {}
        daemon.configure(settings(broker, 'discovery = "homeassistant"\n'))
        daemon.signal(signal.SIGHUP)
        document = json.loads(until(lambda: standing(broker, "homeassistant/#").get(PLACE)))
        assert document["device"]["name"] == "Saltmarsh Shed"
        daemon.configure(settings(broker, 'discovery = "elsewhere"\n'))
        daemon.signal(signal.SIGHUP)
        until(lambda: list(standing(broker, "elsewhere/#")) and standing(broker, "homeassistant/#") == {})
        assert daemon.stop() == 0
    with Running(tmp_path, settings(broker)) as daemon:  # switched off while it did not run
        daemon.start()
        until(lambda: standing(broker, "elsewhere/#") == {})
        assert daemon.stop() == 0


OWN: dict[str, Any] = {"temperature": 12.4, "humidity": 70.0}


@pytest.mark.parametrize("heeded", [True, False])
def test_a_wide_subscription_does_not_bring_our_own_words_back(
    tmp_path: Path, broker: Broker, monkeypatch: pytest.MonkeyPatch, heeded: bool
) -> None:
    """With # nothing under v1 is a reading or a rejection; without the rule it would be."""
    if not heeded:
        monkeypatch.setattr(
            mqtt, "out", lambda prefix, topic="": f"{prefix}/v1/{topic}" if topic else "never/"
        )
    inbox, source = Inbox(), MqttSource(port=broker.port, version=broker.version, topics=("#",))
    edge = MqttBroker("yard", source, inbox, SystemClock())
    arrived: list[str] = []

    def came(topic: str) -> bool:
        events = inbox.take(0.1)
        arrived.extend(each.topic for each in events if isinstance(each, MessageArrived))
        return topic in arrived

    edge.start()
    try:
        edge.publish("state", OWN)
        until(lambda: came("") or standing(broker, "curewatch/v1/state"))
        with Talker(broker) as device:
            device.send("creek/bench/state", [json.dumps(OWN).encode()])
            until(lambda: came("creek/bench/state"))
    finally:
        edge.stop()
    assert ("curewatch/v1/state" in arrived) is not heeded
