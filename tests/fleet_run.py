"""The whole path of a fleet here: ``python -m tests.fleet_run [SHEDS] [A_SECOND] [SECONDS] [RUNS]``.

Brings up three RabbitMQ nodes and a replicated PostgreSQL on 127.0.0.1 and sockets, with workers and
simulated sheds. It kills each part with SIGKILL in turn, and then counts by sensor: acknowledged, stored,
missing, twice, out of order, longest silence; and what was refused, with reasons. Two more sheds have workers
with a defect each, and must show losses. A machine that is too slow for the rate is told how fast it was:
a device waits while :data:`UNDERWAY` of its messages are not acknowledged.
"""

import itertools
import json
import os
import select
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from functools import partial
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion

from curewatch.clock import iso_utc
from curewatch.logbook import LogbookStore, open_logbook
from tests.broker import PATIENCE, until
from tests.database import DatabaseServer
from tests.queue_brokers import QueueBrokers

SENSORS = ("bench", "hull", "yard")
DEFECTS = ("early", "keeps")
ROOT = Path(__file__).parents[1]
UNDERWAY = 60  # messages of a device
AGAIN = 0.2  # between two connections of a device [s]
BETWEEN = 4.0  # a part that is back, and the next that is killed [s]
SESSIONS = "max_connections = 400"
STORED = """SELECT sheds.name, sum(chain.readings)
    FROM curewatch.sheds JOIN curewatch.chain ON chain.shed = sheds.number GROUP BY sheds.name"""


class SimulatedShed:
    """A device with three sensors that sends by MQTT, and notes what the broker acknowledged.

    It has no thread of its own: :func:`turn` works all devices.
    """

    def __init__(self, name: str, ports: list[int]) -> None:
        self.name = name
        self.acknowledged: dict[str, set[int]] = defaultdict(set)
        self._ports = itertools.cycle(ports)
        self._not_before = 0.0  # monotonic, of the next connection [s]
        self._sent: dict[int, tuple[str, int]] = {}
        self.sent = 0
        self.client = paho.Client(CallbackAPIVersion.VERSION2, client_id=f"shed-{name}", clean_session=False)
        self.client.username_pw_set("guest", "guest")
        self.client.max_inflight_messages_set(50)
        self.client.max_queued_messages_set(0)
        self.client.on_publish = self._published

    def connected(self) -> bool:
        """Whether there is a connection, or one to the next node could be begun."""
        now = time.monotonic()
        if self.client.socket() is None and now >= self._not_before:
            self._not_before = now + AGAIN
            with suppress(OSError):
                self.client.connect("127.0.0.1", next(self._ports), keepalive=5)
        return self.client.socket() is not None

    def send(self) -> None:
        """One reading of the next sensor."""
        number, self.sent = self.sent, self.sent + 1
        sensor = SENSORS[number % len(SENSORS)]
        said = {
            "sensor": sensor,
            "time": iso_utc(time.time()),
            "temperature_c": 18 + number % 7 / 10,
            "humidity_percent": 60 + number % 5,
            "sequence": number,
        }
        told = self.client.publish(f"sheds/{self.name}/{sensor}", json.dumps(said), qos=1)
        self._sent[told.mid] = sensor, number

    def _published(self, _client: object, _data: object, mid: int, *_: object) -> None:
        sensor, number = self._sent.pop(mid)
        self.acknowledged[sensor].add(number)

    @property
    def waiting(self) -> int:
        return len(self._sent)

    def stop(self) -> None:
        self.client.disconnect()


def turn(sheds: list[SimulatedShed], seconds: float) -> None:
    """Work the devices' connections once, waiting for so long at most."""
    clients = {one.client.socket(): one.client for one in sheds if one.connected()}
    full = [socket for socket, client in clients.items() if client.want_write()]
    readable, writable, _ = select.select(clients, full, [], seconds)
    for socket in readable:
        clients[socket].loop_read()
    for socket in writable:
        clients[socket].loop_write()
    for client in clients.values():
        client.loop_misc()


def answered(sheds: list[SimulatedShed]) -> bool:
    """Whether the brokers have acknowledged all, after one more turn."""
    turn(sheds, 0.0)
    return not any(one.waiting for one in sheds)


class Counted(NamedTuple):
    """One sensor after the run."""

    shed: str
    sensor: str
    acknowledged: int
    stored: int
    missing: list[int]  # acknowledged and not stored
    twice: int
    out_of_order: int
    silence: float  # s
    after: list[float]  # the longest silence that began around each kill, before the next [s]
    again: list[float]  # from each kill to the next reading that a worker took [s]


class Fleet:
    """All parts, up."""

    def __init__(self, held: ExitStack, sheds: int) -> None:
        self.folder = Path(tempfile.mkdtemp(prefix="curewatch-fleet-"))
        held.callback(shutil.rmtree, self.folder, ignore_errors=True)
        self.brokers = QueueBrokers(3)
        held.callback(self.brokers.remove)
        self.primary = DatabaseServer("one", SESSIONS)
        held.callback(self.primary.remove)
        self.primary.make().start().prepared()
        self.standby = self.primary.standby("two", SESSIONS)
        held.callback(self.standby.remove)
        with self.primary.connect() as owner:
            owner.execute("ALTER SYSTEM SET synchronous_standby_names = 'two'")
            owner.execute("SELECT pg_reload_conf()")
        self.brokers.start()
        self.killed: list[tuple[str, float]] = []  # what, and when [s]
        self.names = [f"shed{number}" for number in range(sheds)]
        self.plans = {defect: self._plan(defect, [defect]) for defect in DEFECTS}
        self.plans[""] = self._plan("whole", self.names)
        self.workers = {
            name: self._work(defect)
            for name, defect in (("a", ""), ("b", ""), ("early", "early"), ("keeps", "keeps"))
        }
        held.callback(self._end_workers)
        for label in ("", *DEFECTS):  # a queue that is not there yet keeps nothing
            until(lambda label=label: "sheds" in (self.folder / f"worker{label}.log").read_text())
        ports = [node.mqtt for node in self.brokers.nodes]
        self.sheds = [
            SimulatedShed(name, ports[n % 3 :] + ports[: n % 3])
            for n, name in enumerate([*self.names, *DEFECTS])
        ]
        for one in self.sheds:
            held.callback(one.stop)

    def _plan(self, label: str, names: list[str]) -> Path:
        hosts = ", ".join(f'"127.0.0.1:{node.queues}"' for node in self.brokers.nodes)
        lines = ["[broker]", f"hosts = [{hosts}]", "[sheds]"]
        for name in names:
            place = self.primary.address(self.folder / f"{name}.address", name, others=[self.standby])
            sensors = "".join(f'[sensors.{one}]\nrole = "air"\n' for one in SENSORS)
            (self.folder / f"{name}.toml").write_text(f'[logbook]\npath = "{place}"\n{sensors}')
            lines.append(f'{name} = "{name}.toml"')
        file = self.folder / f"{label}.fleet"
        file.write_text("\n".join(lines) + "\n")
        return file

    def _work(self, defect: str) -> subprocess.Popen[bytes]:
        command = [
            sys.executable,
            "-m",
            "tests.fleet_worker",
            str(self.plans[defect]),
            *([defect] if defect else []),
        ]
        with (self.folder / f"worker{defect}.log").open("ab") as log:
            return subprocess.Popen(command, cwd=ROOT, stdout=log, stderr=log)

    def kill_worker(self, name: str) -> None:
        """And another takes its place."""
        self.workers[name].kill()
        self.workers[name].wait()
        self.workers[name] = self._work("" if name in "ab" else name)

    def kill_standby(self) -> None:
        """Nothing is acknowledged until it is back."""
        self.standby.kill()
        time.sleep(2)
        self.standby.start()
        with self.primary.connect() as owner:
            until(
                lambda: owner.execute(
                    "SELECT 1 FROM pg_stat_replication WHERE sync_state = 'sync'"
                ).fetchone()
            )

    def kill_primary(self) -> None:
        """The standby becomes the store."""
        self.primary.kill()
        time.sleep(1)
        self.standby.promote()

    def kill_node(self, number: int) -> None:
        """And it comes back."""
        self.brokers.kill(self.brokers.nodes[number])
        self.brokers.boot(self.brokers.nodes[number])

    def _end_workers(self) -> None:
        for one in self.workers.values():
            one.terminate()
        for one in self.workers.values():
            one.wait(PATIENCE)  # it leaves a channel for each shed, one after the other

    @property
    def store(self) -> DatabaseServer:
        """The server that takes writing now."""
        return self.standby if self.primary.process is None else self.primary

    def readings(self) -> dict[str, int]:
        """How many each shed has stored."""
        with self.store.connect() as owner:
            return dict(owner.execute(STORED).fetchall())

    def flowing(self, before: dict[str, int]) -> bool:
        """Whether each shed has more than before, all but the controls; looks twice a second."""
        time.sleep(0.5)
        found = self.readings()
        return all(found.get(name, 0) > before.get(name, 0) for name in self.names)

    @contextmanager
    def logbook(self, name: str) -> Iterator[LogbookStore]:
        """A shed's logbook where it is now."""
        place = self.store.address(self.folder / f"{name}.direct", name)
        with open_logbook(place, read_only=True) as opened:
            yield opened

    def count(self) -> list[Counted]:
        """By sensor."""
        found = []
        for shed in self.sheds:
            with self.logbook(shed.name) as logbook:
                logbook.verify()
                numbers = {name: number for number, name in logbook.names().items()}
                order: dict[int, list[int]] = defaultdict(list)
                for block in logbook.block_rows(1, 2**62):
                    for sensor, sequence in zip(
                        block.rows["sensor"].tolist(), block.rows["sequence"].tolist(), strict=True
                    ):
                        order[sensor].append(sequence)
                for sensor in SENSORS:
                    told, kept = shed.acknowledged[sensor], order[numbers.get(sensor, 0)]
                    received = np.sort(logbook.series(sensor).received)
                    found.append(
                        Counted(
                            shed.name,
                            sensor,
                            len(told),
                            len(kept),
                            sorted(told - set(kept)),
                            len(kept) - len(set(kept)),
                            int((np.diff(kept) < 0).sum()) if kept else 0,
                            float(np.diff(received).max(initial=0.0)),
                            [_silence(received, at, until) for at, until in self._between_kills()],
                            [
                                float(min(received[received > at], default=np.inf)) - at
                                for _, at in self.killed
                            ],
                        )
                    )
        return found

    def _between_kills(self) -> list[tuple[float, float]]:
        times = [at for _, at in self.killed]
        return list(zip(times, [*times[1:], np.inf], strict=True))

    def refused(self) -> dict[str, dict[str, int]]:
        """What each logbook says that it rejected, by reason."""
        found: dict[str, dict[str, int]] = {}
        for shed in self.sheds:
            with self.logbook(shed.name) as logbook:
                told: dict[str, int] = defaultdict(int)
                for one in logbook.rejected():
                    told[one.reason] += one.times
            if told:
                found[shed.name] = dict(told)
        return found


def _silence(received: "np.ndarray[Any, Any]", start: float, end: float) -> float:
    """The longest time without a reading that began in this stretch, or within 2 s before it."""
    begun = received[:-1]
    return float(np.diff(received)[(begun >= start - 2) & (begun < end - 2)].max(initial=0.0))


class Killer(threading.Thread):
    """Kills one part after the other, each when the one before is back and all sheds are stored again."""

    def __init__(self, fleet: Fleet, kills: list[tuple[str, Callable[[], None]]], pause: float) -> None:
        super().__init__()
        self._fleet = fleet
        self._kills = kills
        self._pause = pause
        self.trouble: BaseException | None = None

    def run(self) -> None:
        begun = time.monotonic()
        try:
            for what, action in self._kills:
                time.sleep(self._pause)
                print(f"{time.monotonic() - begun:6.1f} s  {what}", flush=True)
                self._fleet.killed.append((what, time.time()))
                action()
                until(partial(self._fleet.flowing, self._fleet.readings()))
        except BaseException as trouble:  # noqa: BLE001 - raised where the run ends
            self.trouble = trouble
        time.sleep(self._pause)


def send(fleet: Fleet, rate: float, seconds: float, killer: Killer) -> float:
    """Send at this rate over all sheds until the time and the kills are over; the rate that was reached."""
    begun, turns = time.monotonic(), itertools.cycle(fleet.sheds)
    sent = 0
    killer.start()
    while (now := time.monotonic() - begun) < seconds or killer.is_alive():
        for shed in itertools.islice(turns, min(len(fleet.sheds), int(now * rate) - sent)):
            if shed.waiting < UNDERWAY:
                shed.send()
                sent += 1
        sent = max(sent, int(now * rate) - len(fleet.sheds))  # what could not be sent is not made up for
        turn(fleet.sheds, 0.005)
    killer.join()
    if killer.trouble is not None:
        raise killer.trouble
    return sum(one.sent for one in fleet.sheds) / (time.monotonic() - begun)


def run(
    sheds: int = 4, rate: float = 60.0, seconds: float = 40.0, *, every: bool = False
) -> tuple[list[Counted], dict[str, dict[str, int]]]:
    """Up, kills, counts. ``every``: also the standby and each node of the brokers, as soon as may be."""
    with ExitStack() as held:
        begun = time.monotonic()
        fleet = Fleet(held, sheds)
        print(f"up after {time.monotonic() - begun:.0f} s: {fleet.folder}", flush=True)
        nodes = [
            (f"node {n + 1} of the brokers is killed", partial(fleet.kill_node, n))
            for n in range(len(fleet.brokers.nodes) if every else 1)
        ]
        standby = [("the standby is killed", fleet.kill_standby)] if every else []
        kills = [
            ("a worker is killed", partial(fleet.kill_worker, "a")),
            *standby,
            ("the primary of the store is killed", fleet.kill_primary),
            *nodes,
            ("the other worker is killed", partial(fleet.kill_worker, "b")),
        ]
        pause = BETWEEN if every else seconds / (len(kills) + 1)
        reached = send(fleet, rate, seconds, Killer(fleet, kills, pause))
        print(
            f"sent {reached:.0f} messages a second of {rate:.0f}; load {os.getloadavg()[0]:.1f}", flush=True
        )
        until(partial(answered, fleet.sheds))
        settle(fleet)
        counted = fleet.count()
        for place, (what, _) in enumerate(fleet.killed):
            worst = max(one.after[place] for one in counted if one.shed not in DEFECTS)
            again = max(min(one.again[place] for one in counted if one.shed == shed) for shed in fleet.names)
            print(
                f"{what}: longest silence of a sensor {worst:.1f} s; each shed taken from after {again:.1f} s"
            )
        return counted, fleet.refused()


def stored(fleet: Fleet) -> bool:
    """Whether as much is stored as was acknowledged, of all but the controls; looks once a second."""
    time.sleep(1)
    found = fleet.readings()
    return all(
        found.get(shed.name, 0) >= sum(map(len, shed.acknowledged.values()))
        for shed in fleet.sheds
        if shed.name not in DEFECTS
    )


def settle(fleet: Fleet, patience: float = PATIENCE) -> None:
    """Until all that was acknowledged is there or is lost, and nothing more comes in for some seconds."""
    with suppress(AssertionError):  # then the count says what is missing
        until(partial(stored, fleet), patience)
    before, since, end = -1, time.monotonic(), time.monotonic() + patience
    with fleet.store.connect() as owner:
        while time.monotonic() - since < 20 and time.monotonic() < end:
            (now,) = owner.execute("SELECT coalesce(sum(readings), 0) FROM curewatch.blocks").fetchone()
            if now != before:
                before, since = now, time.monotonic()
            time.sleep(1)


def shown(counted: list[Counted], refused: dict[str, dict[str, int]]) -> str:
    """As a table, the controls last."""
    lines = ["shed      sensor  acknowledged  stored  missing  twice  out of order  silence [s]"]
    lines += [
        f"{one.shed:9} {one.sensor:7} {one.acknowledged:12} {one.stored:7} {len(one.missing):8} {one.twice:6}"
        f" {one.out_of_order:13} {one.silence:12.1f}  {one.missing[:3]}"
        for one in counted
    ]
    return "\n".join([*lines, f"refused: {refused}"])


def main(sheds: int, rate: int, seconds: int, runs: int = 1) -> bool:
    """Each run with its table of sensors, or its sums for over ten sheds; whether one lost something."""
    bad = False
    for number in range(runs):
        counted, reasons = run(sheds, rate, seconds, every=True)
        whole = [one for one in counted if one.shed not in DEFECTS]
        controls = {name: sum(len(one.missing) for one in counted if one.shed == name) for name in DEFECTS}
        if sheds <= 10:
            print(shown(counted, reasons))
        print(
            f"run {number + 1}: of {sum(one.acknowledged for one in whole)} acknowledged readings of"
            f" {len(whole)} sensors {sum(len(one.missing) for one in whole)} missing,"
            f" {sum(one.twice for one in whole)} twice,"
            f" {sum(one.out_of_order for one in whole)} out of order,"
            f" longest silence {max(one.silence for one in whole):.1f} s; refused {sum_of(reasons)};"
            f" missing in the controls {controls}",
            flush=True,
        )
        bad |= any(one.missing or one.twice for one in whole) or not all(controls.values())
    return bad


def sum_of(reasons: dict[str, dict[str, int]]) -> dict[str, int]:
    """Over all sheds but the controls."""
    found: dict[str, int] = defaultdict(int)
    for shed, told in reasons.items():
        for reason, times in told.items() if shed not in DEFECTS else ():
            found[reason] += times
    return dict(found)


if __name__ == "__main__":
    sys.exit(main(*(int(word) for word in sys.argv[1:] or ("10", "200", "60"))))
