"""Attack: the last lines are changed while their block is still open, and the daemon then goes on."""

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from curewatch.errors import RecordBroken
from curewatch.logbook import Entry, EntryKind, Logbook, writer
from curewatch.logbook.block import OpenBlock
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


def entry_changed(path: Path) -> None:
    attack(path, "UPDATE entries SET line = replace(line, '100 to 22', '100 to 50')")


def reading_changed(path: Path, place: int = 26) -> None:
    """One bit of the first reading's temperature, or of what else stands at that place."""
    with closing(sqlite3.connect(path)) as connection:
        body = bytearray(connection.execute("SELECT body FROM blocks").fetchone()[0])
    body[place] ^= 1
    attack(path, "UPDATE blocks SET body = ?", bytes(body))


def head_changed(path: Path) -> None:
    attack(path, "UPDATE blocks SET head = replace(head, substr(head, 1, 1), 'x')")


def test_a_changed_entry_gets_no_new_head(tmp_path: Path) -> None:
    """Appending goes on from the head that stood, so the change shows for ever."""
    path = tmp_path / "shed.sqlite"
    begun(path)
    entry_changed(path)
    go_on(path)
    assert broken(path) == "entries 1 to 1 of block 1"
    with Logbook(path) as logbook:
        assert logbook.series("bench").time.size == 4


@pytest.mark.parametrize("place", [8, 26])
def test_a_changed_reading_gets_no_new_head(tmp_path: Path, place: int) -> None:
    """One bit of its time or of its temperature, and the block is named."""
    path = tmp_path / "shed.sqlite"
    begun(path)
    reading_changed(path, place)
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
    for change in (lambda path: attack(path, "DELETE FROM entries"), head_changed):
        path = tmp_path / f"{change.__name__}.sqlite"
        begun(path)
        change(path)
        go_on(path)
        assert "block 1" in broken(path)


@pytest.mark.parametrize("change", [entry_changed, reading_changed, head_changed])
def test_what_was_changed_holds_where_the_open_block_is_not_compared(
    tmp_path: Path, change: Callable[[Path], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The control: the block is taken up as it is found, and gets a head of its own."""
    compared, restored = writer.Writer._read_block, writer.OpenBlock.restore
    taken: list[OpenBlock] = []

    def restore(*told: Any) -> OpenBlock:
        taken.append(restored(*told))
        return taken[-1]

    def any_block(self: Any, tokens: Any) -> OpenBlock:
        taken.clear()
        block = compared(self, tokens)
        return taken[0] if taken else block

    path = tmp_path / "shed.sqlite"
    begun(path)
    change(path)
    monkeypatch.setattr(writer.OpenBlock, "restore", restore)
    monkeypatch.setattr(writer.Writer, "_leave_as_it_stands", lambda *_: None)
    monkeypatch.setattr(writer.Writer, "_read_block", any_block)
    go_on(path)
    with Logbook(path, read_only=True) as logbook:
        assert logbook.verify().blocks == 1


def test_an_open_block_left_alone_goes_on_as_one_block(tmp_path: Path) -> None:
    """Without an attack the block is taken up again and stays whole."""
    path = tmp_path / "shed.sqlite"
    begun(path)
    go_on(path)
    with Logbook(path, read_only=True) as logbook:
        assert logbook.verify().blocks == 1
