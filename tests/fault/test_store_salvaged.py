"""Calamity: pages of the file are damaged. What would stumble is found, and what verifies is kept."""

import random
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import NamedTuple

import pytest

from curewatch.errors import CurewatchError, RecordBroken, StoreFailed, UsageError
from curewatch.logbook import Entry, EntryKind, Logbook, rows, schema
from curewatch.logbook.keys import change_key, key_path
from curewatch.logbook.retention import prune
from curewatch.logbook.salvage import Salvaged, salvage
from curewatch.logbook.sealing import check_seals, check_signed, note_path, prove, seal
from curewatch.readings import Rejected
from curewatch.record.writing import write
from curewatch.units import DAY, HOUR
from tests import record_world as world

PAGE = 4096
NOW = world.OPENED + 9 * DAY


class Whole(NamedTuple):
    """A logbook before it is damaged."""

    path: Path
    lines: frozenset[str]  # every reading and entry
    code: str


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Whole:
    """Days of three sensors with a job, seals, rejections and old readings let go; about forty pages."""
    path = tmp_path_factory.mktemp("whole") / "logbook.sqlite"
    code = world.fill(path, step=300.0).code
    with Logbook(path) as logbook:
        old = world.readings(world.OPENED - 60 * DAY, world.OPENED - 58 * DAY, step=300.0)
        logbook.append(old, rejected=[Rejected("nobody knows", b"x", NOW, "usb", "bench")])
        logbook.close_block()
        assert prune(logbook, world.OPENED - 59 * DAY, at=NOW).blocks
        logbook.append(world.readings(NOW, NOW + 2 * HOUR, step=300.0))
        logbook.verify()
        lines = lines_of(logbook)
    return Whole(path, lines, code)


def lines_of(logbook: Logbook) -> frozenset[str]:
    tokens = logbook.tokens()
    readings = (rows.lines(*one, tokens).splitlines() for one in logbook.block_rows(1, 10**9))
    return frozenset(
        (*(line for each in readings for line in each), *(one.line for one in logbook.entries()))
    )


def rubbish(page: bytes, chance: random.Random) -> bytes:
    return b"\x5a" * len(page)


def zeros(page: bytes, chance: random.Random) -> bytes:
    return bytes(len(page))


def flipped(page: bytes, chance: random.Random) -> bytes:
    changed = bytearray(page)
    for _ in range(8):
        changed[chance.randrange(len(page))] ^= 1 << chance.randrange(8)
    return bytes(changed)


DAMAGES: tuple[Callable[[bytes, random.Random], bytes], ...] = (rubbish, zeros, flipped)


EVERY = pytest.mark.parametrize("every", [pytest.param(True, marks=pytest.mark.long), False])


def damaged(whole: Whole, path: Path, every: bool) -> Iterator[int]:
    """The file with each page damaged in turn, in every way; or only the root of each tree, by rubbish."""
    content = whole.path.read_bytes()
    key_path(path).write_bytes(key_path(whole.path).read_bytes())
    key_path(path).chmod(0o600)
    chance = random.Random(15)
    with closing(sqlite3.connect(whole.path)) as raw:
        roots = [page - 1 for (page,) in raw.execute("SELECT rootpage FROM sqlite_schema")]
    for damage in DAMAGES if every else (rubbish,):
        for page in range(len(content) // PAGE) if every else roots:
            start = page * PAGE
            changed = damage(content[start : start + PAGE], chance)
            for left in path.parent.glob(f"{path.name}-*"):
                left.unlink()
            path.write_bytes(content[:start] + changed + content[start + PAGE :])
            yield page


def used(path: Path, whole: Whole) -> bool:
    """Whether a daemon, a person and an export can work with it, and it says what it said."""
    try:
        with Logbook(path) as logbook:
            logbook.append(world.readings(NOW + 2 * HOUR, NOW + 3 * HOUR, step=60.0))
            logbook.append(world.readings(world.OPENED, world.OPENED + HOUR, step=300.0))  # late ones
            logbook.close_block()
            for sensor in logbook.sensors():
                logbook.series(sensor)
                logbook.hourly(sensor)
            for kind in {one.kind for one in logbook.entries()}:
                logbook.entries(kind)
            logbook.entries(job=world.JOB)
            logbook.rejected()
            return lines_of(logbook) >= whole.lines
    except CurewatchError:
        return False


def stumbling(whole: Whole, path: Path, every: bool) -> list[int]:
    """Pages whose damage stops the work though the walk said that all holds."""
    missed = []
    for page in damaged(whole, path, every):
        try:
            with Logbook(path) as logbook:
                logbook.verify()
        except (RecordBroken, StoreFailed):
            continue
        if not used(path, whole):
            missed.append(page)
    return missed


@pytest.mark.long
@EVERY
def test_what_writes_would_stumble_over_is_found(
    whole: Whole, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, every: bool
):
    """No page can be damaged so that the walk holds and the work fails; the chain alone misses some."""
    path = tmp_path / "logbook.sqlite"
    assert stumbling(whole, path, every) == []
    monkeypatch.setattr(Logbook, "verify", lambda logbook: logbook.verify_since(0))
    assert stumbling(whole, path, every)


@pytest.mark.long
@EVERY
def test_a_salvage_keeps_all_that_verifies_and_names_the_rest(whole: Whole, tmp_path: Path, every: bool):
    """For every page and damage: the new logbook verifies, takes more, and what it lacks is on that page."""
    path, most = tmp_path / "logbook.sqlite", 0
    for page in damaged(whole, path, every):
        new = tmp_path / "new.sqlite"
        done = salvage(path, new, at=NOW + DAY)
        with Logbook(new) as logbook:
            check_seals(logbook)
            kept = lines_of(logbook)
            told = logbook.entries("salvage")[-1]
            lost = whole.lines - kept
            assert kept - {told.line} <= whole.lines, page
            assert bool(lost) == bool(done.holes or done.entries_lost or told.payload["unverified"]), page
            most = max(most, len(lost))
            assert logbook.append(world.readings(NOW + 2 * DAY, NOW + 2 * DAY + HOUR)) == 180
            logbook.close_block()
            logbook.verify()
        assert {one.name for one in tmp_path.glob("new.sqlite*")} >= {"new.sqlite"}
        for left in tmp_path.glob("new.sqlite*"):
            left.unlink()
    assert most <= 1100, "at most what two blocks hold"
    assert bool(most) == every, "roots of trees are not needed"


def test_derived_tables_are_made_anew(whole: Whole, tmp_path: Path):
    """Of a logbook whose derived tables say something else nothing is lost, and its head stays."""
    path = tmp_path / "logbook.sqlite"
    path.write_bytes(whole.path.read_bytes())
    with closing(sqlite3.connect(path)) as raw:
        raw.execute("DELETE FROM spans")
        raw.execute("UPDATE hours SET total = total + 1 WHERE hour = (SELECT max(hour) FROM hours)")
        raw.execute("UPDATE sensors SET readings = 1, latest = 5, last = x'00'")
        raw.commit()
    with Logbook(path, read_only=True) as logbook, pytest.raises(RecordBroken):
        logbook.verify()
    done = salvage(path, tmp_path / "new.sqlite", at=NOW + DAY)
    with Logbook(whole.path, read_only=True) as before, Logbook(done.path, read_only=True) as after:
        assert (done.holes, done.entries_lost, done.unverified) == ((), (), None)
        assert done.was == before.head().head == after.block_head(before.head().block)
        assert after.latest() == before.latest()
        assert after.hourly("bench").quantities["temperature"].mean.tolist() == (
            before.hourly("bench").quantities["temperature"].mean.tolist()
        )
        assert lines_of(after) - {after.entries("salvage")[0].line} == whole.lines


def cut_out(whole: Whole, tmp_path: Path) -> Salvaged:
    """Block 3 and its entries are gone without a trace; then a salvage."""
    path = tmp_path / "logbook.sqlite"
    path.write_bytes(whole.path.read_bytes())
    for one in (path, tmp_path / "new.sqlite"):
        key_path(one).write_bytes(key_path(whole.path).read_bytes())
        key_path(one).chmod(0o600)
    with closing(sqlite3.connect(path)) as raw:
        assert raw.execute("DELETE FROM blocks WHERE number = 3").rowcount == 1
        raw.execute("DELETE FROM entries WHERE block = 3")
        raw.commit()
        raw.execute("VACUUM")
    return salvage(path, tmp_path / "new.sqlite", at=NOW + DAY)


@pytest.mark.long
def test_a_hole_is_named_by_hours_and_heads_and_later_codes_hold(whole: Whole, tmp_path: Path):
    """Its hours are those of the lost block, heads stand on both sides, and a code given before proves."""
    done = cut_out(whole, tmp_path)
    with Logbook(whole.path, read_only=True) as logbook:
        (held,) = (one.rows for one in logbook.block_rows(3, 3))
        first, last = held["received"].min() / 1e3, held["received"].max() / 1e3
        heads = logbook.block_head(2), logbook.block_head(3)
    (hole,) = done.holes
    assert (hole.first, hole.last) == (3, 3)
    assert hole.start <= first <= last <= hole.end
    assert hole.end - hole.start < last - first + 2 * HOUR
    assert (hole.before, hole.after) == heads
    with Logbook(done.path) as logbook:
        assert prove(logbook, whole.code).code == whole.code
        assert logbook.verify().lost == 1
        logbook._connection.execute("DELETE FROM blocks WHERE number = 5")  # told of by nobody
        with pytest.raises(RecordBroken, match="block 5"):
            logbook.verify()


def test_a_change_of_key_that_was_lost_stops_no_later_seal(tmp_path: Path):
    """The entry is damaged away: the salvage tells its number, and the change counts as of a lost key.

    The control: where nobody told of a loss, the seal of another key is refused.
    """
    path, new = tmp_path / "logbook.sqlite", tmp_path / "new.sqlite"
    with Logbook(path) as logbook:
        seal(logbook, reason="day", at=NOW)
        logbook.close_block()
        change_key(logbook, NOW + 1)
        logbook.close_block()
        later = seal(logbook, reason="day", at=NOW + 2)
        logbook.write(Entry(EntryKind.NOTE, {"text": "after it"}, NOW + 3))
    with closing(sqlite3.connect(path, isolation_level=None)) as raw:
        assert raw.execute("DELETE FROM entries WHERE kind = 'key'").rowcount == 1
        raw.execute("VACUUM")
    salvage(path, new, at=NOW + DAY)
    key_path(new).write_bytes(key_path(path).read_bytes())
    key_path(new).chmod(0o600)
    with Logbook(new) as logbook:
        logbook.verify()
        signed = check_seals(logbook)
        assert [change.reason for change in signed.changes] == ["lost"]
        assert signed.key == later.public_key
        assert prove(logbook, later.code).code == later.code
        assert seal(logbook, reason="day", at=NOW + 2 * DAY).public_key == later.public_key
        told = logbook.entries((EntryKind.SEAL, EntryKind.KEY))
        with pytest.raises(RecordBroken, match="key"):
            check_signed(told, lambda one: one.head)


@pytest.mark.long
def test_no_record_bridges_a_hole(whole: Whole, tmp_path: Path):
    """A record of the job is refused by the lost block's number; from the whole logbook it is written."""
    done = cut_out(whole, tmp_path)
    with Logbook(done.path) as logbook, pytest.raises(RecordBroken, match=r"block 3.*lost in damage"):
        write(logbook, world.JOB, tmp_path, at=NOW + 2 * DAY, pdf=False)
    assert not note_path(done.path).exists(), "nothing was sealed"
    done.path.write_bytes(whole.path.read_bytes())
    with Logbook(done.path) as logbook:
        assert write(logbook, world.JOB, tmp_path, at=NOW + 2 * DAY, pdf=False).folder


def test_a_salvage_refuses_what_it_cannot_do(whole: Whole, tmp_path: Path):
    """A file of that name, a logbook in use, and a file in which nothing verifies."""
    path, new = tmp_path / "logbook.sqlite", tmp_path / "new.sqlite"
    path.write_bytes(whole.path.read_bytes())
    new.write_bytes(b"mine")
    with pytest.raises(UsageError, match="new name"):
        salvage(path, new, at=NOW)
    with Logbook(path) as logbook:
        logbook.hold("the daemon", NOW)
        with pytest.raises(StoreFailed, match="in use by the daemon"):
            salvage(path, tmp_path / "other.sqlite", at=NOW)
    path.write_bytes(b"\x5a" * PAGE * 9)
    with pytest.raises(StoreFailed, match="nothing in it verifies"):
        salvage(path, tmp_path / "other.sqlite", at=NOW)
    assert sorted(one.name for one in tmp_path.glob("*.sqlite")) == ["logbook.sqlite", "new.sqlite"]


@pytest.mark.long
def test_a_row_in_the_log_beside_the_file_is_kept(whole: Whole, tmp_path: Path):
    """What was committed and not yet carried into the file is salvaged, too."""
    path = tmp_path / "logbook.sqlite"
    path.write_bytes(whole.path.read_bytes())
    with Logbook(path) as logbook:
        logbook._connection.execute("PRAGMA wal_autocheckpoint = 0")
        logbook.append(world.readings(NOW + DAY, NOW + DAY + 2 * HOUR))
        expected = lines_of(logbook)
        content, log = path.read_bytes(), path.with_name("logbook.sqlite-wal").read_bytes()
    assert expected > whole.lines
    path.write_bytes(content)
    path.with_name("logbook.sqlite-wal").write_bytes(log)
    done = salvage(path, tmp_path / "new.sqlite", at=NOW + 2 * DAY)
    with Logbook(done.path, read_only=True) as logbook:
        assert lines_of(logbook) - {logbook.entries("salvage")[0].line} == expected
    assert schema.VERSION == 4
