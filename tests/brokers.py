"""A real MQTT broker for a test: mosquitto on 127.0.0.1, or the broker in Python where none is installed.

The Python one (amqtt) speaks MQTT 3.1.1 only; a test that needs MQTT 5 asks for it with ``version=5``.
"""

import os
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

import pytest

PATIENCE = 15.0  # s until a broker must listen


class Broker(NamedTuple):
    """A broker that runs; ``version`` is the newest MQTT it speaks."""

    port: int
    version: int
    process: subprocess.Popen[bytes]


def free_port() -> int:
    """A port of 127.0.0.1 that nobody listens on now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextmanager
def broker(folder: Path, *, port: int | None = None, version: int = 4) -> Iterator[Broker]:
    """A broker that lives for the block. Fails under .ci/run, else stands aside, when none can be had."""
    port = port or free_port()
    mosquitto = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin")
    if mosquitto is None and os.environ.get("CUREWATCH_REQUIRE_SYSTEM_TOOLS") == "1":
        pytest.fail("mosquitto is missing: install it")
    if mosquitto is None and version == 5:
        pytest.skip("MQTT 5 needs mosquitto, which is not installed here")
    command = _mosquitto(mosquitto, folder, port) if mosquitto else _amqtt(folder, port)
    with (folder / "broker.log").open("ab") as log:
        process = subprocess.Popen(command, stdout=log, stderr=log)
    try:
        _wait(port, process)
        yield Broker(port, 5 if mosquitto else 4, process)
    finally:
        process.terminate()
        process.wait(10)


def _mosquitto(program: str, folder: Path, port: int) -> list[str]:
    settings = folder / "broker.conf"
    settings.write_text(f"listener {port} 127.0.0.1\nallow_anonymous true\n", encoding="ascii")
    return [program, "-c", str(settings)]


def _amqtt(folder: Path, port: int) -> list[str]:
    settings = folder / "broker.yaml"
    settings.write_text(
        f"listeners:\n  default:\n    type: tcp\n    bind: 127.0.0.1:{port}\n"
        "plugins:\n  amqtt.plugins.authentication.AnonymousAuthPlugin:\n    allow_anonymous: true\n",
        encoding="ascii",
    )
    return [sys.executable, "-m", "amqtt.scripts.broker_script", "-c", str(settings)]


def _wait(port: int, process: subprocess.Popen[bytes]) -> None:
    until = time.monotonic() + PATIENCE
    while time.monotonic() < until:
        if process.poll() is not None:
            raise RuntimeError(f"the broker ended with {process.returncode}; see broker.log")
        with socket.socket() as probe:
            probe.settimeout(0.2)
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.02)
    raise RuntimeError("the broker does not listen; see broker.log")
