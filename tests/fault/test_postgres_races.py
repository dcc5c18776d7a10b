"""Two programs write to one shed of the database at once: one waits or is refused; the chain holds."""

import subprocess
import sys
from collections import Counter
from pathlib import Path
from uuid import uuid4

import pytest

from curewatch.errors import CurewatchError, StoreFailed
from curewatch.logbook import EntryKind, open_logbook
from tests.broker import PATIENCE, until
from tests.database import DatabaseServer
from tests.database_writer import batch, expected

pytestmark = pytest.mark.long
COUNT = 150
NAMES = ("bench", "yard")


def race(place: Path, *defect: str) -> list[list[str]]:
    """Two processes that begin together, and what each said."""
    command = [sys.executable, "-m", "tests.database_writer", str(place)]
    running = [
        subprocess.Popen(
            [*command, name, str(COUNT), *defect], stdout=subprocess.PIPE, text=True, cwd=_root()
        )
        for name in NAMES
    ]
    for one in running:
        assert one.stdout is not None
        assert one.stdout.readline() == "ready\n"
    Path(f"{place}.start").touch()
    said = [one.communicate(timeout=PATIENCE)[0].splitlines() for one in running]
    assert [one.returncode for one in running] == [0, 0]
    return said


def _root() -> Path:
    return Path(__file__).parents[2]


def damage(place: Path, said: list[list[str]]) -> list[str]:
    """What is missing, twice or broken after it."""
    found = []
    with open_logbook(place, read_only=True) as logbook:
        try:
            logbook.verify()
        except CurewatchError as trouble:
            return [f"broken: {trouble}"]
        notes = Counter(one.payload["text"] for one in logbook.entries(EntryKind.NOTE))
        for name, lines in zip(NAMES, said, strict=True):
            acknowledged = [int(line) for line in lines if line.isdigit()]
            found += [f"missing {name} {n}" for n in acknowledged if notes[f"{name} {n}"] < 1]
            if len(logbook.series(name).time) < sum(len(batch(name, n)[0]) for n in acknowledged):
                found.append(f"missing readings of {name}")
        found += [f"twice {text}" for text, times in notes.items() if times > 1]
    return found


def test_two_writers_race_and_the_chain_holds(server: DatabaseServer, tmp_path: Path) -> None:
    """All of both is there once; the same race without the lock breaks the chain or loses something."""
    for _ in range(5):
        place = server.address(tmp_path / f"{uuid4().hex}.address", uuid4().hex)
        said = race(place)
        assert damage(place, said) == []
        with open_logbook(place, read_only=True) as logbook:
            assert len(logbook.entries(EntryKind.NOTE)) == 2 * COUNT
            assert logbook.head().readings == sum(expected(name, COUNT) for name in NAMES)
            order = "".join(one.payload["text"][0] for one in logbook.entries(EntryKind.NOTE))
        if order.count("by") + order.count("yb") > 5:
            break
    else:
        raise AssertionError("they did not race")
    for _ in range(5):
        bare = server.address(tmp_path / f"{uuid4().hex}.address", uuid4().hex)
        told = race(bare, "unlocked")
        if damage(bare, told):
            return
    raise AssertionError("without the lock nothing was found")


def test_who_waits_too_long_is_refused_and_may_try_again(server: DatabaseServer, tmp_path: Path) -> None:
    """A writer that stands still in its commit: the other is told after 5 s, with nothing lost."""
    place = server.address(tmp_path / "shed.address", uuid4().hex)
    readings, note = batch("bench", 1)
    with open_logbook(place) as logbook, server.connect() as slow:
        logbook.append(readings[:1])
        slow.execute("BEGIN")
        slow.execute("SELECT FROM curewatch.sheds FOR UPDATE")
        with pytest.raises(StoreFailed, match="another program is writing to this shed"):
            logbook.append(readings, [note])
        slow.execute("ROLLBACK")
        assert logbook.append(readings, [note]) == len(readings) - 1
        assert logbook.verify().head.entries == 1


def test_a_writer_that_died_in_its_commit_keeps_nobody_out(server: DatabaseServer, tmp_path: Path) -> None:
    """Killed with SIGKILL while both write; what it had acknowledged is there, the other goes on."""
    place = server.address(tmp_path / "shed.address", uuid4().hex)
    command = [sys.executable, "-m", "tests.database_writer", str(place), "bench", "100000"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=_root()) as running:
        assert running.stdout is not None
        Path(f"{place}.start").touch()
        lines = [running.stdout.readline() for _ in range(30)]
        running.kill()
        lines += running.stdout.readlines()
    with open_logbook(place) as logbook:
        acknowledged = sum(line.strip().isdigit() for line in lines)
        assert acknowledged > 20
        until(lambda: logbook.append([batch("yard", 1)[0][0]]) in (0, 1))
        assert logbook.verify().head.entries in (acknowledged, acknowledged + 1)
