"""A real broker for tests, on a free port of this machine: mosquitto, or amqtt where none is installed.

Under CUREWATCH_REQUIRE_SYSTEM_TOOLS=1 a missing mosquitto is a failure. amqtt speaks MQTT 3.1.1 only, so the
fixture says which version a test may ask for.
"""

import asyncio
import os
import secrets
import shutil
import signal
import socket
import subprocess
import sys
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable
from contextlib import suppress
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

PATIENCE = 600.0  # s a test waits for what must come, however busy the machine
WORKERS = 16  # of a run, at most
REQUIRED = os.environ.get("CUREWATCH_REQUIRE_SYSTEM_TOOLS") == "1"
MOSQUITTO = shutil.which("mosquitto", path=os.environ.get("PATH", "") + ":/usr/sbin:/usr/local/sbin")


_given: deque[int] = deque(maxlen=300)  # ports, of about 750; the newest may not be open yet


def free_port() -> int:
    """A port nobody holds, below those the system gives to outgoing connections (Linux: from 32768 on).

    What opens it later, or opens it again, so finds it free. Not drawn from `random`, which the tests seed.
    Each worker of a run has ports of its own, so that none draws what another is about to open.
    Nor is one given twice in a row of draws: a cluster draws ten before it opens any.
    """
    worker = int(os.environ.get("PYTEST_XDIST_WORKER", "gw0").removeprefix("gw"))
    ours = range(20_000 + worker % WORKERS, 32_000, WORKERS)
    for port in secrets.SystemRandom().sample(ours, len(ours)):
        if port in _given:
            continue
        with socket.socket() as found, suppress(OSError):
            found.bind(("127.0.0.1", port))
            _given.append(port)
            return port
    raise AssertionError("no port is free on 127.0.0.1")


def until(true: Callable[[], Any], seconds: float = PATIENCE) -> Any:
    """Poll a real process until something is so; fail with what was waited for."""
    deadline = time.monotonic() + seconds
    while not (found := true()):
        if time.monotonic() > deadline:
            raise AssertionError(f"not so after {seconds:g} s: {true}")
        time.sleep(0.02)
    return found


def needs_mosquitto(reason: str) -> None:
    """Stand aside where only the broker in Python is there; fail where mosquitto is required."""
    assert MOSQUITTO is not None or not REQUIRED, "mosquitto is required here and is not installed"
    if MOSQUITTO is None:
        pytest.skip(f"needs mosquitto: {reason}")


def _listens(port: int) -> bool:
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


class Broker:
    """A broker process that can be killed and started again on the same port with the same memory."""

    def __init__(self, folder: Path, *settings: str, saves: bool = True, python: bool = False) -> None:
        self.saves = saves  # each change at once: slow, and survives a kill
        self.python = python or MOSQUITTO is None  # amqtt
        self.port = free_port()
        self.folder = folder
        self.settings = settings
        self.process: subprocess.Popen[bytes] | None = None
        if MOSQUITTO is None and REQUIRED:
            raise AssertionError("mosquitto is required here and is not installed")

    @property
    def modern(self) -> bool:
        """Whether it speaks MQTT 5."""
        return not self.python

    @property
    def version(self) -> str:
        return "5" if self.modern else "3.1.1"

    def start(self) -> "Broker":
        command = [sys.executable, __file__, str(self.port)] if self.python else self._mosquitto()
        self.process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        until(lambda: _listens(self.port))
        return self

    def _mosquitto(self) -> list[str]:
        lines = [
            f"listener {self.port} 127.0.0.1",
            "max_queued_messages 0",
            *([] if any("max_inflight" in line for line in self.settings) else ["max_inflight_messages 0"]),
            *(self._saving() if self.saves else []),
            *([] if any("allow_anonymous" in line for line in self.settings) else ["allow_anonymous true"]),
            *self.settings,
        ]
        if os.geteuid() == 0:
            lines.append("user root")
        file = self.folder / "broker.conf"
        file.write_text("\n".join(lines) + "\n")
        return [str(MOSQUITTO), "-c", str(file)]

    def _saving(self) -> list[str]:
        place = f"persistence_location {self.folder}/"
        return ["persistence true", place, "autosave_interval 1", "autosave_on_changes true"]

    def stop(self, number: int = signal.SIGTERM) -> None:
        if self.process is not None:
            self.process.send_signal(number)
            self.process.wait(PATIENCE)
            self.process = None

    def kill(self) -> None:
        self.stop(signal.SIGKILL)

    def __enter__(self) -> "Broker":
        return self.start()

    def __exit__(self, *_: object) -> None:
        self.stop()


class Talker:
    """A device, or a listener: a plain client in a thread of its own."""

    def __init__(self, broker: Broker, name: str = "talker", **options: Any) -> None:
        self.heard: list[Any] = []
        self._connected = threading.Event()
        self.acknowledged = 0
        version = MQTTProtocolVersion.MQTTv5 if broker.modern else MQTTProtocolVersion.MQTTv311
        self.client = paho.Client(CallbackAPIVersion.VERSION2, client_id=name, protocol=version, **options)
        self.client.max_inflight_messages_set(1000)
        self.client.on_connect = lambda *_: self._connected.set()
        self.client.on_message = lambda _client, _data, message: self.heard.append(message)
        self.client.on_publish = self._published
        self.client.connect("127.0.0.1", broker.port)
        self.client.loop_start()
        if not self._connected.wait(PATIENCE):
            raise AssertionError("the broker does not answer a test client")

    def _published(self, *_: Any) -> None:
        self.acknowledged += 1

    def send(self, topic: str, payloads: Iterable[bytes], quality: int = 1, *, retain: bool = False) -> None:
        """Publish, and wait until the broker has taken all of it."""
        infos = [self.client.publish(topic, payload, quality, retain=retain) for payload in payloads]
        until(lambda: all(info.is_published() for info in infos))

    def listen(self, topic: str) -> None:
        done = threading.Event()
        self.client.on_subscribe = lambda *_: done.set()
        self.client.subscribe(topic, 1)
        if not done.wait(PATIENCE):
            raise AssertionError("the broker does not take a subscription")

    def close(self) -> None:
        client = self.client
        client.disconnect()
        client.loop_stop()
        # without a circle of references the client closes its own sockets at once
        client.on_connect = client.on_message = client.on_publish = client.on_subscribe = None

    def __enter__(self) -> "Talker":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


async def _amqtt(port: int) -> None:
    from amqtt.broker import Broker as PythonBroker

    broker = PythonBroker(
        {
            "listeners": {"default": {"type": "tcp", "bind": f"127.0.0.1:{port}"}},
            "plugins": {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}},
        }
    )
    await broker.start()
    await asyncio.Event().wait()


if __name__ == "__main__":
    asyncio.run(_amqtt(int(sys.argv[1])))
