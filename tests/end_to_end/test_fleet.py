"""The whole path of a fleet, each part killed once: what was acknowledged is stored, once."""

import shutil
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest

from curewatch.clock import SystemClock
from curewatch.errors import StoreFailed
from curewatch.fleet import sending
from curewatch.fleet.copying import trouble_of
from curewatch.fleet.plan import BrokerHosts, load_plan
from curewatch.fleet.queues import Queues, lost_errors, queue_of
from curewatch.fleet.sender import Sender
from curewatch.fleet.serving import FleetProcess
from curewatch.fleet.worker import Worker
from curewatch.logbook import Logbook, open_logbook
from curewatch.logbook.keys import known_key
from curewatch.logbook.sealing import seal
from curewatch.readings import Reading
from curewatch.shed import copied
from tests.broker import PATIENCE, until
from tests.database import needs_postgres
from tests.fleet_run import DEFECTS, run, shown
from tests.queue_brokers import QueueBrokers, needs_rabbitmq


@pytest.mark.long
def test_what_a_broker_acknowledged_is_stored_once() -> None:
    """A worker, the store's primary, a broker's node, the other worker.

    Both controls must lose in one of four runs: in one alone the kills may come when nothing is on its way.
    """
    needs_postgres()
    needs_rabbitmq()
    lost: set[str] = set()
    for _ in range(4):
        counted, refused = run(sheds=2, rate=40.0, seconds=40.0)
        print(shown(counted, refused))
        whole = [one for one in counted if one.shed not in DEFECTS]
        assert all(one.acknowledged > 50 for one in whole)
        assert [one.missing for one in whole] == [[]] * len(whole), shown(counted, refused)
        assert [one.twice for one in whole] == [0] * len(whole)
        lost |= {one.shed for one in counted if one.shed in DEFECTS and one.missing}
        if lost == set(DEFECTS):
            break
    assert lost == set(DEFECTS)


class Told(list[str]):
    """What the processes say, shown where the test fails."""

    def append(self, line: str) -> None:
        print(line)
        super().append(line)


@contextmanager
def running(process: FleetProcess) -> Iterator[None]:
    """In a thread of its own."""
    thread = threading.Thread(target=process.run)
    thread.start()
    try:
        yield
    finally:
        process.stopping = True
        thread.join(PATIENCE)


def grow(path: Path, at: float, warmth: float) -> None:
    """Ten blocks more."""
    with Logbook(path) as logbook:
        for number in range(10):
            logbook.append([Reading("bench", at + number, at + number, warmth, 0.6)])
            logbook.close_block()
        seal(logbook, reason="day", at=at + 20)
        logbook.append([Reading("bench", at + 30, at + 30, warmth, 0.6)])


@pytest.mark.long
def test_a_shed_sends_its_blocks_over_a_broker_and_a_twin_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Also when nobody takes them yet, and after the broker was killed."""
    needs_rabbitmq()
    monkeypatch.setattr(sending, "PATIENCE", 3.0)
    monkeypatch.setattr(sending, "EVERY", 0.5)
    home, twin, copy = (tmp_path / f"{name}.sqlite" for name in ("home", "twin", "copy"))
    grow(home, SystemClock().now().utc - 7200, 290.0)
    for kind in ("", ".key"):
        shutil.copy(f"{home}{kind}", f"{twin}{kind}")
    brokers, said = QueueBrokers(1), Told()
    with Logbook(home) as logbook:
        key = known_key(logbook)
    for name, path in (("home", home), ("twin", twin), ("copy", copy)):
        (tmp_path / f"{name}.toml").write_text(f'[logbook]\npath = "{path}"\n')
        hosts = f'[broker]\nhosts = ["127.0.0.1:{brokers.nodes[0].queues}"]\n'
        (tmp_path / f"{name}.fleet").write_text(f'{hosts}[sheds]\nhull = "{name}.toml"\n')
    (tmp_path / "copy.fleet").write_text(f'{hosts}[copies.hull]\nfile = "copy.toml"\nkey = "{key}"\n')

    def process(kind: type[FleetProcess], name: str) -> FleetProcess:
        plan = load_plan(tmp_path / f"{name}.fleet")
        return kind(*plan, SystemClock(), said.append)  # type: ignore[call-arg, arg-type]

    def same() -> bool:
        with (
            suppress(StoreFailed),  # the worker is just making it
            open_logbook(home, read_only=True) as ours,
            open_logbook(copy, read_only=True) as theirs,
        ):
            return theirs.faces() == ours.faces()[:-1]
        return False

    try:
        brokers.start()
        with running(process(Sender, "home")):
            until(lambda: any("sending" in line for line in said))
            with running(process(Worker, "copy")):
                until(same)
                brokers.kill(brokers.nodes[0])
                grow(home, SystemClock().now().utc - 3600, 291.0)
                brokers.boot(brokers.nodes[0])
                until(same)
                grow(twin, SystemClock().now().utc - 3600, 295.0)
                with running(process(Sender, "twin")):
                    until(lambda: any("REFUSED, fork" in line for line in said))
                    with open_logbook(twin) as logbook:
                        until(lambda: copied.against(logbook) is not None)
                assert same()
        with open_logbook(copy) as logbook:
            found = trouble_of(logbook)
            assert found is not None
            assert found[0].code == "fork"
            logbook.verify()
    finally:
        brokers.remove()


@pytest.mark.long
def test_what_a_queue_holds_comes_and_one_that_is_not_there_is_noticed() -> None:
    """Neither answer is waited for when a queue is taken."""
    needs_rabbitmq()
    brokers = QueueBrokers(1)
    host = f"127.0.0.1:{brokers.nodes[0].queues}"
    try:
        brokers.start()
        queues, came = Queues(BrokerHosts(hosts=(host,)), host), []
        queues.declare("curewatch.hull", "sheds.hull.#")
        queues.send("amq.topic", "sheds.hull.bench", b"18.2")
        queues.take("curewatch.hull", came.append)
        until(lambda: queues.work(0.1) or came)
        assert [(one.topic, one.body) for one in came] == [("sheds/hull/bench", b"18.2")]
        queues.take("curewatch.nobody", came.append)
        with pytest.raises(lost_errors(), match=r"curewatch\.nobody"):
            until(lambda: queues.work(0.1))
        queues.close()
    finally:
        brokers.remove()


def consumers(hosts: BrokerHosts, name: str) -> int:
    """Who takes from a queue; nobody, where it is not there."""
    queues = Queues(hosts, hosts.hosts[0])
    try:
        found = queues._sending.queue_declare(name, passive=True)
    except lost_errors():
        return 0
    finally:
        queues.close()
    return int(found.method.consumer_count)


@pytest.mark.long
def test_a_queue_that_is_taken_away_is_there_again(tmp_path: Path) -> None:
    """As after a broker was set up anew: its workers have run on."""
    needs_rabbitmq()
    brokers, said = QueueBrokers(1), Told()
    host = f"127.0.0.1:{brokers.nodes[0].queues}"
    (tmp_path / "hull.toml").write_text(f'[logbook]\npath = "{tmp_path / "hull.sqlite"}"\n')
    (tmp_path / "fleet").write_text(f'[broker]\nhosts = ["{host}"]\n[sheds]\nhull = "hull.toml"\n')
    name, hosts = queue_of("hull"), BrokerHosts(hosts=(host,))
    try:
        brokers.start()
        with running(Worker(*load_plan(tmp_path / "fleet"), SystemClock(), said.append)):
            until(lambda: consumers(hosts, name) == 1)
            queues = Queues(hosts, host)
            queues._sending.queue_delete(name)
            queues.close()
            until(lambda: any("lost" in line for line in said))
            until(lambda: consumers(hosts, name) == 1)
        assert [line for line in said if "lost" in line] == [
            f"broker {host}: lost (no queue curewatch.hull); trying the next"
        ]
    finally:
        brokers.remove()
