"""What several sheds in one daemon cost: memory, processor time at rest, a minute's reports, and a flood.

Run: ``python -m tests.benchmarks.bench_sheds [sheds ...]`` (default 1 2 5 10). Needs mosquitto. Each shed has
three sensors. The children that look at the advice are counted apart: they are as many as looks.
"""

import json
import os
import sys
import tempfile
import time
from pathlib import Path
from typing import NamedTuple

from curewatch.logbook import Logbook
from tests.broker import Broker, Talker, until
from tests.running import Running

ROLES = ("air", "surface", "outside")
ROUNDS = 30  # reports of each sensor, one each SECONDS
SECONDS = 1.0
FLOOD = 2_000  # messages of each sensor, at once
_TICKS = os.sysconf("SC_CLK_TCK")


class SpentTime(NamedTuple):
    """Processor time of the daemon and of its children. [s]"""

    own: float
    children: float


def main(counts: list[int]) -> None:
    """A line for each number of sheds."""
    print("sheds  MB at start  MB after  rest s/min  a report ms  flood us/message  looks s each")
    for sheds in counts:
        with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
            measured(Path(folder), sheds)


def measured(folder: Path, sheds: int) -> None:
    """One daemon with so many sheds, from its start to its end."""
    (folder / "broker").mkdir()
    names = [f"{role}-{shed}" for shed in range(sheds) for role in ROLES]
    tables = "".join(
        f'[sheds.s{name.partition("-")[2]}.sensors.{name}]\nrole = "{name.partition("-")[0]}"\n'
        for name in names
    )
    with Broker(folder / "broker", saves=False) as broker, Talker(broker) as device:
        mqtt = f'[mqtt.yard]\nport = {broker.port}\nclient_id = "ours"\ntopics = "creek/+/state"\n'
        with Running(folder, tables + mqtt) as daemon:
            daemon.start()
            daemon.says("yard answers")
            time.sleep(3.0)  # the first looks begin
            at_start, before = daemon.resident(), spent(daemon)
            time.sleep(20.0)
            at_rest = (spent(daemon).own - before.own) * 3.0
            paced = _paced(device, daemon, names)
            flooded = _flooded(device, daemon, folder, names)
            looked = spent(daemon).children
            print(
                f"{sheds:5}  {at_start:11.1f}  {daemon.peak():8.1f}  {at_rest:10.2f}  {paced:11.2f}"
                f"  {flooded:16.0f}  {looked:12.1f}",
                flush=True,
            )
            daemon.stop()


def _paced(device: Talker, daemon: Running, names: list[str]) -> float:
    """Processor time a report, where each sensor reports in turn. [ms]"""
    before = spent(daemon).own
    for number in range(ROUNDS):
        for name in names:
            device.client.publish(f"creek/{name}/state", _said(number), 1)
            time.sleep(SECONDS / len(names))
    time.sleep(1.0)
    return (spent(daemon).own - before) / (ROUNDS * len(names)) * 1e3


def _flooded(device: Talker, daemon: Running, folder: Path, names: list[str]) -> float:
    """Processor time a message, where all come at once. [us]"""
    before, stored = spent(daemon).own, _stored(folder)
    for number in range(FLOOD):
        for name in names:
            device.client.publish(f"creek/{name}/state", _said(ROUNDS + number), 1)
    until(lambda: _stored(folder) >= stored + FLOOD * len(names), 300.0)
    return (spent(daemon).own - before) / (FLOOD * len(names)) * 1e6


def _said(number: int) -> bytes:
    return json.dumps(
        {"temperature": 12.0 + number % 100 / 100, "humidity": 71.0, "n": number, "battery": 93}
    ).encode()


def _stored(folder: Path) -> int:
    total = 0
    for file in folder.glob("s*.sqlite"):
        with Logbook(file, read_only=True) as logbook:
            total += sum(each.readings for each in logbook.sensors().values())
    return total


def spent(daemon: Running) -> SpentTime:
    """Since the start of the process. [s]"""
    assert daemon.process is not None
    fields = Path(f"/proc/{daemon.process.pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    own, own_system, children, children_system = (int(each) / _TICKS for each in fields[11:15])
    return SpentTime(own + own_system, children + children_system)


if __name__ == "__main__":
    main([int(each) for each in sys.argv[1:]] or [1, 2, 5, 10])
