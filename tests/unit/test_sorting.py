"""Several sheds in one daemon: whose a reading is, and when its message may be acknowledged."""

import json
from collections import Counter, deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from curewatch import configuration
from curewatch.clock import ManualClock
from curewatch.daemon import core, loop
from curewatch.daemon.edges.process import ServiceManager
from curewatch.daemon.events import BytesArrived, MessageArrived, SourceUp
from curewatch.daemon.loop import Daemon
from curewatch.daemon.sorting import Unacknowledged
from curewatch.daemon.sources import Sources
from curewatch.daemon.watch_keeping import WatchKeeping
from curewatch.errors import StoreFailed
from curewatch.logbook import open_logbook
from curewatch.readings import Reading
from curewatch.shed.health import Health

START = 1_792_252_800.0
SHEDS = """
[sensors.yard]
role = "outside"
[sheds.north.sensors.bench-north]
role = "air"
[sheds.south.sensors.bench-south]
role = "air"
[serial.usb]
url = "socket://127.0.0.1:9"
sensor = "bench-south"
[mqtt.creek]
topics = ["creek/+/state"]
[logbook]
path = "kept/logbook.sqlite"
"""
NAMES = {"north": ("bench-north", "yard"), "south": ("bench-south", "yard")}


@dataclass
class Broker:
    """Remembers what was acknowledged, and looks whether it lies on disk by then. Edges of a daemon else."""

    folder: Path
    told: dict[int, set[str]] = field(default_factory=dict)  # message -> sensors
    acknowledged: list[int] = field(default_factory=list)
    too_early: list[int] = field(default_factory=list)
    published: set[str] = field(default_factory=set)
    alive: bool = True

    def acknowledge(self, connection: int, identifiers: tuple[int, ...]) -> None:
        self.acknowledged += identifiers
        for one in identifiers:
            lost = (sensor for sensor in self.told[one] if one not in kept(self.folder, sensor))
            self.too_early += [one for _ in lost]

    def publish(self, topic: str, document: object) -> None:
        self.published.add(topic)

    def leave(self, topic: str, document: object) -> None: ...
    def renew(self) -> None: ...
    def start(self) -> None: ...
    def stop(self) -> None: ...


def kept(folder: Path, sensor: str) -> list[int]:
    """Which messages' readings of a sensor lie on disk in each shed that has it: its temperature says it."""
    found = []
    for shed, names in NAMES.items():
        if sensor in names:
            with open_logbook(folder / "kept" / f"{shed}.sqlite", read_only=True) as logbook:
                found.append([round(value - 273.15) for value in logbook.series(sensor).temperature])
    return [one for one in found[0] if all(one in each for each in found)]


@pytest.fixture
def daemon(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Daemon]:
    (tmp_path / "kept").mkdir()
    settings = configuration.parse(SHEDS, tmp_path / "curewatch.toml")
    monkeypatch.setattr(
        Sources, "build", lambda self, _: self.brokers.update(creek=Broker(tmp_path))
    )  # nothing is opened here
    monkeypatch.setattr(Sources, "replace", lambda self, _: None)
    made = Daemon(settings, clock=ManualClock(START, 0.0))
    for keeper in made.keepers.values():
        keeper.actor.think = lambda at, reason: ()
    yield made
    for keeper in made.keepers.values():
        keeper.close()


def say(daemon: Daemon, number: int, *sensors: str, connection: int = 1, again: bool = False) -> None:
    """One message at QoS 1 with a reading of each sensor; its number is their temperature."""
    at = daemon._clock.now()
    pack = [{"n": f"{sensor}:temperature", "u": "Cel", "v": float(number)} for sensor in sensors]
    payload = json.dumps(pack).encode()
    daemon._sources.brokers["creek"].told[number] = {*sensors} - {"attic"}  # type: ignore[attr-defined]
    daemon._handle(
        MessageArrived("creek", "creek/gateway/state", payload, at, 1, again, False, number, connection)
    )


def turn(daemon: Daemon, seconds: float = 0.3) -> None:
    daemon._clock.sleep(seconds)
    for keeper in daemon.keepers.values():
        keeper.look(idle=True)


def broker_of(daemon: Daemon) -> Broker:
    return daemon._sources.brokers["creek"]  # type: ignore[return-value]


def test_each_reading_reaches_the_sheds_of_its_sensor(daemon: Daemon, tmp_path: Path) -> None:
    """One message may be of several sheds; what is outside is of all; one of no shed is refused by name."""
    say(daemon, 5, "bench-north", "bench-south", "yard")
    say(daemon, 6, "bench-south", "attic")
    line = b'{"temperature": 7, "humidity": 70}\n'
    daemon._handle(SourceUp("usb", daemon._clock.now()))
    daemon._handle(BytesArrived("usb", b"}\n" + line[:9], daemon._clock.now()))
    daemon._handle(BytesArrived("usb", line[9:], daemon._clock.now()))
    turn(daemon)
    counts = {
        label: {name: known.readings for name, known in keeper.logbook.sensors().items() if known.readings}
        for label, keeper in daemon.keepers.items()
    }
    assert counts == {"north": {"bench-north": 1, "yard": 1}, "south": {"bench-south": 3, "yard": 1}}
    rejected = {label: keeper.logbook.rejected() for label, keeper in daemon.keepers.items()}
    assert [(one.sensor, one.reason) for one in rejected["north"]] == [("attic", "a sensor that no shed has")]
    assert rejected["south"] == []
    assert any("attic" in str(line.text) and line.detail["shed"] == "north" for line in daemon.lines)
    assert all(topic.startswith(("north/", "south/")) for topic in broker_of(daemon).published)
    for keeper in daemon.keepers.values():
        keeper.logbook.verify()


def test_sensors_are_compared_within_their_shed(daemon: Daemon) -> None:
    """A warm shed and a cold one do not disagree; the control: two such sensors in one shed do."""
    alone = WatchKeeping(
        configuration.parse(SHEDS.replace("sheds.south.sensors", "sheds.north.sensors")).each["north"]
    )
    for number in range(10):
        for sensor, warmth in (("bench-north", 20), ("bench-south", 5)):
            say(daemon, warmth, sensor)
            at = daemon._clock.now()
            reading = Reading(sensor, at.utc, at.utc, 273.15 + warmth, 0.5, sequence=number)
            alone.committed([reading], at)
        turn(daemon, 60.0)
    at = daemon._clock.now()
    judged = {one.sensor: one.health for one in alone.judged(at.utc)}
    assert judged["bench-north"] is judged["bench-south"] is Health.DISAGREEING
    for keeper in daemon.keepers.values():
        healths = {one.health for one in keeper.core.keeping.judged(at.utc)}
        assert Health.DISAGREEING not in healths
        assert Health.FRESH in healths


def test_a_reload_takes_no_other_sheds(daemon: Daemon, tmp_path: Path) -> None:
    """New limits and sensors are taken; another shed or logbook is refused by name, and the old stays."""
    file = tmp_path / "curewatch.toml"
    more = '[sheds.north.sensors.attic]\nrole = "air"\n[sheds.north.limits]\nprobability = 0.9\n'
    for text, refused in (
        (SHEDS + '[sheds.attic.sensors.attic]\nrole = "air"\n', "the same sheds as before"),
        (SHEDS + '[sheds.north.logbook]\npath = "kept/other.sqlite"\n', "sheds.north.logbook.path"),
        (SHEDS + more, ""),
    ):
        file.write_text(text)
        daemon._reload()
        turn(daemon)
        said = [str(line.text) for line in daemon.lines if "is not taken" in str(line.text)]
        assert (refused in said[-1]) if refused else len(said) == 2
    assert daemon.keepers["north"].configuration.limits.probability == 0.9
    assert daemon.keepers["south"].configuration.limits.probability is None
    say(daemon, 5, "attic")
    turn(daemon)
    assert daemon.keepers["north"].logbook.sensors()["attic"].readings == 1


def one_of_each(daemon: Daemon) -> Broker:
    """Messages of one shed and of both, in turn, with a shed's batch closed by count, not by age."""
    daemon.keepers["south"].core._batch_size = 2
    for number in range(1, 25):
        say(daemon, number, *(("bench-north",), ("bench-south",), ("bench-north", "bench-south"))[number % 3])
        daemon._clock.sleep(0.02)
    turn(daemon)
    return broker_of(daemon)


def test_a_message_is_acknowledged_when_every_shed_has_it(daemon: Daemon) -> None:
    """In the order of the messages, though the sheds commit at moments of their own."""
    broker = one_of_each(daemon)
    assert broker.acknowledged == list(range(1, 25))
    assert broker.too_early == []


def test_one_shed_asks_for_a_forecast(daemon: Daemon) -> None:
    """The first; what comes is kept in each."""
    north, south = (daemon.keepers[shed]._fetcher for shed in NAMES)
    assert north is not None
    assert [path.name for path in (north._logbook, *north._also)] == ["north.sqlite", "south.sqlite"]
    assert south is None


def test_a_small_window_is_shared(daemon: Daemon) -> None:
    """A broker that sends no more than it may does not wait for a batch's age: half a window closes it."""
    for number in range(1, core.WINDOW // 2 + 1):
        say(daemon, number, "bench-north")
    turn(daemon, 0.01)
    assert broker_of(daemon).acknowledged == [*range(1, core.WINDOW // 2 + 1)]


def test_acknowledging_with_the_first_shed_would_be_found(
    daemon: Daemon, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The control: whoever does not wait for the other shed acknowledges what is not on disk."""
    at_once: Callable[..., tuple[int, ...]] = lambda self, source, connection, ids, in_order: ids  # noqa: E731
    monkeypatch.setattr(Unacknowledged, "committed", at_once)
    assert one_of_each(daemon).too_early


def test_a_shed_that_cannot_store_keeps_its_own_messages_only(
    daemon: Daemon, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The other's are acknowledged; a new connection brings the rest again, and nothing is kept twice."""

    def refuse(*_: object, **__: object) -> int:
        raise StoreFailed("the disk is full")

    with monkeypatch.context() as full:
        full.setattr(daemon.keepers["south"].actor, "logbook", SimpleNamespace(append=refuse))
        for number, sensors in enumerate((["bench-south"], ["bench-north"], [*NAMES["north"]]), start=1):
            say(daemon, number, *sensors)
            turn(daemon)
        assert broker_of(daemon).acknowledged == [2]
    for number, sensors in ((1, ["bench-south"]), (3, [*NAMES["north"]])):
        say(daemon, number, *sensors, connection=2, again=True)
    for _ in range(4):
        turn(daemon, 1.0)
    assert broker_of(daemon).acknowledged == [2, 1, 3]
    assert broker_of(daemon).too_early == []
    for keeper in daemon.keepers.values():
        assert max(known.readings for known in keeper.logbook.sensors().values()) <= 2


@pytest.mark.parametrize(("breath", "commits"), [(loop.BREATH, 1), (0.0, 10)], ids=["", "control"])
def test_a_flood_that_comes_in_gulps_is_committed_together(
    daemon: Daemon, monkeypatch: pytest.MonkeyPatch, breath: float, commits: int
) -> None:
    """Each shed commits when the broker waits for us. Control: between two gulps it would commit each."""
    monkeypatch.setattr(loop, "BREATH", breath)
    at, made = daemon._clock.now(), Counter[str]()
    told = broker_of(daemon).told

    def message(number: int) -> MessageArrived:
        sensor = f"bench-{('north', 'south')[number % 2]}"
        told[number] = {sensor}
        payload = json.dumps([{"n": f"{sensor}:temperature", "u": "Cel", "v": float(number % 40)}]).encode()
        return MessageArrived("creek", "creek/gateway/state", payload, at, 1, False, False, number, 1)

    gulps = deque([message(number) for number in range(n, n + 8)] for n in range(0, 80, 8))

    def wait(seconds: float) -> bool:
        if seconds and gulps:
            daemon._inbox.put_all("creek", gulps.popleft())
        return not daemon._inbox.empty

    monkeypatch.setattr(daemon._inbox._awake, "wait", wait)
    for label, keeper in daemon.keepers.items():
        stored = keeper.logbook.append

        def counted(*parts: Any, label: str = label, stored: Any = stored, **more: Any) -> int:
            made[label] += bool(parts[0])
            return int(stored(*parts, **more))

        monkeypatch.setattr(keeper.logbook, "append", counted)
    for _ in range(30):
        daemon._turn(ServiceManager({}))
    assert made == {"north": commits, "south": commits}
    assert broker_of(daemon).acknowledged == list(range(80))
