"""How fast messages become committed rows, how late, and in how much memory.

Run: ``python -m tests.benchmarks.bench_ingest [messages] [parts]`` (default 60,000, all parts). Needs
mosquitto. Every part ends by itself. The yardstick is a bare paho receive loop with ``json.loads`` on the
same messages in the same run.
"""

import json
import multiprocessing
import os
import random
import socket
import sqlite3
import struct
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from itertools import islice
from pathlib import Path
from statistics import median
from typing import Any, Self

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from curewatch import configuration
from curewatch.clock import SystemClock
from curewatch.daemon.loop import Daemon
from curewatch.wire.lines import checksum
from tests.broker import Broker, Talker, until
from tests.running import Running, sealed_yesterday

TOPIC = "creek/{}/state"
SENSORS = [f"node{number:02d}" for number in range(20)]


def payloads(count: int, first: int = 0) -> Iterator[tuple[str, bytes]]:
    """About 190 bytes each, as small devices send them; demo values."""
    chance = random.Random(first + 1)
    for number in range(first, first + count):
        document = {
            "temperature": round(12 + chance.random(), 2),
            "humidity": round(70 + chance.random(), 2),
            "battery": 93,
            "n": number,
            "device": {"model": "demo node", "firmware": "1.0.0", "uptime": number, "signal": -61},
            "note": "invented for a measurement",
        }
        yield SENSORS[number % len(SENSORS)], json.dumps(document).encode()


def settings(
    folder: Path,
    broker: "Broker | StrictSender",
    in_flight: int = 500,
    topics: str = "creek/+/state",
    client_id: str = "ours",
) -> str:
    sensors = "".join(f'[sensors.{name}]\nrole = "air"\n' for name in SENSORS[:1])
    return (
        f'{sensors}[mqtt.yard]\nport = {broker.port}\nclient_id = "{client_id}"\ntopics = "{topics}"\n'
        f'in_flight = {in_flight}\n[logbook]\npath = "{folder}/logbook.sqlite"\n'
    )


def subscribe_first(broker: Broker, client_id: str) -> None:
    """Leave a session with the broker that collects what is sent."""
    client = paho.Client(
        CallbackAPIVersion.VERSION2, client_id=client_id, protocol=MQTTProtocolVersion.MQTTv5
    )
    keep: Any = Properties(PacketTypes.CONNECT)
    keep.SessionExpiryInterval = 3600
    done = threading.Event()
    client.on_connect = lambda *_: client.subscribe("creek/+/state", 1)
    client.on_subscribe = lambda *_: done.set()
    client.connect("127.0.0.1", broker.port, clean_start=False, properties=keep)
    client.loop_start()
    done.wait(10)
    client.disconnect()
    client.loop_stop()


def send_all(broker: Broker, count: int, first: int = 0) -> None:
    """By mosquitto_pub, one process a sensor, lines from its standard input."""
    lines: dict[str, list[bytes]] = {name: [] for name in SENSORS}
    for sensor, payload in payloads(count, first):
        lines[sensor].append(payload)
    senders = []
    for sensor, given in lines.items():
        command = ["mosquitto_pub", "-p", str(broker.port), "-q", "1", "-l", "-t", TOPIC.format(sensor)]
        sender = subprocess.Popen(command, stdin=subprocess.PIPE)
        sender.communicate(b"\n".join(given) + b"\n")
        senders.append(sender)
    for sender in senders:
        sender.wait()


class StrictSender:
    """A broker's side that has never more than its window on the way, as MQTT 5.0 (OASIS 2019), 4.9 asks.

    mosquitto 2.0.11 has more, whatever limit it was told. One client after the other is sent all messages.
    """

    def __init__(self, count: int, window: int) -> None:
        self._count, self._window = count, window
        self._listening = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._listening.getsockname()[1])

    def __enter__(self) -> Self:
        threading.Thread(target=self._serve, daemon=True).start()
        return self

    def __exit__(self, *_: object) -> None:
        self._listening.close()

    def _serve(self) -> None:
        with suppress(OSError):  # closed: nobody else comes
            while True:
                client, _ = self._listening.accept()
                with client, suppress(ConnectionError):
                    self._feed(client)

    def _feed(self, client: socket.socket) -> None:
        waiting, on_the_way, welcomed, held = self._packets(), 0, False, b""
        while piece := client.recv(65_536):
            packets, held = _cut(held + piece)
            answers = []
            for first, body in packets:
                kind = first >> 4
                welcomed = welcomed or kind == 1
                on_the_way -= kind == 4
                answers.append(_answer(first, body))
            room = self._window - on_the_way if welcomed else 0
            sent = list(islice(waiting, room))
            on_the_way += len(sent)
            client.sendall(b"".join(answers + sent))

    def _packets(self) -> Iterator[bytes]:
        for number, (sensor, payload) in enumerate(payloads(self._count)):
            topic = TOPIC.format(sensor).encode()
            body = (
                struct.pack(">H", len(topic)) + topic + struct.pack(">HB", number % 65_535 + 1, 0) + payload
            )
            yield bytes((0x32, len(body) & 0x7F | 0x80, len(body) >> 7)) + body


def _cut(stream: bytes) -> tuple[list[tuple[int, bytes]], bytes]:
    """Whole packets, each its first byte and what follows its length; and the rest. All are short."""
    packets: list[tuple[int, bytes]] = []
    while len(stream) > 2:
        long = stream[1] >> 7
        size = stream[1] & 0x7F | (stream[2] << 7 if long else 0)
        if len(stream) < 2 + long + size:
            break
        packets.append((stream[0], stream[2 + long : 2 + long + size]))
        stream = stream[2 + long + size :]
    if stream == b"\xc0\x00":
        return [*packets, (0xC0, b"")], b""
    return packets, stream


def _answer(first: int, body: bytes) -> bytes:
    """What a broker answers to CONNECT, SUBSCRIBE, PUBLISH at QoS 1 and PINGREQ; nothing to any other."""
    kind = first >> 4
    if kind == 1:
        return b"\x20\x03\x01\x00\x00"
    if kind == 8:
        at, topics = 3 + body[2], 0
        while at < len(body):
            at, topics = at + 3 + struct.unpack_from(">H", body, at)[0], topics + 1
        return bytes((0x90, 3 + topics)) + body[:2] + b"\0" + b"\1" * topics
    if kind == 3 and first & 6:
        at = 2 + struct.unpack_from(">H", body)[0]
        return b"\x40\x02" + body[at : at + 2]
    return b"\xd0\x00" if kind == 12 else b""


def bare(port: int, count: int, client_id: str, out: Any) -> None:
    """The yardstick: paho's own loop, json, and paho's own acknowledgement."""
    client = paho.Client(
        CallbackAPIVersion.VERSION2, client_id=client_id, protocol=MQTTProtocolVersion.MQTTv5
    )
    keep: Any = Properties(PacketTypes.CONNECT)
    keep.SessionExpiryInterval = 3600
    seen = {"count": 0, "first": 0.0, "work": 0.0}

    def arrived(client: Any, userdata: Any, message: Any) -> None:
        json.loads(message.payload)
        if not seen["count"]:
            seen["first"], seen["work"] = time.perf_counter(), time.process_time()
        seen["count"] += 1
        if seen["count"] == count:
            work = (time.process_time() - seen["work"]) / count * 1e6
            out.put((count / (time.perf_counter() - seen["first"]), work))
            client.disconnect()

    client.on_message = arrived
    client.connect("127.0.0.1", port, clean_start=False, properties=keep)
    client.loop_forever()


def bare_committed(port: int, count: int, window: int, folder: str, out: Any) -> None:
    """What the disk allows: the same client, json, and one plain row a message in SQLite, flushed to the disk
    once a window (WAL, FULL), and acknowledged after that. No chain, no checks, one thread.
    """
    client = paho.Client(
        CallbackAPIVersion.VERSION2,
        client_id="committed",
        protocol=MQTTProtocolVersion.MQTTv5,
        manual_ack=True,
    )
    keep: Any = Properties(PacketTypes.CONNECT)
    keep.SessionExpiryInterval, keep.ReceiveMaximum = 3600, window
    rows = sqlite3.connect(f"{folder}/bare.sqlite", isolation_level=None, check_same_thread=False)
    rows.execute("PRAGMA journal_mode = WAL")
    rows.execute("PRAGMA synchronous = FULL")
    rows.execute("CREATE TABLE rows (topic, time, temperature, humidity)")
    taken: list[tuple[Any, ...]] = []
    waiting: list[tuple[int, int]] = []
    seen = {"count": 0, "first": 0.0, "work": 0.0}

    def arrived(client: Any, userdata: Any, message: Any) -> None:
        told = json.loads(message.payload)
        if not seen["count"]:
            seen["first"], seen["work"] = time.perf_counter(), time.process_time()
        seen["count"] += 1
        taken.append((message.topic, time.time(), told["temperature"], told["humidity"]))
        waiting.append((message.mid, message.qos))
        if len(taken) < min(window, 200) and seen["count"] < count:
            return
        rows.execute("BEGIN IMMEDIATE")
        rows.executemany("INSERT INTO rows VALUES (?, ?, ?, ?)", taken)
        rows.execute("COMMIT")
        for one in waiting:
            client.ack(*one)
        taken.clear()
        waiting.clear()
        if seen["count"] == count:
            work = (time.process_time() - seen["work"]) / count * 1e6
            out.put((count / (time.perf_counter() - seen["first"]), work))
            client.disconnect()

    client.on_message = arrived
    client.connect("127.0.0.1", port, clean_start=False, properties=keep)
    client.loop_forever()


def ours(text: str, count: int, first_look: bool, out: Any) -> None:
    """The whole daemon: inbox, wire, plausibility, logbook with chain, acknowledgement after commit.

    ``first_look``: with its look at the advice at the start, too. That is a process of its own, which takes a
    core for about a second; a run of this bench is not much longer.
    """
    daemon = Daemon(configuration.parse(text))
    if not first_look:
        daemon.keepers[""].actor.think = lambda at, reason: ()
    first = work = 0.0

    def look() -> None:
        nonlocal first, work
        while daemon.keepers[""].core.stored < count:
            if not first and (daemon.keepers[""].core.stored or daemon.keepers[""].core._open.readings):
                first, work = time.perf_counter(), time.process_time()
            time.sleep(0.01)
        each = (time.process_time() - work) / count * 1e6
        out.put((count / (time.perf_counter() - first), each))
        daemon.stop()

    threading.Thread(target=look, daemon=True).start()
    daemon.run()


def apart(work: Callable[..., None], *arguments: Any) -> Any:
    """In a fresh process, so that memory and imports of one do not colour the other."""
    context = multiprocessing.get_context("spawn")
    out = context.Queue()
    process = context.Process(target=work, args=(*arguments, out))
    process.start()
    found = out.get(timeout=300)
    process.join(30)
    return found


MEASURED = ("bare paho + json", "with a bare commit a window", "curewatch", "curewatch and its first look")


def rates(folder: Path, count: int, windows: tuple[int, ...] = (500, 20)) -> None:
    print(
        f"MQTT to committed row, {count} messages of 190 bytes, QoS 1, median of 3 runs; {flush_time(folder)}"
    )
    print(f"{'':42}{'messages/s':>12}{'of bare':>9}{'us of CPU each':>16}{'of bare':>9}")
    for window, strict in (*((each, False) for each in windows), (min(windows), True)):
        found = [_rates_of(folder / f"w{window}-{run}-{strict}", count, window, strict) for run in range(3)]
        sender = f"{window}{' strictly' if strict else ''}"
        for place, name in enumerate(MEASURED):
            each = [(run[place][0] / run[0][0], run[0][1] / run[place][1], *run[place]) for run in found]
            ratio, lighter, rate, work = (median(column) for column in zip(*each, strict=True))
            print(f"{f'{name}, {sender}':42}{rate:12.0f}{ratio:9.2f}{work:16.1f}{lighter:9.2f}")


def _rates_of(place: Path, count: int, window: int, strict: bool) -> list[tuple[float, float]]:
    """Messages a second and microseconds of processor a message, of each of MEASURED."""
    place.mkdir()
    looking = place / "looking"
    looking.mkdir()
    in_flight = max(window, 20)
    with _kept(place, count, window, strict) as broker:
        return [
            apart(bare, broker.port, count, "bare"),
            apart(bare_committed, broker.port, count, window, str(place)),
            apart(ours, settings(place, broker, in_flight), count, False),
            apart(ours, settings(looking, broker, in_flight, client_id="looking"), count, True),
        ]


@contextmanager
def _kept(place: Path, count: int, window: int, strict: bool) -> Iterator[Broker | StrictSender]:
    """What has all messages for each that is measured: mosquitto, or a sender that keeps to its window."""
    if strict:
        with StrictSender(count, window) as sender:
            yield sender
        return
    limit = [] if window == 500 else [f"max_inflight_messages {window}"]
    with Broker(place, *limit, saves=False) as broker:
        for client_id in ("bare", "committed", "ours", "looking"):
            subscribe_first(broker, client_id)
        send_all(broker, count)
        yield broker


def flush_time(folder: Path, times: int = 200) -> str:
    """How long this disk takes to keep 8 kB, written over others as a log does."""
    file = os.open(folder / "flushed", os.O_CREAT | os.O_RDWR)
    try:
        os.write(file, bytes(8192 * 100))
        os.fsync(file)
        taken = []
        for number in range(times):
            os.pwrite(file, os.urandom(8192), number % 100 * 8192)
            begin = time.perf_counter()
            os.fdatasync(file)
            taken.append(time.perf_counter() - begin)
    finally:
        os.close(file)
    taken.sort()
    return f"a flush of this disk {taken[times // 2] * 1e3:.2f} ms, {taken[times // 10] * 1e3:.2f} at best"


def latency(folder: Path, per_second: int = 100, seconds: int = 20) -> None:
    """From the arrival at the edge to the end of the commit, at an even rate."""
    place = folder / "latency"
    place.mkdir()
    late: list[float] = []
    with Broker(place, saves=False) as broker:
        daemon = Daemon(configuration.parse(settings(place, broker)))
        store, clock = daemon.keepers[""].actor._store, SystemClock()

        def timed(asked: Any) -> Any:
            answer = store(asked)
            now = clock.now().utc
            late.extend(now - reading.received for reading in asked.readings)
            return answer

        daemon.keepers[""].actor._store = timed  # type: ignore[method-assign]
        runner = threading.Thread(target=daemon.run)
        runner.start()
        until(lambda: daemon.keepers[""].core.sources.get("yard") == "")
        with Talker(broker) as device:
            begin = time.perf_counter()
            for number, (sensor, payload) in enumerate(payloads(per_second * seconds)):
                time.sleep(max(0.0, begin + number / per_second - time.perf_counter()))
                device.client.publish(TOPIC.format(sensor), payload, 1)
            until(lambda: len(late) >= per_second * seconds)
        daemon.stop()
        runner.join()
    late.sort()
    middle, high = late[len(late) // 2] * 1e3, late[int(len(late) * 0.99)] * 1e3
    print(
        f"\nlatency at {per_second}/s, arrival to commit: median {middle:.0f}, p99 {high:.0f} ms (limit 300)"
    )


def year(folder: Path) -> None:
    """525,600 lines, one sensor a minute, through wire, plausibility, logbook, health and advice."""
    from math import sin, tau

    from curewatch.daemon.edges.recording import open_recording
    from curewatch.daemon.replay import replay

    file = folder / "year.txt"
    with file.open("wb") as out:
        for minute in range(525_600):
            warm = 10 + 8 * sin(tau * minute / 525_600 - 1.6) + 4 * sin(tau * minute / 1440 - 2)
            damp = 75 - 12 * sin(tau * minute / 1440 - 2)
            stamp = 1_767_225_600 + 60 * minute
            warm += 0.05 * sin(1.7 * minute)
            body = f"cw1 bench t={warm:.2f} h={damp:.2f} n={minute} at={stamp}".encode()
            out.write(body + f" *{checksum(body):04X}\n".encode())
    begin = time.perf_counter()
    ran = replay(
        configuration.parse('[sensors.bench]\nrole = "air"'), open_recording(file), show=lambda line: None
    )
    taken = time.perf_counter() - begin
    print(f"\nreplay of a year at one minute: {ran.core.stored} readings in {taken:.1f} s (limit 20)")


def memory(folder: Path, count: int = 1_000_000, piece: int = 50_000) -> None:
    """Resident memory of a real ``curewatch ingest`` before and after a million readings from a broker.

    On the way it seals a day and looks at the advice, once it has run for a minute.
    """
    place = folder / "million"
    place.mkdir()
    with Broker(place, saves=False) as broker:
        text = settings(place, broker).partition("[logbook]")[0]
        with Running(place, text) as daemon:
            sealed_yesterday(daemon.path)
            daemon.start()
            daemon.says("yard answers")
            begun = highest = ended = daemon.resident()
            begin = time.perf_counter()
            for first in range(0, count, piece):
                send_all(broker, piece, first)
                daemon.waits_for(first + piece, seconds=300.0)
                ended = daemon.resident()
                highest = max(highest, ended)
            rate = count / (time.perf_counter() - begin)
            daemon.says("sealed; code")
            daemon.says("verdict", 120.0)
            later = daemon.resident()
    print(f"\ncurewatch ingest: {begun:.1f} MB at the start, {ended:.1f} after {count} readings (limit 52),")
    print(f"at most {highest:.1f} on the way; {rate:.0f} messages/s with sending; {later:.1f} MB in the end,")
    print("when it has sealed a day and looked at the advice")


def main() -> None:
    """All parts, or those named: ``rates``, ``latency``, ``memory``, ``year``."""
    count = next((int(word) for word in sys.argv[1:] if word.isdecimal()), 60_000)
    parts = {
        "rates": lambda folder: rates(folder, count),
        "latency": latency,
        "memory": memory,
        "year": year,
    }
    named = [word for word in sys.argv[1:] if word in parts] or list(parts)
    with tempfile.TemporaryDirectory() as folder:
        for name in named:
            parts[name](Path(folder))


if __name__ == "__main__":
    main()
