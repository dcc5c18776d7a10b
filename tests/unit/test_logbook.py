"""The logbook keeps what it was given, once, in order, and says so."""

import json
import os
import sqlite3
import subprocess
import sys
from contextlib import closing
from hashlib import sha256
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from curewatch.errors import OutOfValidity, StoreFailed, UsageError
from curewatch.logbook import Entry, Logbook, chain, columns, rows, schema, verification
from curewatch.logbook.entry import canonical, stored
from curewatch.logbook.writer import NAMES, Writer
from curewatch.readings import Flag, Reading, Rejected
from curewatch.units import DAY, HOUR, MINUTE

START = 1_795_640_400.0  # 2026-11-25T21:00Z, the demo's evening


@pytest.fixture
def logbook(tmp_path: Path):
    with Logbook(tmp_path / "shed" / "logbook.sqlite") as opened:
        yield opened


def evening(
    sensor: str = "bench", count: int = 60, step: float = MINUTE, start: float = START
) -> list[Reading]:
    """An invented evening: demo values."""
    return [
        Reading(
            sensor,
            start + step * n,
            start + step * n + 0.25,
            round(285.15 - 0.01 * n, 3),
            round(0.8 + 0.0001 * n, 5),
            sequence=n,
        )
        for n in range(count)
    ]


def test_what_was_appended_comes_back(logbook: Logbook):
    """Readings come back as they were, to a thousandth of a degree and of a per cent."""
    given_readings = evening()
    assert logbook.append(given_readings) == 60
    series = logbook.series("bench")
    assert series.time.tolist() == [r.time for r in given_readings]
    assert series.received.tolist() == [r.received for r in given_readings]
    assert series.temperature.tolist() == [r.temperature for r in given_readings]
    assert series.relative_humidity.tolist() == [r.relative_humidity for r in given_readings]
    assert np.isnan(series.quantities["carbon_dioxide"]).all()
    assert logbook.latest()["bench"] == given_readings[-1]


def test_a_second_delivery_is_harmless(logbook: Logbook):
    """The same readings again change nothing, in the same commit, in a later one, and after reopening."""
    batch = evening(count=1500)
    assert logbook.append(batch + batch[:7]) == 1500
    head = logbook.head()
    assert logbook.append([r._replace(received=r.received + 90, flags=Flag.LATE) for r in batch]) == 0
    assert logbook.head() == head
    with Logbook(logbook.path) as again:
        assert again.append(batch[100:200]) == 0
        assert again.head() == head


def test_two_different_readings_of_one_moment_are_both_kept(logbook: Logbook):
    """Only what says the same is the same reading: nothing a sensor said is thrown away."""
    first = Reading("bench", START, START, 285.0, 0.8, sequence=1)
    assert logbook.append([first, first._replace(sequence=2), first._replace(temperature=286.0)]) == 3


def test_the_head_does_not_depend_on_how_lines_are_divided_into_commits(tmp_path: Path):
    """One commit, many commits, and a reopened file lead to the same head."""
    readings = evening(count=700)
    with Logbook(tmp_path / "one.sqlite") as one:
        one.append(readings)
        whole = one.head()
    for n in range(0, 700, 70):
        with Logbook(tmp_path / "many.sqlite") as many:
            many.append(readings[n : n + 30])
            many.append(readings[n + 30 : n + 70])
            assert many.verify().head == many.head()
    with Logbook(tmp_path / "many.sqlite") as many:
        assert many.head() == whole


def test_the_head_is_the_hash_of_the_documented_bytes(logbook: Logbook):
    """The face of a block, written out by hand from the documentation, has the head as its SHA-256."""
    logbook.append([Reading("bench", START, START + 0.25, 285.49, 0.812, 0.00042, 0.93, 2, 17, 101_325.0)])
    entry = logbook.write(Entry("note", {"text": "cold"}, START, job="K9-1", recorded=START + 2))
    line = (
        "1,bench,2026-11-25T21:00:00.000Z,2026-11-25T21:00:00.250Z,2,17,12.340,81.200,420.0,93.000,1013.250\n"
    )
    text = (
        '{"at":"2026-11-25T21:00:00.000Z","block":1,"job":"K9-1","key":null,"kind":"note","number":1,'
        '"payload":{"text":"cold"},"recorded":"2026-11-25T21:00:02.000Z"}'
    )
    owner = sha256(b"job K9-1").hexdigest()[:32]
    listed = f"1,note,{owner},{sha256(text.encode()).hexdigest()}\n"
    face = (
        f"curewatch block\nform 2\nnumber 1\nprevious {'0' * 64}\n"
        f"readings 1 {sha256(line.encode()).hexdigest()}\n"
        f"entries 1 {sha256(listed.encode()).hexdigest()}\n"
    )
    assert entry.line == text
    assert logbook.head() == (1, sha256(face.encode()).hexdigest(), 1, 1)


def test_several_processes_may_append(logbook: Logbook):
    """An entry from another connection does not break the chain of the one that holds the daemon's lock."""
    logbook.hold("ingest", START)
    logbook.append(evening(count=5))
    with Logbook(logbook.path) as other:
        other.write(Entry("note", {"text": "from the bench"}, START))
    assert logbook.append(evening(count=10)) == 5
    assert logbook.verify().head == logbook.head()
    assert logbook.head().entries == 1


def plans(path: Path, questions: list[str]) -> str:
    """How SQLite answers these questions."""
    with closing(sqlite3.connect(path)) as raw:
        found = [raw.execute(f"EXPLAIN QUERY PLAN {each}").fetchall() for each in questions]
    return str([step for plan in found for *_, step in plan])


def test_a_commit_after_another_process_wrote_walks_no_index_of_times(logbook: Logbook):
    """With 300 sensors of two weeks it has three million lines. What is in it already is still found."""
    logbook.append(evening())
    logbook.close_block()
    asked: list[str] = []
    with Logbook(logbook.path) as other:
        other._connection.set_trace_callback(asked.append)
        assert other.append([*evening(), *evening("hull", 1)]) == 1
        other._connection.set_trace_callback(None)
    found = plans(logbook.path, [each for each in asked if each.startswith("SELECT")])
    assert "SEARCH spans" in found
    assert "SCAN spans" not in found
    assert "SCAN spans" in plans(logbook.path, ["SELECT sensor, max(latest) FROM spans GROUP BY sensor"])


def test_an_entry_with_a_known_key_is_not_written_twice(logbook: Logbook):
    """A repeated command with the same key gives the entry that already stands."""
    first = logbook.write(Entry("batch", {"resin_g": 100}, START, key="b1"))
    assert logbook.write(Entry("batch", {"resin_g": 999}, START + 5, key="b1")) == first
    assert len(logbook.entries()) == 1


def test_entries_are_found_by_kind_job_and_time(logbook: Logbook):
    """The three ways to ask agree with what was written."""
    for n, (kind, job) in enumerate([("note", "A"), ("batch", "A"), ("note", "B"), ("note", None)]):
        logbook.write(Entry(kind, {"n": n}, START + n * HOUR, job=job))
    assert [e.number for e in logbook.entries("note")] == [1, 3, 4]
    assert [e.number for e in logbook.entries(["note", "batch"], job="A")] == [1, 2]
    assert [e.number for e in logbook.entries(start=START + HOUR, end=START + 3 * HOUR)] == [2, 3]
    assert [e.number for e in logbook.entries(after=3)] == [4]
    assert logbook.entry(2) == logbook.entries("batch")[0]
    assert logbook.entry(9) is None


def test_late_readings_stand_in_their_place_of_time(logbook: Logbook):
    """A backlog delivered late is in order when read, and its second delivery is recognised."""
    logbook.append(evening(count=1000, start=START + DAY))
    backlog = evening(count=700)
    assert logbook.append(backlog[350:]) == 350
    assert logbook.append(backlog) == 350
    series = logbook.series("bench")
    assert len(series.time) == 1700
    assert (np.diff(series.time) >= 0).all()
    assert logbook.append(backlog) == 0
    assert logbook.verify().head.readings == 1700


def test_a_stretch_of_time_is_half_open(logbook: Logbook):
    """start <= time < end, over closed and open blocks."""
    logbook.append(evening(count=1200))
    series = logbook.series("bench", START + 500 * MINUTE, START + 1100 * MINUTE)
    assert series.time[0] == START + 500 * MINUTE
    assert series.time[-1] == START + 1099 * MINUTE
    assert len(series.time) == 600
    assert len(logbook.series("nobody").time) == 0


def test_hours_agree_with_the_readings(logbook: Logbook):
    """The rollup is what the readings give, hour by hour, however they were divided into commits."""
    readings = evening(count=300)
    for n in range(0, 300, 37):
        logbook.append(readings[n : n + 37])
    logbook.append([Reading("bench", START + 7 * HOUR, START + 7 * HOUR, 280.0)])
    hours, series = logbook.hourly("bench"), logbook.series("bench")
    warm, damp = (hours.quantities[name] for name in ("temperature", "relative_humidity"))
    assert hours.time.tolist() == [START + n * HOUR for n in (0, 1, 2, 3, 4, 7)]
    for n, begin in enumerate(hours.time):
        inside = (series.time >= begin) & (series.time < begin + HOUR)
        assert warm.readings[n] == inside.sum()
        assert warm.mean[n] == pytest.approx(series.temperature[inside].mean(), abs=1e-6)
        assert warm.lowest[n] == series.temperature[inside].min()
        assert warm.highest[n] == series.temperature[inside].max()
    assert np.isnan(damp.mean[-1])


def test_a_reading_of_unknown_age_is_of_no_hour(logbook: Logbook):
    """It is stored, and told apart; no mean of an hour has it."""
    logbook.append(evening(count=50))
    before = logbook.hourly("bench").quantities["temperature"]
    kept = int(Flag.BACKLOG | Flag.ARRIVAL_TIME)
    logbook.append([Reading("bench", START + 30.0, START + 30.0, 300.0, 0.3, flags=kept)])
    after = logbook.hourly("bench").quantities["temperature"]
    assert after.mean.tolist() == before.mean.tolist()
    assert after.highest.tolist() == before.highest.tolist()
    assert len(logbook.series("bench").time) == 51
    assert len(logbook.series("bench").dated().time) == 50
    logbook.verify()


def test_a_block_may_hold_entries_alone(logbook: Logbook):
    """Closed blocks without readings verify, and the chain goes on."""
    logbook.write(Entry("note", {}, START))
    logbook.close_block()
    logbook.write(Entry("note", {}, START))
    logbook.close()
    with Logbook(logbook.path) as again:
        again.append(evening(count=2))
        assert again.verify().blocks == 2


def test_refusals_are_counted_and_bounded(logbook: Logbook):
    """Counts by source, sensor and reason; an endless supply of names cannot fill the disk."""
    logbook.append(rejected=[Rejected("not a number", b"T=nan", START, "usb", "bench")] * 3)
    (only,) = logbook.rejected()
    assert only[1:6] == ("usb", "bench", "not a number", 3, START)
    logbook.append(
        rejected=[Rejected("no such sensor", b"x" * 9999, START, "usb", f"n{n}") for n in range(2500)]
    )
    kinds = logbook.rejected()
    assert len(kinds) <= 2002
    assert sum(one.times for one in kinds) == 2503
    assert max(len(one.last_raw) for one in kinds) <= 120


def test_notes_live_in_the_same_commit_and_outside_the_chain(logbook: Logbook):
    """A note is replaced, and does not move the head."""
    logbook.append(evening(count=2), notes={"deliveries": b"1"})
    head = logbook.head()
    logbook.append(notes={"deliveries": b"2"})
    assert logbook.note("deliveries") == b"2"
    assert logbook.note("other") is None
    assert logbook.head() == head


def test_a_reader_beside_the_writer_sees_what_is_committed(logbook: Logbook):
    """A read-only logbook follows the writer, and refuses to write."""
    logbook.append(evening(count=3))
    with Logbook(logbook.path, read_only=True) as reader:
        assert len(reader.series("bench").time) == 3
        logbook.append(evening(count=600))
        assert len(reader.series("bench").time) == 600
        assert reader.verify().head == logbook.head()
        with pytest.raises(StoreFailed, match="reading only"):
            reader.append(evening())


def test_there_is_nothing_to_read_where_no_logbook_is(tmp_path: Path):
    """Reading a logbook that is not there says so and makes no file."""
    with pytest.raises(StoreFailed, match="no logbook"):
        Logbook(tmp_path / "none.sqlite", read_only=True)
    assert list(tmp_path.iterdir()) == []


def test_one_daemon_a_logbook(logbook: Logbook):
    """A second daemon is told who holds the logbook, its process and since when."""
    logbook.hold("ingest", START)
    with Logbook(logbook.path) as second, pytest.raises(StoreFailed) as told:
        second.hold("watch", START + 60)
    assert f"ingest, process {os.getpid()}, since 2026-11-25T21:00:00.000Z" in str(told.value)


def test_the_lock_of_a_dead_process_is_no_lock(logbook: Logbook):
    """A process that ended without letting go left its name behind, and nothing else."""
    code = (
        "import os, sys; from curewatch.logbook import Logbook;"
        "Logbook(sys.argv[1]).hold('ingest', 0.0); os._exit(9)"
    )
    dead = subprocess.run([sys.executable, "-c", code, str(logbook.path)], check=False)
    assert dead.returncode == 9
    left = json.loads(logbook.path.with_name("logbook.sqlite.lock").read_text())
    assert left["holder"] == "ingest"
    logbook.hold("ingest", START)


def test_a_newer_logbook_is_refused_and_left_alone(logbook: Logbook):
    """A file of a later layout is not touched, and the message says what to do."""
    logbook.append(evening(count=1))
    logbook.close()
    with closing(sqlite3.connect(logbook.path, isolation_level=None)) as raw:
        raw.execute("PRAGMA user_version = 99")
    for read_only in (False, True):
        with pytest.raises(StoreFailed, match=r"newer version \(layout 99.*update curewatch"):
            Logbook(logbook.path, read_only=read_only)


def test_a_layout_that_cannot_be_carried_over_is_refused(logbook: Logbook):
    """One sentence, to writers and readers; the file stays as it was."""
    logbook.append(evening(count=1))
    logbook.close()
    with closing(sqlite3.connect(logbook.path, isolation_level=None)) as raw:
        raw.execute("PRAGMA user_version = 2")
        raw.execute("PRAGMA journal_mode = DELETE")
    before = logbook.path.read_bytes()
    for read_only in (False, True):
        with pytest.raises(StoreFailed, match=r"cannot carry over \(layout 2.*not touched"):
            Logbook(logbook.path, read_only=read_only)
    assert sha256(logbook.path.read_bytes()[100:]).digest() == sha256(before[100:]).digest()


def shelf(connection: sqlite3.Connection) -> None:
    connection.execute("ALTER TABLE sensors ADD COLUMN shelf TEXT")


def test_an_older_logbook_is_copied_and_carried_over(logbook: Logbook):
    """A file is copied as it was, then has the next layout with all that it held."""
    logbook.append(evening(count=4))
    head = logbook.head()
    logbook.close()
    with closing(sqlite3.connect(logbook.path, isolation_level=None)) as raw:
        schema.bring_up(raw, logbook.path, target=schema.VERSION + 1, migrations={schema.VERSION: shelf})
        assert schema.version(raw, logbook.path) == schema.VERSION + 1
    with Logbook(logbook.path.with_name(f"logbook.sqlite.layout-{schema.VERSION}")) as copy:
        assert copy.verify().head == head


def test_a_step_that_fails_leaves_the_layout_before_it(logbook: Logbook):
    """The way up is one transaction a step; the copy stays beside it."""

    def fail(connection: sqlite3.Connection) -> None:
        shelf(connection)
        raise sqlite3.OperationalError("no")

    logbook.close()
    with closing(sqlite3.connect(logbook.path, isolation_level=None)) as raw:
        with pytest.raises(sqlite3.OperationalError):
            schema.bring_up(raw, logbook.path, target=schema.VERSION + 1, migrations={schema.VERSION: fail})
        assert schema.version(raw, logbook.path) == schema.VERSION
        assert "shelf" not in [column[1] for column in raw.execute("PRAGMA table_info(sensors)")]
    assert logbook.path.with_name(f"logbook.sqlite.layout-{schema.VERSION}").exists()


def test_a_database_of_something_else_is_refused(tmp_path: Path):
    """Another program's file is named as such and not written to."""
    with closing(sqlite3.connect(tmp_path / "other.db", isolation_level=None)) as raw:
        raw.execute("CREATE TABLE things (x)")
    with pytest.raises(StoreFailed, match="not a logbook"):
        Logbook(tmp_path / "other.db")


def test_what_does_not_fit_a_row_is_the_callers_fault(logbook: Logbook):
    """A value that is not finite is refused by name, and nothing of the batch is stored."""
    with pytest.raises(OutOfValidity, match="temperature"):
        logbook.append([*evening(count=2), Reading("bench", START, START, float("nan"), 0.8)])
    assert logbook.head().readings == 0
    assert logbook.append(evening(count=2)) == 2


@given(st.text(max_size=40))
def test_a_sensor_name_becomes_one_plain_word_and_back(name: str):
    """No name can end a line, begin a formula, or carry an escape."""
    word = rows.token(name)
    assert word.isascii()
    assert word.isprintable()
    assert not set(word) & set(" ,\"'\n\r\t=+@|;<>&$`\\")
    assert not word.startswith("-")
    if not any("\ud800" <= letter <= "\udfff" for letter in name):
        assert rows.name_of(word) == name


@given(
    st.lists(
        st.tuples(
            st.integers(1, 5),
            st.integers(-(2**52), 2**52),
            st.integers(-(2**52), 2**52),
            st.integers(0, 65535),
            st.integers(-(2**63), 2**62),
            *[st.integers(-(2**31), 2**30)] * len(columns.QUANTITIES),
        ),
        max_size=30,
    )
)
def test_packed_rows_come_back(values: list[tuple[int, ...]]):
    """unpack(pack(rows)) is rows, for any integers that fit."""
    given_rows, newest = rows.of(values), columns.newest().number
    packed = rows.pack(given_rows, newest)
    assert rows.unpack(packed, newest).tolist() == given_rows.tolist()
    several = [packed, rows.pack(given_rows[::-1], newest), packed]
    found = rows.unpack_all(several, newest).tolist()
    assert found == [*given_rows.tolist(), *given_rows[::-1].tolist(), *given_rows.tolist()]


def test_names_that_utf8_cannot_say_are_kept_as_far_as_it_can(logbook: Logbook):
    """A name decoded from noise is stored, and stored once; a job named so is refused."""
    noise = Reading("b\udcff", START, START, 285.0)
    assert logbook.append([noise], rejected=[Rejected("noise", b"", START, "\udcff")]) == 1
    assert logbook.append([noise]) == 0
    assert list(logbook.sensors()) == ["b?"]
    with pytest.raises(UsageError):
        logbook.write(Entry("note", {}, START, job="\udcff"))
    assert logbook.verify().head == logbook.head()


def test_canonical_json_is_one_plain_line():
    """Keys sorted, ASCII, no control characters; what JSON cannot say is refused."""
    text = canonical({"b": "\x1b[31m\n é", "a": [1, 2.5, None]})
    assert text == '{"a":[1,2.5,null],"b":"\\u001b[31m\\n \\u00e9"}'
    with pytest.raises(UsageError):
        canonical({"x": float("nan")})
    with pytest.raises(UsageError):
        canonical({"x": object()})
    with pytest.raises(ValueError, match="not a line"):
        stored('{"number":1}')


def test_an_empty_logbook_has_a_head_too(logbook: Logbook):
    """Nothing written: block 0 and a head of zeros."""
    assert logbook.head() == (0, chain.FIRST, 0, 0)
    assert logbook.verify().head == logbook.head()
    assert logbook.close_block() == logbook.head()


def test_a_closed_block_takes_no_more_lines(logbook: Logbook):
    """After closing, the head of that block stays what it was."""
    logbook.append(evening(count=3))
    closed = logbook.close_block()
    logbook.append(evening(count=6))
    with closing(sqlite3.connect(logbook.path, isolation_level=None)) as raw:
        assert raw.execute("SELECT head FROM blocks WHERE number = 1").fetchone()[0] == closed.head
    assert logbook.head().block == 2
    assert logbook.verify().blocks == 2


def test_a_passing_logbook_is_the_same_but_waits_for_no_disk(tmp_path: Path):
    """What a replay throws away has the same chain; only a logbook that stays waits for each commit."""
    with Logbook(tmp_path / "passing", passing=True) as passing, Logbook(tmp_path / "stays") as stays:
        for opened in (passing, stays):
            opened.append(evening())
        assert passing.head() == stays.head()
        waits = [one._connection.execute("PRAGMA synchronous").fetchone()[0] for one in (passing, stays)]
    assert waits == [0, 2]


def test_a_walk_is_of_one_moment(logbook: Logbook, monkeypatch: pytest.MonkeyPatch):
    """What another process commits while the chain is walked does not make it seem broken."""
    logbook.append([Reading("bench", START + n, START + n, 285.0, 0.6) for n in range(50)])
    walked = verification._check_readings

    def meanwhile(*arguments):
        with Logbook(logbook.path) as other:
            other.append([Reading("bench", START + 100, START + 100, 285.0, 0.6)])
        return walked(*arguments)

    monkeypatch.setattr(verification, "_check_readings", meanwhile)
    with Logbook(logbook.path, read_only=True) as beside:
        assert beside.verify().head.readings == 50
    monkeypatch.undo()
    assert logbook.verify().head.readings == 51


def test_names_are_kept_a_second_time_once_a_commit(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each time all of them are written: thousands of new devices cost the square of their number."""
    written: list[int] = []
    note = Writer._note_names
    monkeypatch.setattr(Writer, "_note_names", lambda self: (written.append(1), note(self)))
    readings = [Reading(f"dev{n}", START + n, START + n, 285.0, 0.7) for n in range(60)]
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        logbook.append(readings[:50])
        assert len(written) == 1
        logbook.append(readings[:50])  # known already
        assert len(written) == 1
        logbook.append(readings[40:])
        assert len(written) == 2
        kept = json.loads(logbook.note(NAMES) or b"")
    assert kept == {str(n): reading.sensor for n, reading in enumerate(readings, 1)}
