"""The disk fills up, or turns read-only, under a running daemon: held, loud, and all there afterwards.

As root on a small memory disk of its own; elsewhere the same with SQLite's own limit on pages, inside
this process.
"""

import os
import subprocess
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

from curewatch import configuration
from curewatch.clock import ManualClock
from curewatch.daemon.acting import Actor
from curewatch.daemon.core import Core
from curewatch.daemon.events import BytesArrived, Committed, Show, Store
from curewatch.errors import StoreFailed
from curewatch.logbook import Logbook
from curewatch.simulation.port import SimulatedPort
from curewatch.wire.lines import checksum
from tests.broker import until
from tests.running import Running


def line(number: int) -> bytes:
    body = f"cw1 bench t={12 + number % 50 / 10:.2f} h=71.00 n={number}".encode()
    return body + f" *{checksum(body):04X}\n".encode()


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    place = tmp_path / "disk"
    place.mkdir()
    if os.geteuid() != 0:
        pytest.skip("a disk of its own needs root; the page limit below is tried everywhere")
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=2m", "tmpfs", str(place)], capture_output=True, check=False
    )
    if mounted.returncode:
        pytest.skip(f"no mount allowed here: {mounted.stderr.decode().strip()}; the page limit is tried")
    yield place
    subprocess.run(["mount", "-o", "remount,rw", str(place)], capture_output=True, check=False)
    subprocess.run(["umount", "-l", str(place)], capture_output=True, check=True)


def _fill(file: Path) -> None:
    with file.open("wb", buffering=0) as out:
        while True:
            out.write(b"\0" * 4096)


@pytest.mark.long
def test_a_real_disk_fills_up(small_disk: Path, tmp_path: Path) -> None:
    """Readings that come meanwhile are held; the journal shouts; nothing is missing afterwards."""
    filler = small_disk / "filler"
    with SimulatedPort() as port, Running(tmp_path, "") as daemon:
        daemon.path = small_disk / "logbook.sqlite"
        daemon.configure(f'[sensors.bench]\nrole = "air"\n[serial.usb]\nurl = "{port.url}"')
        daemon.start()
        daemon.says("usb answers")
        port.write(b"\n" + b"".join(line(number) for number in range(100)))
        daemon.waits_for(100)
        with pytest.raises(OSError, match="No space"):  # the fault happened
            _fill(filler)
        number = 100
        while "TAKES NOTHING" not in daemon.text() and number < 40_000:
            port.write(b"".join(line(n) for n in range(number, number + 100)))
            number += 100
            until(lambda: not port.waiting)
        daemon.says("TAKES NOTHING")
        daemon.says("the disk is full")
        filler.unlink()
        port.write(line(number))
        daemon.waits_for(number + 1)
        assert daemon.stop() == 0
        assert daemon.numbers("bench") == list(range(number + 1))
        with Logbook(daemon.path) as logbook:
            logbook.verify()


@pytest.mark.parametrize(
    ("calamity", "recovery", "said"),
    [
        ("PRAGMA max_page_count = {more}", "PRAGMA max_page_count = 1000000", "the disk is full"),
        ("PRAGMA query_only = ON", "PRAGMA query_only = OFF", "it cannot be written"),
    ],
    ids=["full", "read-only"],
)
@pytest.mark.few(1)
def test_a_disk_that_takes_no_more(tmp_path: Path, calamity: str, recovery: str, said: str) -> None:
    """The same without root, by what SQLite itself refuses: to grow, or to write at all; and later does.

    A file system with a file open for writing cannot be made read-only from outside; the kernel does it
    after an error of the disk, and SQLite then says what it says here.
    """
    clock = ManualClock(1_790_000_000.0, 0.0)
    shown: list[Show] = []
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        connection = logbook._connection
        pages = connection.execute("PRAGMA page_count").fetchone()[0]
        core = Core(configuration.parse('[sensors.bench]\nrole = "air"'), clock.now())
        actor = Actor(core, logbook, clock, show=shown.append)
        actor.handle(BytesArrived("usb", b"\n", clock.now()))
        connection.execute(calamity.format(more=pages + 4))
        for number in range(6_000):
            actor.handle(BytesArrived("usb", line(number), clock.advance(0.05)))
            if number % 4 == 0:
                actor.tick()
        assert core.refused_store  # the fault happened
        assert any("TAKES NOTHING" in each.text and said in each.text for each in shown)
        stored = logbook.sensors()["bench"].readings if logbook.sensors() else 0
        assert stored < 6_000
        connection.execute(recovery)
        for _ in range(700):
            clock.advance(0.1)
            actor.tick()
        assert logbook.sensors()["bench"].readings == 6_000
        assert core.dropped == 0
        assert any("nothing was lost" in each.text for each in shown)
        logbook.verify()


@pytest.mark.long
def test_a_refusal_taken_for_a_commit_loses(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The control: a daemon that goes on as if a refused batch were stored has fewer readings in the end."""

    def blindly(self: Actor, asked: Store) -> Committed:
        with suppress(StoreFailed):
            self.logbook.append(asked.readings, asked.entries)
        return Committed(self._clock.now(), len(asked.readings))

    monkeypatch.setattr(Actor, "_store", blindly)
    clock = ManualClock(1_790_000_000.0, 0.0)
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        core = Core(configuration.parse('[sensors.bench]\nrole = "air"'), clock.now())
        actor = Actor(core, logbook, clock, show=lambda line: None)
        actor.handle(BytesArrived("usb", b"\n", clock.now()))
        pages = logbook._connection.execute("PRAGMA page_count").fetchone()[0]
        logbook._connection.execute(f"PRAGMA max_page_count = {pages + 4}")
        for number in range(6_000):
            actor.handle(BytesArrived("usb", line(number), clock.advance(0.05)))
            if number % 4 == 0:
                actor.tick()
        logbook._connection.execute("PRAGMA max_page_count = 1000000")
        for _ in range(700):
            clock.advance(0.1)
            actor.tick()
        assert logbook.sensors()["bench"].readings < 6_000
