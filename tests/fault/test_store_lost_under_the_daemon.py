"""The logbook's file is locked, deleted or damaged while a real daemon writes into it."""

import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from curewatch.logbook import Logbook
from curewatch.logbook.backup import backup
from curewatch.simulation.port import SimulatedPort
from curewatch.wire.lines import checksum
from tests.running import Running

REFUSED = "THE LOGBOOK TAKES NOTHING"
RESUMED = "the logbook takes readings again; nothing was lost"


def lines(first: int, last: int) -> bytes:
    said = b""
    for number in range(first, last):
        body = f"cw1 bench t={12 + number % 50 / 10:.2f} h=71.00 n={number}".encode()
        said += body + f" *{checksum(body):04X}\n".encode()
    return said


@pytest.fixture
def port() -> Iterator[SimulatedPort]:
    with SimulatedPort() as made:
        yield made


@pytest.fixture
def daemon(tmp_path: Path, port: SimulatedPort) -> Iterator[Running]:
    """One that has stored the first hundred lines."""
    with Running(tmp_path, f'[sensors.bench]\nrole = "air"\n[serial.usb]\nurl = "{port.url}"') as running:
        running.start()
        running.says("usb answers")
        port.write(b"\n" + lines(0, 100))
        running.waits_for(100)
        yield running


def copied(daemon: Running, folder: Path) -> Path:
    with Logbook(daemon.path, read_only=True) as logbook:
        return backup(logbook, folder / "copy.sqlite")


def whole(daemon: Running, count: int) -> None:
    """Each number is there once, and the chain holds."""
    assert daemon.numbers("bench") == list(range(count))
    with Logbook(daemon.path, read_only=True) as logbook:
        logbook.verify()


@pytest.mark.long
def test_locked_by_another_program(daemon: Running, port: SimulatedPort) -> None:
    """While another program holds the write lock readings are held, loudly; then all are there."""
    other = sqlite3.connect(daemon.path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    port.write(lines(100, 200))
    daemon.says(REFUSED)
    daemon.says("locked; close that program")
    assert daemon.readings() == 100  # the fault happened
    port.write(lines(200, 300))
    other.execute("ROLLBACK")
    other.close()
    daemon.waits_for(300)
    daemon.says(RESUMED)
    assert daemon.stop() == 0
    whole(daemon, 300)


@pytest.mark.long
def test_deleted_and_put_back(daemon: Running, port: SimulatedPort, tmp_path: Path) -> None:
    """Deleted: nothing goes into a file without a name; with a copy put back, everything held follows."""
    copy = copied(daemon, tmp_path)
    for part in tmp_path.glob("logbook.sqlite*"):
        if part.suffix != ".key":
            part.unlink()
    port.write(lines(100, 200))
    daemon.says(REFUSED)
    daemon.says("removed or replaced")
    assert not daemon.path.exists()  # the fault happened
    shutil.copy(copy, daemon.path)
    daemon.waits_for(200)
    daemon.says(RESUMED)
    assert daemon.stop() == 0
    whole(daemon, 200)


@pytest.mark.long
def test_damaged_and_replaced(daemon: Running, port: SimulatedPort, tmp_path: Path) -> None:
    """Rubbish over the file: said with the next reading; with a copy in its place all that came is there."""
    copy = copied(daemon, tmp_path)
    for part in ("", "-wal"):
        file = tmp_path / f"logbook.sqlite{part}"
        with file.open("r+b") as out:
            out.write(b"\x5a" * file.stat().st_size)
    with closing(sqlite3.connect(daemon.path)) as other, pytest.raises(sqlite3.DatabaseError):
        other.execute("SELECT count(*) FROM blocks").fetchone()  # the fault happened
    port.write(lines(100, 150))
    daemon.says(REFUSED)
    daemon.says("damaged")
    port.write(lines(150, 200))
    shutil.copy(copy, tmp_path / "new.sqlite")
    for part in ("-wal", "-shm"):
        (tmp_path / f"logbook.sqlite{part}").unlink(missing_ok=True)
    (tmp_path / "new.sqlite").replace(daemon.path)
    daemon.waits_for(200)
    daemon.says(RESUMED)
    assert daemon.stop() == 0
    whole(daemon, 200)


def test_the_log_is_deleted_from_beside_the_file(
    daemon: Running, port: SimulatedPort, tmp_path: Path
) -> None:
    """What stands in it is brought into the file, what comes later goes into a new one: nothing is lost."""
    for part in ("-wal", "-shm"):
        (tmp_path / f"logbook.sqlite{part}").unlink()  # raises if it was not there: the fault happened
    port.write(lines(100, 200))
    daemon.says("logbook.sqlite-wal was removed or replaced")
    daemon.says(RESUMED)
    daemon.waits_for(200)
    daemon.kill()
    whole(daemon, 200)
