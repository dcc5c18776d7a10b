"""The daemon is killed at random moments while messages and a serial stream arrive."""

import json
import random
import sys
import threading
import time
from contextlib import suppress
from pathlib import Path

import pytest

from curewatch.logbook import Logbook
from curewatch.simulation.port import SimulatedPort
from curewatch.wire.lines import checksum
from tests.broker import PATIENCE, Broker, Talker, needs_mosquitto, until
from tests.running import TOO_EARLY, Running, in_one_of_a_few, sequences

NODES = 10
EARLY = [sys.executable, "-c", TOO_EARLY]


class Board(threading.Thread):
    """A board on the port: prints numbered lines whether or not anybody reads."""

    def __init__(self, port: SimulatedPort) -> None:
        super().__init__(daemon=True)
        self.port, self.sent, self.over = port, 0, threading.Event()

    def run(self) -> None:
        while not self.over.wait(0.02):
            self.sent += 1
            body = f"cw1 bench t=12.{self.sent % 90 + 10} h=71.00 n={self.sent}".encode()
            self.port.write(body + f" *{checksum(body):04X}\n".encode())


def _settings(broker: Broker, port: SimulatedPort) -> str:
    return (
        f'[sensors.bench]\nrole = "air"\n[serial.usb]\nurl = "{port.url}"\n'
        f'[mqtt.yard]\nport = {broker.port}\nversion = "{broker.version}"\nclient_id = "ours"\n'
        'topics = "creek/+/state"\n'
    )


class Device(threading.Thread):
    """Numbered messages without a time of their own, a share of them around each kill."""

    def __init__(self, broker: Broker, messages: int, share: int) -> None:
        super().__init__(daemon=True)
        self.broker, self.messages, self.share = broker, messages, share
        self.more = threading.Semaphore(0)  # released once a kill

    def run(self) -> None:
        with Talker(self.broker) as device:
            for number in range(self.messages):
                if number % self.share == 0:
                    self.more.acquire()
                payload = json.dumps({"temperature": 12.5, "humidity": 71.0, "n": number}).encode()
                device.client.publish(f"creek/node{number % NODES}/state", payload, 1)
                time.sleep(0.3 / self.share)
            until(lambda: device.acknowledged >= self.messages)


@pytest.mark.long
def test_two_hundred_kills_lose_nothing(tmp_path: Path) -> None:
    """20,000 QoS 1 messages, 200 x SIGKILL: each number once, the chain whole, no line of the board twice."""
    _killed(tmp_path, kills=200, messages=20_000)


def test_a_few_kills_lose_nothing(tmp_path: Path) -> None:
    """The same with two kills, for every run of the tests."""
    _killed(tmp_path, kills=2, messages=400)


@pytest.mark.long
def test_acknowledging_before_the_commit_loses_in_the_same_run(tmp_path: Path) -> None:
    """The control: what was on its way at a kill never comes again."""

    def loses(place: Path) -> bool:
        try:
            _killed(place, kills=6, messages=1200, program=EARLY, patience=20.0)
        except AssertionError as found:
            return str(found).startswith("not so after")
        return False

    assert in_one_of_a_few(loses, tmp_path)


@pytest.mark.long
def test_kills_in_a_flood_store_nothing_twice(tmp_path: Path) -> None:
    """Killed with thousands of messages on the way, of which the broker knows least what is stored."""
    _flooded(tmp_path)


@pytest.mark.long
def test_acknowledging_before_the_commit_loses_in_the_same_flood(tmp_path: Path) -> None:
    """The control."""

    def loses(place: Path) -> bool:
        try:
            _flooded(place, program=EARLY, patience=20.0)
        except AssertionError as found:
            return "of 40000 readings" in str(found)
        return False

    assert in_one_of_a_few(loses, tmp_path)


def _flooded(folder: Path, program: list[str] | None = None, patience: float = PATIENCE) -> None:
    needs_mosquitto("the broker in Python does not keep what a killed client has not taken")
    messages, kills, chance = 40_000, 0, random.Random(1)
    (folder / "broker").mkdir()
    with (
        Broker(folder / "broker", saves=False) as broker,
        SimulatedPort() as port,
        Running(folder, _settings(broker, port)) as daemon,
        Talker(broker) as device,
    ):
        daemon.program = program or daemon.program
        daemon.start()
        daemon.says("yard answers")
        for number in range(messages):
            payload = json.dumps({"temperature": 12.5, "humidity": 71.0, "n": number}).encode()
            device.client.publish(f"creek/node{number % NODES}/state", payload, 1)
        while kills < 12:
            stored = daemon.readings()
            with suppress(AssertionError):  # fewer are left
                daemon.waits_for(min(messages, stored + chance.randint(300, 1500)), seconds=patience)
            daemon.kill()
            if daemon.readings() == messages:
                break
            kills += 1  # the fault happened: killed, and more is on its way
            daemon.start()
        assert kills > 2
        if not daemon.alive:
            daemon.start()
        daemon.waits_for(messages, seconds=patience)
        assert daemon.stop() == 0
        _whole(daemon.path, messages, 0)


def _killed(
    folder: Path, kills: int, messages: int, program: list[str] | None = None, patience: float = PATIENCE
) -> None:
    needs_mosquitto("the broker in Python does not keep what a killed client has not taken")
    chance = random.Random(kills)
    (folder / "broker").mkdir()
    with (
        Broker(folder / "broker", saves=False) as broker,
        SimulatedPort() as port,
        Running(folder, _settings(broker, port)) as daemon,
    ):
        board = Board(port)
        daemon.program = program or daemon.program
        daemon.start()
        daemon.says("yard answers")
        device = Device(broker, messages, messages // kills)
        board.start()
        device.start()
        for _ in range(kills):
            device.more.release()
            time.sleep(chance.uniform(0.0, 0.5))
            daemon.kill()
            assert daemon.process is not None
            assert daemon.process.returncode == -9  # the fault happened
            daemon.start()
        device.join(PATIENCE)
        assert not device.is_alive()
        board.over.set()
        board.join()
        until(lambda: sum(daemon.readings(f"node{n}") for n in range(NODES)) >= messages, patience)
        assert daemon.stop() == 0
        _whole(daemon.path, messages, board.sent)


def _whole(path: Path, messages: int, lines: int) -> None:
    with Logbook(path, read_only=True) as logbook:
        logbook.verify()
        arrived = [number for n in range(NODES) for number in sequences(logbook, f"node{n}")]
        from_board = sequences(logbook, "bench")
    assert sorted(arrived) == list(range(messages))
    assert len(from_board) == len(set(from_board))
    assert set(from_board) <= set(range(1, lines + 1))
    assert bool(from_board) == bool(lines)
