"""How fast messages become committed rows, how late, and in how much memory.

Run: ``python -m tests.benchmarks.bench_ingest [messages] [parts]`` (default 60,000, all parts). Needs
mosquitto. Every part ends by itself. The yardstick is a bare paho receive loop with ``json.loads`` on the
same messages in the same run.
"""

import json
import multiprocessing
import random
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

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


def settings(folder: Path, broker: Broker, in_flight: int = 500, topics: str = "creek/+/state") -> str:
    sensors = "".join(f'[sensors.{name}]\nrole = "air"\n' for name in SENSORS[:1])
    return (
        f'{sensors}[mqtt.yard]\nport = {broker.port}\nclient_id = "ours"\ntopics = "{topics}"\n'
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


def ours(text: str, count: int, out: Any) -> None:
    """The whole daemon: inbox, wire, plausibility, logbook with chain, acknowledgement after commit."""
    daemon = Daemon(configuration.parse(text))
    first = work = 0.0

    def look() -> None:
        nonlocal first, work
        while daemon.core.stored < count:
            if not first and (daemon.core.stored or daemon.core._open.readings):
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


def rates(folder: Path, count: int) -> None:
    print(f"MQTT to committed row, {count} messages of 190 bytes, QoS 1, median of 3 runs")
    print(f"{'':34}{'messages/s':>12}{'of bare':>9}{'us of CPU each':>16}")
    for window in (500, 20):
        found: list[tuple[float, ...]] = []
        for run in range(3):
            place = folder / f"w{window}-{run}"
            place.mkdir()
            limit = [] if window == 500 else [f"max_inflight_messages {window}"]
            with Broker(place, *limit, saves=False) as broker:
                for client_id in ("bare", "ours"):
                    subscribe_first(broker, client_id)
                send_all(broker, count)
                yardstick, light = apart(bare, broker.port, count, "bare")
                rate, work = apart(ours, settings(place, broker, max(window, 20)), count)
                found.append((rate / yardstick, rate, light, work))
        ratio, rate, light, work = sorted(found)[1]
        print(f"{'bare paho + json':34}{rate / ratio:12.0f}{1.0:9.2f}{light:16.1f}")
        print(f"{f'curewatch, window {window}':34}{rate:12.0f}{ratio:9.2f}{work:16.1f}")


def latency(folder: Path, per_second: int = 100, seconds: int = 20) -> None:
    """From the arrival at the edge to the end of the commit, at an even rate."""
    place = folder / "latency"
    place.mkdir()
    late: list[float] = []
    with Broker(place, saves=False) as broker:
        daemon = Daemon(configuration.parse(settings(place, broker)))
        store, clock = daemon.actor._store, SystemClock()

        def timed(asked: Any) -> Any:
            answer = store(asked)
            now = clock.now().utc
            late.extend(now - reading.received for reading in asked.readings)
            return answer

        daemon.actor._store = timed  # type: ignore[method-assign]
        runner = threading.Thread(target=daemon.run)
        runner.start()
        until(lambda: daemon.core.sources.get("yard") == "")
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
    print(f"\ncurewatch ingest: {begun:.1f} MB at the start, {ended:.1f} after {count} readings (limit 60),")
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
