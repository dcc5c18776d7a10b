"""One device floods: the others are heard in time, memory stays bounded, nothing acknowledged is lost."""

import json
import threading
from pathlib import Path

import pytest

from curewatch.simulation.port import SimulatedPort
from curewatch.wire.lines import checksum
from tests.broker import Broker, Talker, until
from tests.running import Running

AHEAD = 20_000  # messages the flood is ahead of what the daemon has stored
MOST = 2_000_000  # it ends by itself, should the daemon never hear the board


@pytest.mark.long
def test_a_flood_from_one_device_starves_nobody(tmp_path: Path) -> None:
    """Messages as fast as a client can send them beside a quiet board: its lines come in between."""
    (tmp_path / "broker").mkdir()
    over = threading.Event()
    sent = 0
    with (
        Broker(tmp_path / "broker", saves=False) as broker,
        SimulatedPort() as port,
        Talker(broker) as device,
        Running(
            tmp_path,
            f'[sensors.bench]\nrole = "air"\n[serial.usb]\nurl = "{port.url}"\n'
            f'[mqtt.yard]\nport = {broker.port}\nversion = "{broker.version}"\n'
            'client_id = "ours"\ntopics = "creek/+/state"\n',
        ) as daemon,
    ):
        daemon.start()
        daemon.says("yard answers")
        daemon.says("usb answers")

        def flood() -> None:
            nonlocal sent
            while not over.is_set() and sent < MOST:
                for _ in range(1_000):
                    payload = json.dumps({"temperature": 12.5, "humidity": 70, "n": sent}).encode()
                    device.client.publish("creek/mad/state", payload, 1)
                    sent += 1
                until(lambda wanted=sent - AHEAD: over.is_set() or daemon.readings("mad") > wanted)

        flooding = threading.Thread(target=flood)
        flooding.start()
        until(lambda: daemon.readings("mad") > 1_000)  # the fault happened
        port.write(b"\n")
        for number in range(5):
            body = f"cw1 bench t=12.50 h=71.00 n={number}".encode()
            port.write(body + f" *{checksum(body):04X}\n".encode())
            daemon.waits_for(number + 1, "bench")
            assert flooding.is_alive()  # it came in between, not after
        memory = daemon.resident()
        over.set()
        flooding.join()
        until(lambda: daemon.readings("mad") >= sent)
        assert memory < 75.0
        assert daemon.stop() == 0
        assert sorted(daemon.numbers("mad")) == list(range(sent))
