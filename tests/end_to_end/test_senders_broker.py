"""Every sender of the table through a real broker and a real daemon: MQTT 5, and 3.1.1."""

import time
from pathlib import Path

import pytest

from curewatch.logbook import Logbook
from tests.broker import MOSQUITTO, Broker, Talker, until
from tests.running import Running
from tests.senders import SENDERS, said, settings

MARKERS = "curewatch/v1/fence/#"
NEEDED = {name: each.readings for each in SENDERS for name in each.sensors}


@pytest.mark.parametrize("python", [False, True], ids=["5", "3.1.1"])
@pytest.mark.few(1)
def test_each_sender_is_read_through_a_broker(tmp_path: Path, *, python: bool) -> None:
    """All of them at once; each sensor has its readings, and nothing is refused.

    The negative control in the same run: a neighbour's radio is nobody's sensor.
    """
    if MOSQUITTO is None and not python:
        pytest.skip("the broker in Python speaks 3.1.1")
    (tmp_path / "broker").mkdir()
    with Broker(tmp_path / "broker", python=python) as broker, Talker(broker) as devices:
        table = settings(*SENDERS) + f'port = {broker.port}\nversion = "{broker.version}"\n'
        with Running(tmp_path, table) as daemon:
            daemon.start()
            daemon.says("yard answers")
            for sender in SENDERS:
                for topic, payload in sender.messages:
                    devices.send(topic, [said(payload, time.time())])
                    time.sleep(0.01)
            devices.send(
                "radio/gate/events",
                [b'{"model":"Demo-TH","id":95,"channel":3,"temperature_C":12.4,"humidity":81}'],
            )
            for name, count in NEEDED.items():
                daemon.waits_for(count, name)
            daemon.waits_for(1, "Demo-TH/3/95")
            assert {name: daemon.readings(name) for name in NEEDED} == NEEDED
            assert daemon.stop() == 0
            assert daemon.rejections() == {}


@pytest.mark.long
@pytest.mark.parametrize("python", [False, True], ids=["5", "3.1.1"])
@pytest.mark.few(1)
def test_a_unit_that_the_broker_retains_is_known_after_each_start(tmp_path: Path, *, python: bool) -> None:
    """The unit was sent once, before the daemon was there, on a topic that its own filters do not cover."""
    if MOSQUITTO is None and not python:
        pytest.skip("the broker in Python speaks 3.1.1")
    (tmp_path / "broker").mkdir()
    (sender,) = [each for each in SENDERS if each.name == "Homie 4"]
    with Broker(tmp_path / "broker", python=python) as broker, Talker(broker) as devices:
        devices.send("homie/shed-one/air/temperature/$unit", ["°F".encode()], retain=True)
        table = settings(sender) + f'port = {broker.port}\nversion = "{broker.version}"\n'
        devices.listen(MARKERS)
        with Running(tmp_path, table) as daemon:
            for start in (1, 2):
                devices.heard.clear()
                daemon.start()
                until(lambda start=start: daemon.text().count("yard answers") == start)
                until(lambda: devices.heard)  # sent behind its subscription: what is retained came before
                devices.send("homie/shed-one/air/temperature", [b"54.%d" % start])
                daemon.waits_for(start, "homie-a")
                assert daemon.stop() == 0
            with Logbook(daemon.path, read_only=True) as logbook:
                rows = [rows["temperature"] for *_, rows in logbook.blocks(sensor="homie-a")]
    stored = [float(each) for row in rows for each in row]
    celsius = [(54.1 - 32) / 1.8, (54.2 - 32) / 1.8]
    assert stored == pytest.approx([1000 * each for each in celsius], abs=1)  # a column holds mdegC
