"""What commands write beside a running daemon takes effect within seconds."""

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest

from curewatch import configuration
from curewatch.answers.last_look import RESTS_ON
from curewatch.clock import Instant, ManualClock
from curewatch.daemon.acting import Actor
from curewatch.daemon.core import Core
from curewatch.daemon.events import BytesArrived, Reload
from curewatch.daemon.external_entries import EVERY, ExternalEntries
from curewatch.logbook import Entry, Logbook
from curewatch.logbook.sealing import seal
from curewatch.readings import Flag
from curewatch.shed import salt_check
from curewatch.shed.salt_check import CorrectionLine, SaltPoint
from curewatch.wire import lines

START = 1_790_000_000.0
DEMO = configuration.parse('[sensors.bench]\nrole = "air"\n[serial.usb]\nurl = "loop://"\n')


class World:
    """The core with a real logbook, and somebody who writes beside it."""

    def __init__(self, folder: Path) -> None:
        self.clock = ManualClock(START, 1000.0)
        self.logbook = Logbook(folder / "logbook.sqlite")
        self.core = Core(DEMO, self.clock.now())
        self.looks: list[str] = []
        self.actor = Actor(self.core, self.logbook, self.clock, show=lambda _: None, think=self.think)
        self.beside = ExternalEntries(self.core, self.logbook, self.clock.now().monotonic)
        self.folder, self.number = folder, 0
        self.hear(b"boot noise")

    def think(self, at: Instant, reason: str) -> tuple[object, ...]:
        self.looks.append(reason)
        return ()

    def told(self, entry: Entry) -> None:
        with Logbook(self.folder / "logbook.sqlite") as another:
            another.write(entry)

    def hear(self, data: bytes) -> None:
        self.actor.handle(BytesArrived("usb", data + b"\n", self.clock.now()))

    def minute(self, humidity: float) -> None:
        self.clock.advance(60.0)
        self.beside.look(self.clock.now().monotonic)
        self.number += 1
        self.hear(lines.encode("bench", 18.0, humidity, sequence=self.number))
        self.clock.advance(1.0)
        self.actor.tick()


Begin = Callable[[], World]


@pytest.fixture
def begin(tmp_path: Path) -> Iterator[Begin]:
    """Begins the test's world when the test wants it; its logbook is closed with the test."""
    with ExitStack() as opened:

        def world() -> World:
            made = World(tmp_path)
            opened.enter_context(made.logbook)
            return made

        yield world


def check(at: float, line: CorrectionLine | None) -> Entry:
    points = [
        SaltPoint("MgCl2", at, 291.15, 0.33, 0.34, 0.004),
        SaltPoint("NaCl", at, 291.15, 0.755, 0.785, 0.004),
    ]
    return Entry("sensor-check", salt_check.payload("bench", "humidity-2", points, line, at), at)


def test_a_check_corrects_what_arrives_from_then_on(begin: Begin) -> None:
    """Before: as the chip said. After: put right and flagged. Found right later: as the chip says."""
    world = begin()
    world.minute(80.0)
    world.told(check(world.clock.now().utc, CorrectionLine(0.003, 0.96)))
    world.minute(80.0)
    world.actor.handle(Reload(DEMO, world.clock.now()))
    world.minute(80.0)
    world.told(check(world.clock.now().utc, None))
    world.minute(80.0)
    series = world.logbook.series("bench")
    assert series.relative_humidity == pytest.approx([0.80, 0.771, 0.771, 0.80], abs=1e-4)
    assert [bool(flags & Flag.CORRECTED) for flags in series.flags] == [False, True, True, False]


def test_a_daemon_that_starts_again_knows_the_correction(begin: Begin, tmp_path: Path) -> None:
    """It stands in the logbook, not in the daemon."""
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        logbook.write(check(START - 86400.0, CorrectionLine(0.003, 0.96)))
    world = begin()
    world.minute(80.0)
    assert world.logbook.series("bench").relative_humidity == pytest.approx([0.771], abs=1e-4)


def test_a_layer_told_by_a_command_is_looked_at_within_the_minute(begin: Begin) -> None:
    """The countdowns of a layer must not wait for the quarter of an hour."""
    world = begin()
    for _ in range(3):
        world.minute(60.0)
    seen = len(world.looks)
    world.told(Entry("layer", {"layer": "L1", "started": START, "resin": "epoxy-slow"}, START))
    world.minute(60.0)
    world.minute(60.0)
    assert any("layer" in reason for reason in world.looks[seen:])


@pytest.mark.parametrize("kind", sorted(RESTS_ON))
def test_what_makes_the_last_look_old_is_looked_at_within_the_minute(kind: str, begin: Begin) -> None:
    """Else whoever asks would have to look for a quarter of an hour; a note, the control, waits for it."""
    world = begin()
    for entry, looked in ((Entry("note", {"text": "dry"}, START), False), (Entry(kind, {}, START), True)):
        for _ in range(3):
            world.minute(60.0)
        seen = len(world.looks)
        world.told(entry)
        world.minute(60.0)
        world.minute(60.0)
        assert any(reason == f"told: {kind}" for reason in world.looks[seen:]) == looked


class Listener:
    """A broker's edge that only keeps what is published."""

    def __init__(self) -> None:
        self.heard: list[tuple[str, dict[str, Any]]] = []

    def acknowledge(self, connection: int, identifiers: tuple[int, ...]) -> None:
        """There is nothing to acknowledge."""

    def publish(self, topic: str, document: dict[str, Any]) -> None:
        self.heard.append((topic, document))


def test_the_code_of_a_seal_made_beside_is_published(begin: Begin, tmp_path: Path) -> None:
    """A job closed at the bench: its code goes to the broker once, whoever made the seal."""
    world, yard = begin(), Listener()
    world.actor = Actor(
        world.core, world.logbook, world.clock, brokers={"yard": yard}, show=lambda _: None, think=world.think
    )
    world.minute(60.0)
    with Logbook(tmp_path / "logbook.sqlite") as another:
        made = seal(another, reason="job-close", at=world.clock.now().utc)
    world.minute(60.0)
    world.minute(60.0)
    seals = [document for topic, document in yard.heard if topic == "seal"]
    assert [(one["code"], one["reason"]) for one in seals] == [(made.code, "job-close")]


def test_the_last_code_is_published_at_each_start(begin: Begin, tmp_path: Path) -> None:
    """A daemon that was killed may not have said it, and a broker without a memory has forgotten it."""
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        made = [seal(logbook, reason="day", at=START - 60.0 + number) for number in range(2)]
    world, yard = begin(), Listener()
    world.actor = Actor(
        world.core, world.logbook, world.clock, brokers={"yard": yard}, show=lambda _: None, think=world.think
    )
    world.minute(60.0)
    assert [document["code"] for topic, document in yard.heard if topic == "seal"] == [made[-1].code]


def test_it_does_not_look_more_often_than_it_may(begin: Begin) -> None:
    """A look costs a query; one in five seconds is enough."""
    world = begin()
    world.told(check(START, CorrectionLine(0.003, 0.96)))
    world.beside.look(1000.0 + EVERY - 0.1)
    assert not world.core.intake.corrections
    world.beside.look(1000.0 + EVERY)
    assert "bench" in world.core.intake.corrections
