"""Attack: the last lines are changed while their block is still open, and the daemon then goes on."""

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from curewatch.errors import RecordBroken
from curewatch.logbook import Entry, EntryKind, Logbook
from curewatch.readings import Reading

AT = 1_795_593_600.0  # 2026-11-25T08:00Z, demo


def begun(path: Path) -> None:
    """A logbook whose one block is still open: a note and three readings (demo values)."""
    with Logbook(path) as logbook:
        readings = [Reading("bench", AT + n, AT + n, 289.0 + n, 0.6) for n in range(3)]
        logbook.append(readings, [Entry(EntryKind.NOTE, {"text": "ratio 100 to 22"}, AT)])


def attack(path: Path, statement: str, *values: object) -> None:
    """One statement behind the program's back; it must have changed a row."""
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        assert connection.execute(statement, values).rowcount == 1


def go_on(path: Path) -> None:
    """Somebody appends, as the daemon would; nothing that comes in now is lost."""
    with Logbook(path) as logbook:
        assert logbook.append([Reading("bench", AT + 60, AT + 60, 288.0, 0.6)]) == 1
        logbook.write(Entry(EntryKind.NOTE, {"text": "afterwards"}, AT + 61))


def broken(path: Path) -> str:
    """What the verification names."""
    with Logbook(path, read_only=True) as logbook, pytest.raises(RecordBroken) as found:
        logbook.verify()
    return found.value.entry


def test_a_changed_entry_gets_no_new_head(tmp_path: Path) -> None:
    """Appending goes on from the head that stood, so the change shows for ever."""
    path = tmp_path / "shed.sqlite"
    begun(path)
    attack(path, "UPDATE entries SET line = replace(line, '100 to 22', '100 to 50')")
    go_on(path)
    assert broken(path) == "entries 1 to 1 of block 1"
    with Logbook(path) as logbook:
        assert logbook.series("bench").time.size == 4


def test_a_changed_reading_gets_no_new_head(tmp_path: Path) -> None:
    """One byte of the open block's body, and the block is named."""
    path = tmp_path / "shed.sqlite"
    begun(path)
    with closing(sqlite3.connect(path)) as connection:
        body = bytearray(connection.execute("SELECT body FROM blocks").fetchone()[0])
    body[-8] ^= 1
    attack(path, "UPDATE blocks SET body = ?", bytes(body))
    go_on(path)
    assert broken(path).startswith("block 1")


def test_a_broken_block_says_when_its_readings_were_measured(tmp_path: Path) -> None:
    """From the first to the last, to the millisecond; or that none are left."""
    for count, told in (
        ("readings + 1", "readings of 2026-11-25T08:00:00.000Z to 2026-11-25T08:00:02.000Z"),
        ("readings, body = x''", "no readings"),
    ):
        path = tmp_path / f"{len(told)}.sqlite"
        begun(path)
        attack(path, f"UPDATE blocks SET readings = {count}")
        assert broken(path) == f"block 1 ({told})"


def test_a_removed_entry_and_a_changed_head_are_named_too(tmp_path: Path) -> None:
    """Neither a deleted line nor a head that was written over is taken up as if it were true."""
    for name, statement in (
        ("gone", "DELETE FROM entries"),
        ("head", "UPDATE blocks SET head = replace(head, substr(head, 1, 1), 'x')"),
    ):
        path = tmp_path / f"{name}.sqlite"
        begun(path)
        attack(path, statement)
        go_on(path)
        assert "block 1" in broken(path)


def test_an_open_block_left_alone_goes_on_as_one_block(tmp_path: Path) -> None:
    """Without an attack the block is taken up again and stays whole."""
    path = tmp_path / "shed.sqlite"
    begun(path)
    go_on(path)
    with Logbook(path, read_only=True) as logbook:
        assert logbook.verify().blocks == 1
