"""The core: stored, then acknowledged, then shown; bounded; nothing lost when the store refuses."""

import re
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import pytest

from curewatch import configuration
from curewatch.clock import Instant, ManualClock
from curewatch.daemon import core as core_module
from curewatch.daemon.acting import Actor
from curewatch.daemon.core import Core
from curewatch.daemon.events import (
    Acknowledge,
    BytesArrived,
    Committed,
    Effect,
    Event,
    MessageArrived,
    Noticed,
    Overflowed,
    Reload,
    Show,
    SourceDown,
    SourceUp,
    Stop,
    Store,
    StoreRefused,
    Tick,
)
from curewatch.daemon.inbox import LIMIT, TURN, Inbox
from curewatch.daemon.intake import Intake
from curewatch.errors import ConfigurationError, StoreFailed
from curewatch.logbook import Logbook
from curewatch.readings import Flag, Reading, Rejected
from curewatch.wire.lines import checksum

START = 1_790_000_000.0

DEMO = configuration.parse(
    '[sensors.bench]\nrole = "air"\n'
    '[sensors.hull]\nrole = "surface"\naddress = ["probe-7", "creek/deck/state"]\n'
    '[serial.usb]\nurl = "loop://"\nsensor = "bench"\n[mqtt.yard]\ntopics = ["creek/+/state"]'
)


def line(sensor: str, temperature: float, humidity: float, number: int) -> bytes:
    body = f"cw1 {sensor} t={temperature:.2f} h={humidity:.2f} n={number}".encode()
    return body + f" *{checksum(body):04X}\n".encode()


class World:
    """The core with a real logbook and a clock that is told what time it is."""

    def __init__(self, folder: Path, settings: configuration.Configuration = DEMO, **options: Any) -> None:
        self.clock = ManualClock(START, 1000.0)
        self.path = folder / "logbook.sqlite"
        self.logbook = Logbook(self.path)
        self.core = Core(settings, self.clock.now(), memory=self.logbook.note, **options)
        self.shown: list[Show] = []
        self.acknowledged: list[tuple[int, tuple[int, ...]]] = []
        self.published: list[tuple[str, dict[str, Any]]] = []
        self.renewed = 0
        self.actor = Actor(
            self.core, self.logbook, self.clock, brokers={"yard": self}, show=self.shown.append
        )

    def acknowledge(self, connection: int, identifiers: tuple[int, ...]) -> None:
        self.acknowledged.append((connection, identifiers))

    def publish(self, topic: str, document: dict[str, Any]) -> None:
        self.published.append((topic, document))

    def renew(self) -> None:
        self.renewed += 1

    def tell(self, *events: Event) -> None:
        for event in events:
            self.actor.handle(event)

    def wait(self, seconds: float, step: float = 0.1) -> None:
        for _ in range(round(seconds / step)):
            self.clock.advance(step)
            self.actor.tick()

    def message(self, number: int, payload: bytes | None = None, **more: Any) -> MessageArrived:
        content = payload or b'{"temperature": 12.5, "humidity": 71.0, "n": %d}' % number
        fields: dict[str, Any] = {"quality": 1, "identifier": number, "connection": 1} | more
        return MessageArrived("yard", "creek/bench/state", content, self.clock.now(), **fields)

    def texts(self) -> str:
        return "\n".join(f"{line.kind}: {line.text}" for line in self.shown)


@pytest.fixture
def world(tmp_path: Path) -> Iterable[World]:
    made = World(tmp_path)
    yield made
    made.logbook.close()


def test_bytes_become_committed_readings(world: World) -> None:
    """Whatever the port cut where, whole lines arrive in the logbook under the configured names."""
    stream = b"tail of a line\n" + line("bench", 12.5, 70.0, 1) + line("probe-7", 10.25, 60.0, 2)
    world.tell(SourceUp("usb", world.clock.now()))
    for at in range(0, len(stream), 7):
        world.tell(BytesArrived("usb", stream[at : at + 7], world.clock.now()))
    assert not world.logbook.sensors()
    world.wait(0.3)
    assert set(world.logbook.sensors()) == {"bench", "hull"}
    assert world.logbook.latest()["hull"].temperature == pytest.approx(283.4)


def test_nothing_is_acknowledged_or_shown_before_its_commit() -> None:
    """The only effect of a message is a store; its acknowledgement follows the answer."""
    core = Core(DEMO, Instant(START, 0.0), tell_readings=True)
    message = MessageArrived(
        "yard",
        "creek/bench/state",
        b'{"temperature": 12}',
        Instant(START, 0.0),
        1,
        identifier=7,
        connection=3,
    )
    assert core.receive(message) == []
    effects = core.receive(Tick(Instant(START + 0.3, 0.3)))
    assert [type(effect) for effect in effects] == [Store]
    assert core.receive(Tick(Instant(START + 9.0, 9.0))) == []
    after = core.receive(Committed(Instant(START + 9.1, 9.1), 1))
    assert after[0] == Acknowledge("yard", 3, (7,))
    assert next(effect.kind for effect in after if isinstance(effect, Show)) == "reading"


def test_a_batch_is_closed_by_count_by_age_and_by_a_waiting_broker(world: World) -> None:
    """By count at once; by age for a few; and for a small window as soon as nothing else is waiting."""
    for number in range(1, core_module.BATCH + 1):
        world.tell(world.message(number))
    assert sum(len(ids) for _, ids in world.acknowledged) == core_module.BATCH
    world.tell(world.message(900))
    world.actor.tick()
    assert sum(len(ids) for _, ids in world.acknowledged) == core_module.BATCH
    world.wait(0.3)
    assert world.acknowledged[-1] == (1, (900,))
    world.tell(*(world.message(number) for number in range(1000, 1000 + core_module.WINDOW)))
    world.actor.tick(idle=True)
    assert len(world.acknowledged[-1][1]) == core_module.WINDOW


def test_messages_that_waited_are_committed_a_turn_at_a_time(world: World) -> None:
    """All are older than a batch may be: no rest of a turn is left, to be flushed to the disk by itself."""
    inbox = Inbox()
    inbox.put_all("yard", [world.message(number) for number in range(1, LIMIT + 1)])
    world.clock.advance(10 * core_module.BATCH_AGE)
    while taken := inbox.take(0.0):
        world.tell(*taken)
        world.actor.tick(idle=inbox.empty)
    assert [len(ids) for _, ids in world.acknowledged] == [TURN] * (LIMIT // TURN)


def test_no_window_that_can_be_configured_stalls(world: World) -> None:
    """The least `in_flight` closes a batch when nothing else waits; a commit may hold several windows."""
    with pytest.raises(ConfigurationError) as refused:
        configuration.parse('[mqtt.yard]\ntopics = "t"\nin_flight = 1\n')
    least = int(re.findall(r"\d+", refused.value.allowed)[0])
    assert configuration.parse(f'[mqtt.yard]\ntopics = "t"\nin_flight = {least}\n')
    assert least >= core_module.WINDOW
    world.tell(*(world.message(number) for number in range(1, 3 * least + 1)))
    assert world.acknowledged == []
    world.actor.tick(idle=True)
    assert [len(numbers) for _, numbers in world.acknowledged] == [3 * least]


def test_a_redelivered_message_is_stored_once(tmp_path: Path) -> None:
    """Unstamped, redelivered to the next process: acknowledged again, not stored again."""
    first = World(tmp_path)
    first.tell(*(first.message(number) for number in range(1, 4)))
    first.wait(0.3)
    assert first.logbook.sensors()["bench"].readings == 3
    first.logbook.close()

    second = World(tmp_path)
    second.clock.advance(60.0)
    second.tell(second.message(3, duplicate=True), second.message(4, duplicate=True))
    second.tell(second.message(3, b'{"temperature": 12.5, "humidity": 71.0}'))  # identifier used anew
    second.wait(0.3)
    assert second.logbook.sensors()["bench"].readings == 5
    assert second.acknowledged == [(1, (3, 4, 3))]
    second.logbook.close()


def test_what_waited_with_the_broker_makes_no_sensor_fresh(world: World) -> None:
    """It is stored and acknowledged, and the watch over the sensors goes on as if nothing had come."""
    world.tell(world.message(1, backlog=True), world.message(2, retained=True))
    world.wait(0.3)
    assert world.logbook.sensors()["bench"].readings == 2
    assert world.acknowledged == [(1, (1, 2))]
    assert "bench" not in world.core.keeping.tracks
    world.tell(world.message(3))
    world.wait(0.3)
    assert "bench" in world.core.keeping.tracks


def test_a_message_that_is_no_reading_is_acknowledged_all_the_same(world: World) -> None:
    """Else the broker would send it for ever; it is counted, shown and kept."""
    world.tell(world.message(5, b"\x1b[2Jnot a reading"))
    world.wait(0.3)
    assert world.acknowledged == [(1, (5,))]
    assert "yard" in world.texts()
    assert "rejected" in world.texts()
    assert world.core.rejections.total == 1
    assert "\x1b" not in str([show.detail for show in world.shown])
    [rejected] = world.logbook.rejected()
    assert rejected.times == 1


def test_a_topic_that_is_an_address_speaks_for_its_sensor(world: World) -> None:
    """Whole topics, hardware numbers and the + of the filter all lead to the configured name."""
    body = b'{"temperature": 9.5}'
    for number, topic in enumerate(("creek/deck/state", "creek/probe-7/state", "creek/bench/state"), start=1):
        world.tell(MessageArrived("yard", topic, body, world.clock.now(), 1, identifier=number))
    world.wait(0.3)
    assert {name: known.readings for name, known in world.logbook.sensors().items()} == {
        "hull": 2,
        "bench": 1,
    }


class Refusing:
    """A logbook whose disk is full for a while."""

    def __init__(self, inner: Logbook) -> None:
        self.inner, self.full, self.rejections = inner, False, 0

    def append(self, *arguments: Any, **named: Any) -> int:
        if self.full:
            self.rejections += 1
            raise StoreFailed("the disk is full; make room")
        return self.inner.append(*arguments, **named)


def test_a_full_disk_holds_readings_and_loses_none(world: World) -> None:
    """Held, loud at once and only once, offered less and less often, all there in order afterwards."""
    disk = Refusing(world.logbook)
    world.actor.logbook = disk  # type: ignore[assignment]
    disk.full = True
    for number in range(1, 241):
        world.tell(BytesArrived("usb", line("bench", 12.0 + number / 100, 70.0, number), world.clock.now()))
        world.tell(world.message(number) if number <= 3 else Tick(world.clock.now()))
        world.wait(1.0, step=0.5)
    assert disk.rejections > 3
    assert disk.rejections < 20
    assert world.texts().count("TAKES NOTHING") == 1
    assert world.acknowledged == []
    disk.full = False
    world.wait(60.0)
    assert world.logbook.sensors()["bench"].readings == 240 + 3
    assert "nothing was lost" in world.texts()
    assert world.acknowledged == [(1, (1, 2, 3))] or sum(len(i) for _, i in world.acknowledged) == 3
    assert any(e.payload["what"] == "store resumed" for e in world.logbook.entries("daemon"))
    world.logbook.verify()


def test_what_does_not_fit_is_counted_shown_and_written_down(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The bound on held readings is real, and what it costs is said."""
    monkeypatch.setattr(core_module, "HELD", 20)
    disk = Refusing(world.logbook)
    world.actor.logbook = disk  # type: ignore[assignment]
    disk.full = True
    for number in range(100):
        world.tell(BytesArrived("usb", line("bench", 12.0, 70.0, number), world.clock.now()))
        world.wait(1.0, step=1.0)
    assert world.core.dropped > 0
    disk.full = False
    world.wait(120.0)
    assert world.logbook.sensors()["bench"].readings + world.core.dropped == 100
    assert f"{world.core.dropped} readings had to be dropped" in world.texts()


def test_a_message_that_cannot_be_held_stays_with_its_broker(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Not acknowledged, not remembered: asked for once the logbook takes readings again, and stored once."""
    monkeypatch.setattr(core_module, "HELD", 20)
    disk = Refusing(world.logbook)
    world.actor.logbook = disk  # type: ignore[assignment]
    disk.full = True
    for number in range(1, 101):
        world.tell(world.message(number))
        world.wait(0.2)
    assert world.acknowledged == []
    disk.full = False
    world.wait(70.0)
    held = {number for _, numbers in world.acknowledged for number in numbers}
    assert 20 <= len(held) < 100
    assert world.logbook.sensors()["bench"].readings == len(held)
    assert world.renewed == 1
    again = [number for number in range(1, 101) if number not in held]
    monkeypatch.undo()
    world.tell(*(world.message(number, connection=2, duplicate=True) for number in again))
    world.wait(1.0)
    assert world.logbook.sensors()["bench"].readings == 100
    assert world.core.dropped == 0
    assert world.logbook.rejected() == []


@pytest.mark.parametrize("rolls_back", [True, False])
def test_what_was_given_up_is_no_repeat_when_it_comes_again(
    world: World, monkeypatch: pytest.MonkeyPatch, rolls_back: bool
) -> None:
    """A stamped line that found no room is said again: stored. Without the rollback it "came before"."""
    if not rolls_back:
        monkeypatch.setattr(Intake, "take_back", Intake.keep)
    monkeypatch.setattr(core_module, "HELD", 20)
    disk = Refusing(world.logbook)
    world.actor.logbook = disk  # type: ignore[assignment]
    disk.full = True
    world.tell(BytesArrived("usb", b"\n", world.clock.now()))
    for number in range(60):
        world.tell(BytesArrived("usb", _dated(number), world.clock.now()))
        world.wait(0.5)
    dropped = world.core.dropped
    assert 0 < dropped <= 40
    disk.full = False
    world.wait(70.0)
    monkeypatch.setattr(core_module, "HELD", 100_000)
    for number in range(60):
        world.tell(BytesArrived("usb", _dated(number), world.clock.now()))
    world.wait(1.0)
    stored, rejected = world.logbook.sensors()["bench"].readings, world.logbook.rejected()
    assert stored == (60 if rolls_back else 60 - dropped)
    assert sum(each.times for each in rejected) == (60 - dropped if rolls_back else 60)  # those do come twice


@pytest.mark.parametrize("rolls_back", [True, False])
def test_a_batch_that_was_rolled_back_comes_again_as_new(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, rolls_back: bool
) -> None:
    """A batch at a time, each refused once and redelivered: all stored, none refused."""
    if not rolls_back:
        monkeypatch.setattr(Intake, "take_back", Intake.keep)
    clock, intake, refused = ManualClock(START, 0.0), Intake(DEMO), 0
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        disk = Refusing(logbook)
        for first in range(0, 200, 20):
            for disk.full in (True, False):
                intake.begin()
                found = [
                    item
                    for number in range(first, first + 20)
                    for item in intake.message_arrived(_stamped(number, clock.advance(0.01)))
                ]
                readings = [item for item in found if isinstance(item, Reading)]
                rejected = [item for item in found if isinstance(item, Rejected)]
                try:
                    disk.append(readings, rejected=rejected)
                except StoreFailed:
                    intake.take_back()
                else:
                    intake.keep()
                    refused += len(rejected)
        stored = sum(each.readings for each in logbook.sensors().values())
        counted = sum(each.times for each in logbook.rejected())
    assert counted == refused
    assert (stored, refused) == ((200, 0) if rolls_back else (0, 200))


def _dated(number: int) -> bytes:
    body = f"cw1 bench t=12.50 h=71.00 at={START - 600 + number:.0f}".encode()
    return body + f" *{checksum(body):04X}\n".encode()


def _stamped(number: int, at: Instant) -> MessageArrived:
    payload = b'{"temperature": 12.5, "humidity": 71.0, "time": %d}' % (START - 600 + number)
    return MessageArrived("yard", "creek/bench/state", payload, at, 1, identifier=number + 1)


def test_a_clock_that_was_never_set_marks_its_readings(tmp_path: Path) -> None:
    """Readings of 1970 carry the doubt; the jump when the network comes is an entry."""
    world = World(tmp_path)
    world.clock.set_utc(100.0)
    world.core.clock = core_module.clock_watch.step(core_module.ClockState(), world.clock.now())[0]
    world.tell(BytesArrived("usb", b"x\n" + line("bench", 12.0, 70.0, 1), world.clock.now()))
    world.wait(1.0)
    world.clock.set_utc(START)
    world.wait(1.0)
    world.tell(BytesArrived("usb", line("bench", 12.1, 70.0, 2), world.clock.now()))
    world.wait(1.0)
    flags = [int(flag) for flag in world.logbook.series("bench").flags]
    assert [bool(flag & Flag.CLOCK_DOUBT) for flag in flags] == [True, False]
    [entry] = world.logbook.entries("clock")
    assert entry.payload["step"] == pytest.approx(START - 102.0, abs=2.0)
    world.logbook.close()


def test_sources_are_said_once_until_they_change(world: World) -> None:
    """A cable out all night is one line, not ten thousand."""
    for _ in range(50):
        world.tell(SourceDown("usb", world.clock.now(), "no such device"))
        world.wait(0.5)
    world.tell(SourceUp("usb", world.clock.now()))
    world.tell(Noticed("yard", world.clock.now(), "another client uses the id"))
    world.tell(Overflowed("yard", world.clock.now(), 12))
    world.wait(0.5)
    assert world.texts().count("does not answer") == 1
    assert world.texts().count("usb answers") == 1
    assert "12 pieces dropped" in world.texts()
    assert [entry.payload.get("up") for entry in world.logbook.entries("source")] == [False, True, None]


def test_silence_becomes_a_gap_with_both_ends(world: World) -> None:
    """The gap is written when it is noticed, and again with its end when the sensor speaks."""
    world.tell(BytesArrived("usb", b"\n" + line("bench", 12.0, 70.0, 1), world.clock.now()))
    world.wait(900.0, step=5.0)
    world.tell(BytesArrived("usb", line("bench", 12.2, 70.0, 2), world.clock.now()))
    world.wait(120.0, step=1.0)
    gaps = [entry.payload for entry in world.logbook.entries("gap") if entry.payload["sensor"] == "bench"]
    assert [gap["end"] is None for gap in gaps] == [True, False]
    assert gaps[0]["start"] == gaps[1]["start"] == pytest.approx(START, abs=1.0)
    assert gaps[1]["end"] == pytest.approx(START + 900.0, abs=1.0)
    states = [entry.payload["health"] for entry in world.logbook.entries("health")]
    assert "silent" in states
    assert states[-1] == "fresh" or "never reported" in states


def test_stop_stores_what_is_in_hand_and_ends(world: World) -> None:
    """A clean stop commits the open batch, acknowledges it, says so, and only then ends."""
    world.tell(world.message(1))
    world.tell(Stop(world.clock.now()))
    assert world.actor.ended
    assert world.acknowledged == [(1, (1,))]
    assert [entry.payload["what"] for entry in world.logbook.entries("daemon")] == ["stopped"]


def test_stop_with_a_full_disk_ends_loudly_and_acknowledges_nothing(world: World) -> None:
    """What was not acknowledged stays with the broker."""
    disk = Refusing(world.logbook)
    world.actor.logbook = disk  # type: ignore[assignment]
    disk.full = True
    world.tell(world.message(1), Stop(world.clock.now()))
    assert world.actor.ended
    assert world.acknowledged == []
    assert "stays with the broker" in world.texts()


def test_reload_changes_names_and_keeps_half_a_line(world: World) -> None:
    """A line that arrives across a reload is one line."""
    whole = line("probe-9", 11.0, 60.0, 1)
    world.tell(BytesArrived("usb", b"\n" + whole[:20], world.clock.now()))
    fresh = configuration.parse(
        '[sensors.hull]\nrole = "surface"\naddress = "probe-9"\n[serial.usb]\nurl = "loop://"'
    )
    world.tell(Reload(fresh, world.clock.now()))
    world.tell(BytesArrived("usb", whole[20:], world.clock.now()))
    world.wait(0.5)
    assert set(world.logbook.sensors()) == {"hull"}


def test_a_store_that_was_not_asked_for_changes_nothing(world: World) -> None:
    """A stray answer is no commit."""
    nothing: list[Effect] = world.core.receive(Committed(world.clock.now(), 3))
    assert nothing == []
    assert world.core.stored == 0
    assert world.core.receive(StoreRefused(world.clock.now(), "reason")) != []
