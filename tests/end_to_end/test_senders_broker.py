"""Every sender of the table through a real broker and a real daemon: MQTT 5, and 3.1.1."""

import time
from pathlib import Path

import pytest

from tests.broker import MOSQUITTO, Broker, Talker
from tests.running import Running
from tests.senders import SENDERS, said, settings

NEEDED = {name: each.readings for each in SENDERS for name in each.sensors}


@pytest.mark.parametrize("python", [False, True], ids=["5", "3.1.1"])
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
