"""Kills over TLS with readings that are all equal; and the same with a defect put in, which must lose."""

import random
import sys
import threading
import time
from pathlib import Path

import pytest

from curewatch.logbook import Logbook
from tests.broker import PATIENCE, Broker, Talker, free_port, needs_mosquitto, until
from tests.certificates import authority, certificate
from tests.running import TOO_EARLY, Running, in_one_of_a_few

SAID = b'{"temperature": 12.5, "humidity": 71.0}'


class EqualDevice(threading.Thread):
    """Says the same again and again, without a number and without a time."""

    def __init__(self, broker: Broker, messages: int) -> None:
        super().__init__(daemon=True)
        self.broker, self.messages = broker, messages

    def run(self) -> None:
        with Talker(self.broker) as device:
            for _ in range(self.messages):
                device.client.publish("creek/bench/state", SAID, 1)
                time.sleep(0.005)
            until(lambda: device.acknowledged >= self.messages)


def killed(folder: Path, kills: int, messages: int, program: list[str] | None = None) -> int:
    """How many readings are stored in the end, after so many kills while the messages come."""
    needs_mosquitto("amqtt has no TLS here, and hands a kept session nothing")
    files = folder / "broker"
    files.mkdir()
    authority(files, "yard")
    certificate(files, "broker", "yard")
    port, chance = free_port(), random.Random(kills)
    listener = [f"listener {port} 127.0.0.1", f"certfile {files}/broker.pem", f"keyfile {files}/broker.key"]
    settings = (
        f'[sensors.bench]\nrole = "air"\n[mqtt.yard]\nport = {port}\nca_file = "{files}/yard.pem"\n'
        'client_id = "ours"\ntopics = ["creek/+/state"]\n'
    )
    with Broker(files, *listener, saves=False) as broker, Running(folder, settings) as daemon:
        daemon.program = program or daemon.program
        daemon.start()
        daemon.says("yard answers")
        device = EqualDevice(broker, messages)
        device.start()
        for _ in range(kills):
            before = daemon.readings()
            until(lambda: daemon.readings() > before or not device.is_alive())  # noqa: B023 - at once
            time.sleep(chance.uniform(0.0, 0.2))
            daemon.kill()
            daemon.start()
        device.join(PATIENCE)
        assert not device.is_alive()
        settled(daemon, messages, 5.0 if program else PATIENCE)
        assert daemon.stop() == 0
        with Logbook(daemon.path, read_only=True) as logbook:
            logbook.verify()
        return daemon.readings()


def settled(daemon: Running, messages: int, patience: float) -> None:
    """Until all are there, or nothing has come for so long [s]."""
    count, since = daemon.readings(), time.monotonic()
    while count < messages and time.monotonic() - since < patience:
        time.sleep(0.1)
        if daemon.readings() != count:
            count, since = daemon.readings(), time.monotonic()


@pytest.mark.long
@pytest.mark.parametrize(("kills", "messages"), [(2, 600), (40, 12_000)])
def test_equal_readings_over_tls_are_stored_once_each(tmp_path: Path, kills: int, messages: int) -> None:
    """As many rows as messages: none lost at a kill, none twice when it comes again."""
    assert killed(tmp_path, kills, messages) == messages


@pytest.mark.long
def test_acknowledging_before_the_commit_loses(tmp_path: Path) -> None:
    """The control: with that defect in the daemon the same run finds readings missing."""
    early = [sys.executable, "-c", TOO_EARLY]
    assert in_one_of_a_few(lambda place: killed(place, 3, 900, early) < 900, tmp_path)
