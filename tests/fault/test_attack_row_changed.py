"""Attack: a row of the database is changed with sqlite3, behind the logbook's back."""

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from curewatch.errors import CurewatchError, RecordBroken
from curewatch.logbook import Logbook, verification
from curewatch.logbook.salvage import salvage
from curewatch.logbook.sealing import check_seals
from curewatch.record.writing import write
from curewatch.units import DAY
from tests import record_world as world
from tests.record_attacks import Sealed, own_copy

STATEMENTS = {
    "a reading's byte": (
        "UPDATE blocks SET body = CAST(substr(body, 1, 9) || x'07' || substr(body, 11) AS BLOB) WHERE number=3",  # noqa: E501
        "block 3",
    ),
    "a block's readings exchanged": (
        "UPDATE blocks SET body = (SELECT body FROM blocks WHERE number = 4) WHERE number = 3",
        "block 3",
    ),
    "a digest": ("UPDATE blocks SET readings_digest = entries_digest WHERE number = 3", "block 3"),
    "a count": ("UPDATE blocks SET readings = readings - 1 WHERE number = 3", "block 3"),
    "a head": ("UPDATE blocks SET head = replace(head, 'a', 'b') WHERE number = 3", "block 3"),
    "a block taken away": ("DELETE FROM blocks WHERE number = 3", "block 3"),
    "readings taken away": ("UPDATE blocks SET body = NULL WHERE number = 3", "block 3"),
    "an entry's words": ("UPDATE entries SET line = replace(line, 'R-2217', 'R-2218')", "entr"),
    "an entry's column": ("UPDATE entries SET kind = 'note' WHERE kind = 'alert'", "entry"),
    "an entry's time": ("UPDATE entries SET at = at + 1 WHERE number = 2", "entry 2"),
    "an entry taken away": ("DELETE FROM entries WHERE number = 7", "entry 7"),
    "the last entry taken away": (
        "DELETE FROM entries WHERE number = (SELECT max(number) FROM entries)",
        "block",
    ),
    "an entry put in": (
        "INSERT INTO entries SELECT max(number) + 1, 1, 'note', NULL, 0, NULL, '{}' FROM entries",
        "entry",
    ),
    "the index of times": ("DELETE FROM spans", "index of times of block 1:"),
    "a block out of the index": ("DELETE FROM spans WHERE block = 3", "index of times of block 3:"),
    "a time in the index": (
        "UPDATE spans SET latest = latest - 1 WHERE block = 3",
        "index of times of block 3:",
    ),
    "a sensor out of the index": (
        "DELETE FROM spans WHERE block = 2 AND sensor = 2",
        "index of times of block 2:.*sensor 2",
    ),
    "a block put into the index": ("INSERT INTO spans VALUES (1, 0, 900, 1)", "index of times of block"),
    "a time that is none": (
        "UPDATE spans SET latest = 'late' WHERE block = 3",
        "index of times of block 3:.*late",
    ),
    "a time past all clocks": (
        "UPDATE spans SET latest = 1 << 62 WHERE block = 3",
        "index of times of block 3:",
    ),
    "a count of readings": (
        "UPDATE sensors SET readings = readings + 1 WHERE number = 1",
        "table of sensors",
    ),
    "a sensor's name": ("UPDATE sensors SET name = 'other' WHERE name = 'hull'", "block 1"),
    "a seal's signature": (
        "UPDATE entries SET line = replace(line, 'signature', 'signaturf') WHERE kind = 'seal'",
        "block",
    ),
}


def whole_check(logbook: Logbook) -> None:
    """What `curewatch logbook verify` does."""
    logbook.verify()
    check_seals(logbook)


@pytest.mark.few(6)
@pytest.mark.parametrize("statement", STATEMENTS)
def test_a_row_changed_behind_the_logbook_is_found(sealed: Sealed, tmp_path: Path, statement: str):
    """The statement changes something; verification names the place; no record is made of it."""
    with Logbook(sealed.logbook, read_only=True) as logbook:
        logbook.verify()
    path = own_copy(sealed, tmp_path)
    sql, named = STATEMENTS[statement]
    with closing(sqlite3.connect(path, isolation_level=None)) as raw:
        assert raw.execute(sql).rowcount > 0
    with Logbook(path) as logbook:
        with pytest.raises(RecordBroken, match=named):
            whole_check(logbook)
        with pytest.raises(CurewatchError):
            write(logbook, world.JOB, tmp_path / "out", at=world.OPENED + 6 * DAY)
    assert not list((tmp_path / "out").glob("*"))


@pytest.mark.long
def test_no_record_is_made_over_a_changed_summary(sealed: Sealed, tmp_path: Path):
    """A summary that the readings do not give is found, and is made anew by a salvage."""
    path, new = tmp_path / "logbook.sqlite", tmp_path / "new.sqlite"
    shutil.copy(sealed.logbook, path)
    for one in (path, new):
        shutil.copy(sealed.logbook.with_name("logbook.sqlite.key"), one.with_name(f"{one.name}.key"))
    with closing(sqlite3.connect(path, isolation_level=None)) as raw:
        raw.execute("UPDATE hours SET total = 0, lowest = 0")
    with Logbook(path) as logbook, pytest.raises(RecordBroken, match="table of hours"):
        write(logbook, world.JOB, tmp_path / "out", at=world.OPENED + 6 * DAY, pdf=False)
    salvage(path, new, at=world.OPENED + 6 * DAY)
    with Logbook(new) as logbook:
        written = write(logbook, world.JOB, tmp_path / "out", at=world.OPENED + 6 * DAY, pdf=False)
    assert written.folder is not None
    assert (written.folder / "readings.csv").read_bytes() == sealed.files["readings.csv"]


def any_rows(reader: Any, face: Any, closed: bool, body: bytes, tokens: object) -> Any:
    """A block's readings without their digest."""
    return reader.read(body, face.form, closed=closed)


UNCHECKED: dict[str, tuple[Any, str, Any]] = {
    "a sensor's name": (verification, "_check_readings", any_rows),
    "the index of times": (verification._Spans, "check", lambda *_: None),
    "a count of readings": (verification.derived.Derived, "check", lambda *_, **more: None),
}


@pytest.mark.parametrize("statement", UNCHECKED)
def test_a_changed_row_holds_unchecked(
    sealed: Sealed, tmp_path: Path, statement: str, monkeypatch: pytest.MonkeyPatch
):
    """The controls: without its own step each of them holds."""
    path = own_copy(sealed, tmp_path)
    with closing(sqlite3.connect(path, isolation_level=None)) as raw:
        raw.execute(STATEMENTS[statement][0])
    monkeypatch.setattr(*UNCHECKED[statement])
    with Logbook(path, read_only=True) as logbook:
        whole_check(logbook)
