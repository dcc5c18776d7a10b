"""Attack: a row of the database is changed with sqlite3, behind the logbook's back."""

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from curewatch.errors import CurewatchError, RecordBroken
from curewatch.logbook import Logbook
from curewatch.logbook.sealing import check_seals
from curewatch.record.writing import write
from curewatch.units import DAY
from tests import record_world as world
from tests.record_attacks import Sealed

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
    "a count of readings": ("UPDATE sensors SET readings = readings + 1 WHERE number = 1", "counts"),
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


@pytest.mark.parametrize("statement", STATEMENTS)
def test_a_row_changed_behind_the_logbook_is_found(sealed: Sealed, tmp_path: Path, statement: str):
    """The statement changes something; verification names the place; no record is made of it."""
    path = tmp_path / "logbook.sqlite"
    with Logbook(sealed.logbook, read_only=True) as logbook:
        logbook.verify()
    shutil.copy(sealed.logbook, path)
    shutil.copy(sealed.logbook.with_name("logbook.sqlite.key"), path.with_name("logbook.sqlite.key"))
    sql, named = STATEMENTS[statement]
    with closing(sqlite3.connect(path, isolation_level=None)) as raw:
        assert raw.execute(sql).rowcount > 0
    with Logbook(path) as logbook:
        with pytest.raises(RecordBroken, match=named):
            whole_check(logbook)
        with pytest.raises(CurewatchError):
            write(logbook, world.JOB, tmp_path / "out", at=world.OPENED + 6 * DAY)
    assert not (tmp_path / "out").exists()


def test_the_hourly_summary_is_no_proof_and_is_not_taken_for_one(sealed: Sealed, tmp_path: Path):
    """A changed summary does not reach a record: it is made from the readings alone."""
    path = tmp_path / "logbook.sqlite"
    shutil.copy(sealed.logbook, path)
    shutil.copy(sealed.logbook.with_name("logbook.sqlite.key"), path.with_name("logbook.sqlite.key"))
    with closing(sqlite3.connect(path, isolation_level=None)) as raw:
        raw.execute("UPDATE hours SET total = 0, lowest = 0")
    with Logbook(path) as logbook:
        written = write(logbook, world.JOB, tmp_path / "out", at=world.OPENED + 6 * DAY, pdf=False)
    assert written.folder is not None
    assert (written.folder / "readings.csv").read_bytes() == sealed.files["readings.csv"]
