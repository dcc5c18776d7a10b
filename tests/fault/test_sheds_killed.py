"""Several sheds in one daemon that is killed: each reading once in its shed, and each chain whole.

Most messages are of several sheds. The controls put a defect into the daemon and must find readings missing.
"""

import json
import random
import sys
import threading
import time
from pathlib import Path

import pytest

from curewatch.logbook import Logbook
from tests.broker import PATIENCE, Broker, Talker, needs_mosquitto, until
from tests.fault.test_killed_over_tls import TOO_EARLY
from tests.running import Running, in_one_of_a_few

SHEDS = ("creek", "loft", "quay")
TOO_EARLY_FOR_ONE = """
from curewatch.cli.main import run
from curewatch.daemon import sorting

def with_the_first(self, source, connection, identifiers, in_order):
    return identifiers

sorting.Unacknowledged.committed = with_the_first
run()
"""


def told_in(number: int) -> tuple[str, ...]:
    """The sheds that a message tells something: one, two or all of them, in turn."""
    first = number % len(SHEDS)
    return tuple(SHEDS[(first + more) % len(SHEDS)] for more in range(1 + number // 3 % len(SHEDS)))


def warmth(number: int) -> float:
    """What tells one message from another. [degC]"""
    return round(5.0 + number * 0.01, 2)


class Gateway(threading.Thread):
    """One device that speaks for sensors of every shed, without a time of its own."""

    def __init__(self, broker: Broker, messages: int) -> None:
        super().__init__(daemon=True)
        self.broker, self.messages = broker, messages

    def run(self) -> None:
        with Talker(self.broker) as device:
            for number in range(self.messages):
                pack = [
                    {"n": f"bench-{shed}:temperature", "u": "Cel", "v": warmth(number)}
                    for shed in told_in(number)
                ]
                device.client.publish("creek/gateway/state", json.dumps(pack).encode(), 1)
                time.sleep(0.004)
            until(lambda: device.acknowledged >= self.messages)


def killed(folder: Path, kills: int, messages: int, program: list[str] | None = None) -> tuple[int, int]:
    """How many readings are missing in the end, and how many are there twice; every chain is walked."""
    needs_mosquitto("the broker in Python does not keep what a killed client has not taken")
    (folder / "broker").mkdir()
    chance = random.Random(kills)
    sensors = "".join(f'[sheds.{shed}.sensors.bench-{shed}]\nrole = "air"\n' for shed in SHEDS)
    with Broker(folder / "broker", saves=False) as broker:
        mqtt = f'[mqtt.yard]\nport = {broker.port}\nclient_id = "ours"\ntopics = "creek/+/state"\n'
        with Running(folder, sensors + mqtt) as daemon:
            daemon.program = program or daemon.program
            daemon.path = folder / f"{SHEDS[0]}.sqlite"  # one of them, to see that readings come
            daemon.start()
            daemon.says("yard answers")
            gateway = Gateway(broker, messages)
            gateway.start()
            for _ in range(kills):
                before = daemon.readings()
                until(lambda: daemon.readings() > before or not gateway.is_alive())  # noqa: B023
                time.sleep(chance.uniform(0.0, 0.2))
                daemon.kill()
                daemon.start()
            gateway.join(PATIENCE)
            assert not gateway.is_alive()
            counted = _settled(folder, messages, 5.0 if program else PATIENCE)
            assert daemon.stop() == 0
    return counted


def _settled(folder: Path, messages: int, patience: float) -> tuple[int, int]:
    """When all are there, or nothing has come for so long [s]."""
    found, since = _counted(folder, messages), time.monotonic()
    while found[0] and time.monotonic() - since < patience:
        time.sleep(0.2)
        now = _counted(folder, messages)
        if now != found:
            found, since = now, time.monotonic()
    return found


def _counted(folder: Path, messages: int) -> tuple[int, int]:
    missing = twice = 0
    for shed in SHEDS:
        with Logbook(folder / f"{shed}.sqlite", read_only=True) as logbook:
            logbook.verify()
            series = logbook.series(f"bench-{shed}")
        kept = [round(kelvin - 273.15, 2) for kelvin in series.temperature]
        sent = {warmth(number) for number in range(messages) if shed in told_in(number)}
        assert set(kept) <= sent  # nothing of another shed
        missing += len(sent - set(kept))
        twice += len(kept) - len(set(kept))
    return missing, twice


@pytest.mark.long
@pytest.mark.parametrize(("kills", "messages"), [(3, 900), (30, 4_000)])
def test_what_was_acknowledged_is_in_each_shed(tmp_path: Path, kills: int, messages: int) -> None:
    """None missing, none twice, in none of the sheds."""
    assert killed(tmp_path, kills, messages) == (0, 0)


@pytest.mark.long
@pytest.mark.parametrize(
    "defect", [TOO_EARLY, TOO_EARLY_FOR_ONE], ids=["before any commit", "after the first"]
)
def test_acknowledging_too_early_loses(tmp_path: Path, defect: str) -> None:
    """The control: before any shed has committed, and when the first has; the same count finds it."""
    program = [sys.executable, "-c", defect]
    assert in_one_of_a_few(lambda place: killed(place, 12, 2_500, program)[0] > 0, tmp_path)
