"""Calamity: the primary dies, the server is a standby or turns one, its disk is full."""

import shutil
import subprocess
import sys
import threading
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from curewatch.errors import StoreFailed
from curewatch.logbook import Entry, EntryKind, LogbookStore, open_logbook
from curewatch.logbook.postgres import session
from curewatch.logbook.postgres.tables import PostgresTables
from curewatch.readings import Reading
from tests.broker import PATIENCE, REQUIRED, until
from tests.database import DatabaseServer, needs_postgres
from tests.database_writer import batch

pytestmark = pytest.mark.long
SYNCHRONOUS = "synchronous_standby_names = 'two'"


@pytest.fixture
def servers() -> Iterator[list[DatabaseServer]]:
    """Those that a test made; they end with it."""
    needs_postgres()
    made: list[DatabaseServer] = []
    yield made
    for one in made:
        one.remove()


def pair(servers: list[DatabaseServer], *settings: str) -> tuple[DatabaseServer, DatabaseServer]:
    """A primary and its standby, with our tables."""
    primary = DatabaseServer("one", *settings)
    servers.append(primary)
    primary.make()
    kept, primary.settings = primary.settings, ()
    primary.start().prepared()
    standby = primary.standby("two")
    servers.append(standby)
    primary.stop()
    primary.settings = kept
    primary.start()
    with primary.connect() as owner:
        until(lambda: owner.execute("SELECT count(*) FROM pg_stat_replication").fetchone()[0])
    return primary, standby


class Writer:
    """A process that writes until it has enough; ``acknowledged`` grows.

    It is never further ahead than one batch, however long we look away.
    """

    def __init__(self, place: Path, count: int) -> None:
        Path(f"{place}.start").touch()
        command = [sys.executable, "-m", "tests.database_writer", str(place), "bench", str(count), "paced"]
        self.process = subprocess.Popen(
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            bufsize=1,
            cwd=Path(__file__).parents[2],
        )
        self.acknowledged: list[int] = []

    def until(self, count: int) -> None:
        """Read on until so many are acknowledged, or it has ended."""
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        while len(self.acknowledged) < count and (line := self.process.stdout.readline()):
            if line.strip().isdigit():
                self.acknowledged.append(int(line))
                self.process.stdin.write("go on\n")

    def end(self) -> None:
        self.until(10**9)
        assert self.process.wait(PATIENCE) == 0
        for pipe in (self.process.stdin, self.process.stdout):
            assert pipe is not None
            pipe.close()


def damage(logbook: LogbookStore, acknowledged: list[int]) -> list[str]:
    """What of it is missing or twice."""
    assert logbook.verify().head.readings == len(logbook.series("bench").time)
    notes = Counter(one.payload["text"] for one in logbook.entries(EntryKind.NOTE))
    missing = [f"missing {n}" for n in acknowledged if notes[f"bench {n}"] < 1]
    readings = len(logbook.series("bench").time)
    if readings < sum(len(batch("bench", n)[0]) for n in acknowledged):
        missing.append("readings are missing")
    return missing + [f"twice {text}" for text, times in notes.items() if times > 1]


def fail_over(servers: list[DatabaseServer], tmp_path: Path, *, synchronous: bool) -> list[str]:
    """Kill the primary under a writer, promote the standby; what of the acknowledged is missing or twice."""
    primary, standby = pair(servers, *([SYNCHRONOUS] if synchronous else ()))
    place = primary.address(tmp_path / f"{synchronous}.address", "hull", others=[standby])
    writer = Writer(place, 400)
    writer.until(60)
    if not synchronous:  # it hears nothing more, and nobody minds
        with standby.connect() as owner:
            owner.execute("ALTER SYSTEM SET primary_conninfo = ''")
            owner.execute("SELECT pg_reload_conf()")
            until(lambda: not owner.execute("SELECT count(*) FROM pg_stat_wal_receiver").fetchone()[0])
    writer.until(150)
    primary.kill()
    standby.promote()
    writer.end()
    assert len(writer.acknowledged) == 400
    direct = standby.address(tmp_path / f"{synchronous}.direct", "hull")
    with open_logbook(direct, read_only=True) as logbook:
        return damage(logbook, writer.acknowledged)


def test_a_primary_that_dies_takes_nothing_acknowledged_with_it(
    servers: list[DatabaseServer], tmp_path: Path
) -> None:
    """kill -9, the standby promoted; a standby that nobody waits for loses, and that is found."""
    assert fail_over(servers, tmp_path, synchronous=True) == []
    found = fail_over(servers, tmp_path, synchronous=False)
    assert len([one for one in found if one.startswith("missing")]) > 20


@contextmanager
def cancelling(primary: DatabaseServer) -> Iterator[None]:
    """Whoever waits for the standby is told to wait no longer."""
    ended = threading.Event()

    def cancel() -> None:
        with primary.connect() as owner:
            while not ended.wait(0.05):
                owner.execute(
                    "SELECT pg_cancel_backend(pid) FROM pg_stat_activity"
                    " WHERE wait_event = 'SyncRep' AND usename = 'saltmarsh'"
                )

    thread = threading.Thread(target=cancel)
    thread.start()
    yield
    ended.set()
    thread.join()


def test_a_cancelled_wait_for_the_standby_is_no_acknowledgement(
    servers: list[DatabaseServer], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The commit stands on the primary alone: it is refused, and is there once when the standby is back."""
    monkeypatch.setattr(session, "PATIENCE", 0.5)
    primary, standby = pair(servers, SYNCHRONOUS)
    readings, note = batch("bench", 0)
    with open_logbook(primary.address(tmp_path / "shed.address", "hull")) as logbook:
        logbook.append(readings[:1])
        standby.stop()
        with cancelling(primary):
            with pytest.raises(StoreFailed, match="standby does not say"):
                logbook.append(readings, [note])
            with monkeypatch.context() as deaf:  # the warning unheard, it is taken for stored
                deaf.setattr(
                    PostgresTables, "_committed", lambda _, c: (c.execute("COMMIT").statusmessage, [])
                )
                logbook.append(batch("bench", 1)[0])
        standby.start()
        logbook.append(readings, [note])
        assert damage(logbook, [0]) == []


def test_a_standby_is_read_and_takes_nothing(servers: list[DatabaseServer], tmp_path: Path) -> None:
    """Refused in a sentence; a primary that is turned read-only, too, and the same batch goes in later."""
    primary, standby = pair(servers, SYNCHRONOUS)
    readings, note = batch("bench", 0)
    with open_logbook(primary.address(tmp_path / "primary.address", "hull")) as logbook:
        logbook.append(readings)
        place = standby.address(tmp_path / "standby.address", "hull")
        with pytest.raises(StoreFailed, match="standby and takes no writing; name the primary"):
            open_logbook(place)
        with open_logbook(place, read_only=True) as copy:
            until(lambda: copy.head().readings == len(readings))
            assert copy.verify() == logbook.verify()
        with primary.connect() as owner:
            owner.execute("ALTER SYSTEM SET default_transaction_read_only = on")
            owner.execute("SELECT pg_reload_conf()")
            until(lambda: owner.execute("SHOW default_transaction_read_only").fetchone()[0] == "on")
            with pytest.raises(StoreFailed, match="takes no writing"):
                logbook.append((), [note])
            owner.execute("BEGIN READ WRITE")
            owner.execute("COMMIT")
            owner.execute("SET default_transaction_read_only = off")
            owner.execute("ALTER SYSTEM RESET default_transaction_read_only")
            owner.execute("SELECT pg_reload_conf()")
        until(lambda: not _refused(logbook, [], note))
        assert [one.payload for one in logbook.entries()] == [note.payload]


def _refused(logbook: LogbookStore, readings: list[Reading], note: Entry) -> str:
    """Why it was; "" if it went in."""
    try:
        logbook.append(readings, [note])
    except StoreFailed as trouble:
        return str(trouble)
    return ""


@contextmanager
def on_a_small_disk(servers: list[DatabaseServer], size: str) -> Iterator[tuple[DatabaseServer, Path]]:
    """A server whose tables lie on a disk of this size, which it alone sees."""
    needs_postgres()
    server = DatabaseServer("small")
    servers.append(server)
    disk = server.folder / "disk"
    disk.mkdir()
    who = server.account.get("user")
    can = shutil.which("unshare") and shutil.which("setpriv") and who is not None
    if not can or subprocess.run(["unshare", "--mount", "true"], check=False).returncode:
        assert not REQUIRED, "no file system can be mounted here"
        pytest.skip("no file system can be mounted here")
    mount = f'mount -t tmpfs -o size={size},uid={who},mode=700 tmpfs "{disk}" && exec "$0" "$@"'
    privileges = ("setpriv", f"--reuid={who}", f"--regid={server.account['group']}", "--clear-groups")
    server.make()
    server.under = ("unshare", "--mount", "sh", "-c", mount, *privileges)
    server.start()
    assert server.process is not None
    yield server, Path(f"/proc/{server.process.pid}/root{disk}")


def test_a_full_disk_refuses_and_loses_nothing(servers: list[DatabaseServer], tmp_path: Path) -> None:
    """What does not fit is refused whole and in a sentence; with room again the same batch goes in."""
    with on_a_small_disk(servers, "12m") as (server, disk):
        with server.connect("postgres") as owner:
            owner.execute(f"CREATE TABLESPACE small LOCATION '{server.folder}/disk'")
        server.prepared()
        with server.connect("postgres") as owner:
            owner.execute("ALTER DATABASE sheds SET TABLESPACE small")
        place = server.address(tmp_path / "shed.address", "hull")
        acknowledged: list[int] = []
        with open_logbook(place) as logbook:
            ballast = disk / "ballast"
            _fill(disk, ballast)
            for number in range(20_000):
                readings, note = batch("bench", number)
                if refusal := _refused(logbook, readings, note):
                    break
                acknowledged.append(number)
            assert "disk of the database is full; make room" in refusal
            assert len(acknowledged) > 100
            assert damage(logbook, acknowledged) == []
            swallowed = [*acknowledged, number]  # as if the refusal were an acknowledgement
            assert damage(logbook, swallowed) == [f"missing {number}", "readings are missing"]
            ballast.unlink()
            assert logbook.append(readings, [note]) == len(readings)
            assert damage(logbook, swallowed) == []


def _fill(disk: Path, ballast: Path) -> None:
    """Leave little room."""
    usage = shutil.disk_usage(disk)
    ballast.write_bytes(b"\0" * max(usage.free - 400_000, 1))
