"""One message far larger than any reading: the daemon stays small, goes on listening, and is not killed.

Each broker hands the message on as it came: mosquitto in MQTT 5 and 3.1.1, and amqtt, which is another
program. The most that the daemon ever had resident is what the kernel says of the process.
"""

import socket
import struct
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from curewatch.wire import Reason
from tests.broker import PATIENCE, Broker, Talker, needs_mosquitto, until
from tests.running import Running

READING = b'{"temperature": 12.5, "humidity": 71.0}'
NORMAL = 70.0  # what the daemon may have resident in the default run; it takes 53 to 57 [MB]
ISSUED = 80.0  # and with a message of 100 MB [MB]
CONNECT, ACKNOWLEDGED, SUBSCRIBE, PING = 1, 4, 8, 12  # types of packets
WAYS = [("5", False), ("3.1.1", False), ("3.1.1", True)]


def settings(port: int, version: str, more: str = "") -> str:
    return (
        f'[sensors.bench]\nrole = "air"\n[mqtt.yard]\nport = {port}\nversion = "{version}"\n'
        f'topics = ["creek/+/state"]\nclient_id = "ours"\n{more}\n'
    )


def after_a_large_one(folder: Path, version: str, size: int, *, python: bool) -> tuple[float, dict[str, int]]:
    """Peak memory [MB] and refusals of a daemon that met ``size`` bytes at once, and was started again."""
    if not python:
        needs_mosquitto("amqtt speaks MQTT 3.1.1 alone")
    (folder / "broker").mkdir()
    broker = Broker(folder / "broker", "max_packet_size 268435455", saves=False, python=python)
    with broker, Talker(broker) as device, Running(folder, settings(broker.port, version)) as daemon:
        daemon.start().says("yard answers")
        device.send("creek/bench/state", [b"7" * size])
        device.send("creek/bench/state", [READING])
        daemon.waits_for(1)
        peak = daemon.peak()
        assert daemon.stop() == 0
        daemon.start()
        daemon.says("yard answers")
        device.send("creek/bench/state", [READING])
        daemon.waits_for(2)
        return max(peak, daemon.peak()), daemon.rejections()


@pytest.mark.long
@pytest.mark.parametrize(("version", "python"), WAYS)
@pytest.mark.few(1)
def test_thirty_megabytes_pass_by(tmp_path: Path, version: str, python: bool) -> None:
    """MQTT 5: the broker drops it unseen. MQTT 3.1.1: it is refused and acknowledged, once."""
    peak, rejected = after_a_large_one(tmp_path, version, 30_000_000, python=python)
    assert peak < NORMAL
    assert rejected == ({} if version == "5" else {str(Reason.TOO_LARGE): 1})


@pytest.mark.long
@pytest.mark.parametrize(("version", "python"), WAYS)
def test_a_hundred_megabytes_pass_by(tmp_path: Path, version: str, python: bool) -> None:
    """The same with 100 MB."""
    peak, rejected = after_a_large_one(tmp_path, version, 100_000_000, python=python)
    assert peak < ISSUED
    assert rejected == ({} if version == "5" else {str(Reason.TOO_LARGE): 1})


def packet(listener: socket.socket) -> int:
    """Read one packet; its type. A document of the daemon has a length of two bytes."""
    first, byte = listener.recv(2, socket.MSG_WAITALL)
    length, place = byte & 127, 7
    while byte & 128:
        byte = listener.recv(1, socket.MSG_WAITALL)[0]
        length |= (byte & 127) << place
        place += 7
    if length:
        listener.recv(length, socket.MSG_WAITALL)
    return first >> 4


@contextmanager
def slow_broker(seconds: float) -> Iterator[tuple[int, list[int]]]:
    """A broker of MQTT 3.1.1 whose first message takes ``seconds``; its port, and the packets that came."""
    body = struct.pack(">H", 18) + b"creek/hatch/stated" + struct.pack(">H", 7) + bytes(200_000)
    large = b"\x32" + bytes((len(body) & 127 | 128, len(body) >> 7 & 127 | 128, len(body) >> 14)) + body
    topic = struct.pack(">H", 17) + b"creek/bench/state" + struct.pack(">H", 8)
    small = b"\x32" + bytes((len(topic + READING),)) + topic + READING
    came: list[int] = []

    def serve() -> None:
        sock, _ = server.accept()
        with sock:
            for answer in (b"\x20\x02\x00\x00", b"\x90\x03\x00\x01\x01"):
                came.append(packet(sock))
                sock.sendall(answer)
            for piece in range(0, len(large), 2_000):
                sock.sendall(large[piece : piece + 2_000])
                time.sleep(seconds / 100)
            sock.sendall(small)
            while len(came) < 500 and came.count(ACKNOWLEDGED) < 2:
                came.append(packet(sock))

    with socket.create_server(("127.0.0.1", 0)) as server:
        thread = threading.Thread(target=serve, daemon=True)
        thread.start()
        yield server.getsockname()[1], came
        thread.join(PATIENCE)


@pytest.mark.long
def test_a_slow_network_does_not_make_it_come_again(tmp_path: Path) -> None:
    """A message that takes thrice the keep-alive passes on one connection; the broker gets our pings."""
    with slow_broker(45.0) as (port, came):
        text = settings(port, "3.1.1", 'keepalive_s = 15\npublish = "curewatch"')
        with Running(tmp_path, text) as daemon:
            daemon.start().says("yard answers")
            daemon.waits_for(1)
            until(lambda: came.count(ACKNOWLEDGED) == 2)
            assert daemon.text().count("yard answers") == 1
    assert came[:2] == [CONNECT, SUBSCRIBE]
    assert came.count(PING) >= 5
