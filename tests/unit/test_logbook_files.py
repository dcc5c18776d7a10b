"""Backup, export and retention: what leaves the logbook, and what it lets go of."""

import csv
import json
import sqlite3
import subprocess
import threading
from contextlib import closing
from pathlib import Path

import pytest

from curewatch.answers.logbook import logbook_backup_document
from curewatch.cli.screens.logbook import backup_lines
from curewatch.clock import Instant
from curewatch.errors import RecordBroken, StoreFailed, UsageError
from curewatch.export import Selection, export
from curewatch.logbook import Entry, EntryKind, Logbook, store
from curewatch.logbook.backup import backup
from curewatch.logbook.keys import key_path
from curewatch.logbook.retention import prune
from curewatch.logbook.sealing import check_seals, seal
from curewatch.readings import Reading
from curewatch.units import DAY, HOUR, MINUTE
from curewatch.wire import senml

START = 1_795_640_400.0


def month(days: float, sensor: str = "bench", step: float = 10 * MINUTE) -> list[Reading]:
    return [
        Reading(sensor, START + n * step, START + n * step, 283.15 + n % 7, 0.8, None, 0.5, 0, n)
        for n in range(int(days * DAY / step))
    ]


@pytest.fixture
def logbook(tmp_path: Path):
    with Logbook(tmp_path / "logbook.sqlite") as opened:
        yield opened


def test_a_backup_taken_while_others_write_is_whole(logbook: Logbook, tmp_path: Path):
    """The copy's chain holds, is a part of the original's, and needs no file beside it."""
    logbook.append(month(5))
    stop, readings = threading.Event(), month(60, "hull")

    def write() -> None:
        with Logbook(logbook.path) as other:
            for n in range(0, len(readings), 20):
                other.append(readings[n : n + 20])
                if stop.is_set():
                    return

    (tmp_path / "copies").mkdir()
    writing = threading.Thread(target=write)
    writing.start()
    try:
        copy = backup(logbook, tmp_path / "copies" / "copy.sqlite")
    finally:
        stop.set()
        writing.join()
    assert [path.name for path in copy.parent.iterdir()] == ["copy.sqlite"]
    with Logbook(copy, read_only=True) as opened:
        verified = opened.verify()
        assert verified.head.readings >= 720
        assert opened.block_head(1) == logbook.block_head(1)
    with pytest.raises(UsageError, match="Use a new name"):
        backup(logbook, copy)


def test_a_backup_is_put_in_place_by_the_line_that_it_shows(tmp_path: Path):
    """A daemon that was killed leaves its log: the copy alone would take the newer readings from it."""
    path, copy = tmp_path / "logbook.sqlite", tmp_path / "copy.sqlite"
    with Logbook(path) as logbook:
        logbook.append(month(1))
        document = logbook_backup_document(backup(logbook, copy), path, key_path(path))
        logbook.append(month(1, "hull"))
        log = path.with_name(f"{path.name}-wal")
        assert logbook.size() == path.stat().st_size + log.stat().st_size
        left = {each: each.read_bytes() for each in (path, log)}  # as a kill leaves it
    for each, held in left.items():
        each.write_bytes(held)
    subprocess.run(["cp", copy, path], check=True)
    with Logbook(path, read_only=True) as opened:
        assert len(opened.latest()) == 2  # the control
    for each, held in left.items():
        each.write_bytes(held)
    subprocess.run(backup_lines(document)[-1], shell=True, cwd=tmp_path, check=True)
    with Logbook(path, read_only=True) as opened:
        assert opened.verify().head.readings == len(month(1))
    with Logbook(tmp_path / "before" / "logbook.sqlite", read_only=True) as opened:
        assert len(opened.latest()) == 2


def test_a_backup_of_a_broken_chain_is_not_kept(logbook: Logbook, tmp_path: Path):
    """A copy that would not verify is refused, so the last good one is not replaced by it."""
    logbook.append(month(1))
    with closing(sqlite3.connect(logbook.path, isolation_level=None)) as raw:
        raw.execute("UPDATE blocks SET head = ?", ("0" * 64,))
    with pytest.raises(RecordBroken):
        backup(logbook, tmp_path / "copy.sqlite")
    assert not list(tmp_path.glob("copy*"))


def test_csv_holds_the_lines_of_the_chain(logbook: Logbook, tmp_path: Path):
    """Every reading once, in order, under headings; no cell of a name from outside is a formula."""
    readings = month(9)
    logbook.append(readings)
    logbook.append([Reading('=cmd|"/c calc"!A1,\n', START, START, 283.15)])
    assert export(logbook, tmp_path / "all.csv") == len(readings) + 1
    with (tmp_path / "all.csv").open(newline="") as file:
        found = list(csv.DictReader(file))
    assert [float(one["temperature_c"]) for one in found[:-1]] == [
        pytest.approx(r.temperature - 273.15) for r in readings if r.temperature
    ]
    assert found[-1]["sensor"] == "%3Dcmd%7C%22/c%20calc%22%21A1%2C%0A"
    assert not any(cell[:1] in "=+@\t" for one in found for cell in one.values() if cell)


def test_senml_reads_back_through_its_standard_fields(logbook: Logbook, tmp_path: Path):
    """One resolved record a quantity, with the units of RFC 8428 and RFC 8798."""
    logbook.append([Reading("bench", START, START, 285.49, 0.812, 0.00042, 0.93, pressure=101_325.0)])
    export(logbook, tmp_path / "out.senml")
    records = json.loads((tmp_path / "out.senml").read_text())
    assert records == [
        {"n": "bench:temperature", "t": START, "u": "Cel", "v": 12.34},
        {"n": "bench:relative_humidity", "t": START, "u": "%RH", "v": 81.2},
        {"n": "bench:carbon_dioxide", "t": START, "u": "ppm", "v": 420.0},
        {"n": "bench:battery", "t": START, "u": "%EL", "v": 93.0},
        {"n": "bench:pressure", "t": START, "u": "hPa", "v": 1013.25},
    ]
    (read,) = senml.parse((tmp_path / "out.senml").read_bytes(), Instant(START, 0.0))
    assert isinstance(read, Reading)
    told = (read.sensor, read.temperature, read.relative_humidity, read.carbon_dioxide, read.pressure)
    assert told == ("bench", *(pytest.approx(one) for one in (285.49, 0.812, 0.00042, 101_325.0)))
    export(logbook, tmp_path / "none.senml", chosen=Selection(sensor="nobody"))
    assert json.loads((tmp_path / "none.senml").read_text()) == []


def test_parquet_has_types_and_gaps(logbook: Logbook, tmp_path: Path):
    """Times are UTC timestamps, and what was not measured is null, not a number."""
    from pyarrow import parquet

    logbook.append([*month(1), Reading("hull", START, START, 280.0)])
    chosen = Selection(START, START + HOUR)
    assert export(logbook, tmp_path / "hour.parquet", chosen=chosen) == 7
    table = parquet.read_table(tmp_path / "hour.parquet")
    assert str(table.schema.field("time").type) == "timestamp[ms, tz=UTC]"
    assert table.column("humidity_percent").null_count == 1
    assert table.column("time").to_pylist()[0].timestamp() == START


def test_entries_are_exported_as_they_are_hashed(logbook: Logbook, tmp_path: Path):
    """JSON lines, byte for byte those of the chain."""
    one = logbook.write(Entry("note", {"text": "\x1b[2J"}, START))
    assert export(logbook, tmp_path / "notes.jsonl") == 1
    assert (tmp_path / "notes.jsonl").read_text() == one.line + "\n"


def test_an_export_does_not_replace_a_file(logbook: Logbook, tmp_path: Path):
    """A file of that name, an unknown form, and a folder that is not there are refused."""
    (tmp_path / "mine.csv").write_text("mine")
    with pytest.raises(UsageError, match="Use a new name"):
        export(logbook, tmp_path / "mine.csv")
    with pytest.raises(UsageError, match="Use csv"):
        export(logbook, tmp_path / "mine.xls")
    with pytest.raises(StoreFailed, match="No such file"):
        export(logbook, tmp_path / "none" / "out.csv")


def test_retention_never_touches_a_job(logbook: Logbook):
    """Readings of a job, and the two days before it, stay; so does everything while a job is open."""
    logbook.append(month(60))
    logbook.write(Entry("job-open", {"job": "K9-1"}, START + 20 * DAY, job="K9-1"))
    logbook.write(Entry("job-close", {"job": "K9-1"}, START + 22 * DAY, job="K9-1"))
    before = logbook.series("bench")
    done = prune(logbook, START + 40 * DAY, at=START + 60 * DAY)
    after = logbook.series("bench")
    assert 0 < done.readings == len(before.time) - len(after.time)
    assert done.kept_for == ("K9-1",)
    kept = (before.time >= START + 18 * DAY) & (before.time <= START + 22 * DAY + HOUR)
    assert set(before.time[kept]) <= set(after.time)
    assert START + 14 * DAY < after.time[0] <= START + 18 * DAY
    logbook.write(Entry("job-open", {"job": "K9-2"}, START + 19 * DAY, job="K9-2"))
    assert prune(logbook, START + 50 * DAY, at=START + 60 * DAY).readings == 0


def test_a_pruned_logbook_still_verifies(logbook: Logbook):
    """Heads, seals and later blocks hold; the removal is an entry; the hourly summary stays."""
    logbook.append(month(30))
    code = seal(logbook, reason="day", at=START + 30 * DAY).code
    hours = logbook.hourly("bench").quantities["temperature"].mean
    rehearsed = prune(logbook, START + 10 * DAY, at=START + 31 * DAY, rehearse=True)
    assert logbook.verify().pruned == 0
    done = prune(logbook, START + 10 * DAY, at=START + 31 * DAY)
    assert rehearsed == done
    assert logbook.verify().pruned == len(done.blocks) > 0
    assert check_seals(logbook).seals[0].code == code
    assert logbook.entries(EntryKind.PRUNE)[0].payload["readings"] == done.readings
    assert (logbook.hourly("bench").quantities["temperature"].mean == hours).all()
    assert logbook.append(month(30)[-50:]) == 0


def test_readings_that_vanish_without_an_entry_are_missed(logbook: Logbook):
    """A body removed behind the logbook's back is not taken for retention."""
    logbook.append(month(30))
    with closing(sqlite3.connect(logbook.path, isolation_level=None)) as raw:
        raw.execute("UPDATE blocks SET body = NULL WHERE number = 2")
    with pytest.raises(RecordBroken, match="block 2"):
        logbook.verify()


def test_letting_go_and_telling_of_it_are_one_commit(logbook: Logbook):
    """Cut off in the middle, neither has happened: no entry tells of readings that are still there."""
    logbook.append(month(20))
    before = logbook.series("bench").time.size

    def cut_off():
        yield 1
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):  # the fault happened
        logbook.drop_bodies(cut_off(), Entry(EntryKind.PRUNE, {}, START + 30 * DAY))
    assert logbook.entries(EntryKind.PRUNE) == []
    assert logbook.series("bench").time.size == before
    assert prune(logbook, START + 10 * DAY, at=START + 31 * DAY).readings > 0
    assert len(logbook.entries(EntryKind.PRUNE)) == 1
    logbook.verify()


@pytest.mark.parametrize(
    ("code", "said"),
    [
        (sqlite3.SQLITE_IOERR_SHMSIZE, "the disk is full; make room"),
        (sqlite3.SQLITE_FULL, "the disk is full; make room"),
        (sqlite3.SQLITE_IOERR_READ, "the disk does not answer"),
        (sqlite3.SQLITE_ERROR, "see the message of SQLite"),
    ],
)
def test_a_disk_too_full_to_open_a_logbook_is_called_full(code: int, said: str) -> None:
    """SQLite calls it an error of the disk; whoever then looks for a broken card looks in vain."""
    trouble = sqlite3.OperationalError("demo")
    trouble.sqlite_errorcode = code
    assert said in str(store.failed(Path("demo.sqlite"), trouble))
