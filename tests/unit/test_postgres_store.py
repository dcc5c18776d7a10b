"""A logbook in PostgreSQL is the logbook of the SQLite file: the same blocks, heads, seals and answers."""

import random
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from curewatch.errors import RecordBroken, StoreFailed, UsageError
from curewatch.logbook import Entry, EntryKind, Logbook, LogbookStore, keys, open_logbook, rows
from curewatch.logbook.backup import backup
from curewatch.logbook.block import OpenBlock
from curewatch.logbook.postgres.tables import PostgresTables
from curewatch.logbook.retention import prune
from curewatch.logbook.sealing import check_seals, seal
from curewatch.readings import Flag, Reading, Rejected
from curewatch.record import writing
from curewatch.units import DAY, HOUR
from tests import record_world as world
from tests.database import DatabaseServer, needs_postgres

START = 1_795_640_400.0


def history(seed: int, steps: int) -> Iterator[tuple[str, Any]]:
    """Random steps of a shed: batches, late ones, repeats, notes, corrections, seals, pruning, keys."""
    chance = random.Random(seed)
    now, told, sealed = START, 0, False
    sent: list[Reading] = []
    for step in range(steps):
        now += chance.choice((60.0, HOUR, 7 * HOUR))
        if chance.random() < 0.7:
            batch = [spoken(chance, now + n * 10.0, n) for n in range(chance.choice((1, 20, 300)))]
            sent += batch
            yield "append", batch + chance.sample(sent, min(len(sent), 5))
        note, job = {"text": f"step {step}"}, chance.choice((None, "K9-1"))
        correction = {"corrects": told, "changes": {"text": "x"}, "reason": "slip"}
        refused = Rejected(chance.choice(("range", "stamp")), b"\0raw", now, "mqtt", "bench")
        what = chance.randrange(9)
        if (what == 2 and not told) or (what == 7 and not sealed):
            continue
        sealed = sealed or what == 5
        yield (
            ("write", Entry(EntryKind.NOTE, note, now, job=job)),
            ("write", Entry(EntryKind.NOTE, note, now, key="once")),
            ("write", Entry(EntryKind.CORRECTION, correction, now)),
            ("rejected", [refused, refused]),
            ("close", None),
            ("seal", now),
            ("prune", now - chance.choice((1, 2)) * DAY),
            ("key", now),
            ("again", sent[-3:]),
        )[what]
        told += what in (0, 1, 2)


def spoken(chance: random.Random, now: float, n: int) -> Reading:
    """A reading of one of four sensors; now and then a late one, or one of unknown age."""
    sensor = chance.choice(("bench", "hull", "yard ä", "sensor\0x"))
    at = now - (chance.choice((0.0, 3 * DAY)) if chance.random() < 0.05 else 0.0)
    humidity = None if sensor == "hull" else round(chance.uniform(0.3, 1.0), 5)
    flags = Flag.RETAINED | Flag.ARRIVAL_TIME if chance.random() < 0.03 else Flag.NONE
    temperature = round(chance.uniform(270, 310), 3)
    return Reading(sensor, at, now + 0.3, temperature, humidity, flags=flags, sequence=n)


def both(file: Logbook, database: LogbookStore, what: str, given: Any) -> None:
    """One step in both; what they answer is the same. A new key is made once."""
    if what == "key":
        made = keys.change_key(file, given)
        shutil.copy(keys.key_path(file.path), keys.key_path(database.path))
        entry = Entry(made.kind, made.payload, made.at, recorded=made.recorded, key=made.key, job=made.job)
        assert database.write(entry) == made
    else:
        assert act(file, what, given) == act(database, what, given), what


def act(logbook: LogbookStore, what: str, given: Any) -> Any:
    """One step, and what the store answers."""
    if what in ("append", "again"):
        return logbook.append(given, notes={"note": repr(len(given)).encode()})
    if what == "write":
        return logbook.write(given)
    if what == "rejected":
        return logbook.append(rejected=given)
    if what == "close":
        return logbook.close_block()
    if what == "seal":
        return seal(logbook, at=given, reason="day").code
    return prune(logbook, given, at=given + 2 * DAY)


REJECTED = 8  # its place among the answers


def plain(series: Any) -> list[Any]:
    """Arrays as lists that can be compared."""
    columns = (each for one in series.quantities.values() for each in np.atleast_2d(one))
    return [series.time.tolist(), *(np.nan_to_num(one, nan=-1.0).tolist() for one in columns)]


def answers(logbook: LogbookStore) -> list[Any]:
    """Whatever can be asked of a store, in a form that can be compared."""
    start, end = START, START + 2 * DAY
    every = logbook.every_series(("bench", "nobody", "hull"), start, end)
    return [
        logbook.head(),
        logbook.faces(),
        logbook.names(),
        logbook.sensors(),
        logbook.latest(),
        logbook.entries(),
        logbook.entries(EntryKind.NOTE, job="K9-1", start=start, after=2),
        logbook.entries([]),
        logbook.rejected(),
        logbook.verify(),
        logbook.verify_since(1),
        [logbook.note(key) for key in ("note", "none")],
        logbook.prunable(end, []),
        logbook.blocks_between(start, end),
        logbook.lost(),
        [(one.block, one.form, one.rows.tobytes()) for one in logbook.blocks(start, end, "bench")],
        [(one.block, one.rows.tobytes()) for one in logbook.block_rows(1, 5)],
        [plain(one) for one in (*every.values(), logbook.series("yard ä"), logbook.hourly("bench"))],
        [one.code for one in check_seals(logbook).seals],
    ]


def test_both_stores_are_one(server: DatabaseServer, tmp_path: Path) -> None:
    """Over a random history each answer is the same, and in the end every head, row, entry and seal."""
    whole(server, tmp_path, 2, 16)


@pytest.mark.long
@pytest.mark.parametrize("seed", range(3, 40))
def test_both_stores_are_one_at_length(server: DatabaseServer, tmp_path: Path, seed: int) -> None:
    """The same over many histories."""
    whole(server, tmp_path, seed, 30)


def whole(server: DatabaseServer, tmp_path: Path, seed: int, steps: int) -> None:
    place = server.address(tmp_path / "shed.address", f"{tmp_path.name}")
    with Logbook(tmp_path / "shed.sqlite") as file, open_logbook(place) as database:
        keys.signing_key(file)
        shutil.copy(keys.key_path(file.path), keys.key_path(place))
        for what, given in history(seed, steps):
            both(file, database, what, given)
        assert answers(file) == answers(database)
        assert [one.code for one in check_seals(database).seals] == [
            one.code for one in check_seals(file).seals
        ]
        numbers = [face.number for face, _ in file.faces()]
        carried = [one for one in numbers[:-1] if not _pruned(file, one)]
        assert [file.block_bytes(one) for one in carried] == [database.block_bytes(one) for one in carried]
        copied = backup(database, tmp_path / "copy.sqlite")
    with open_logbook(copied) as copy, open_logbook(place, read_only=True) as again:
        assert answers(copy) == answers(again)
        more = [Reading("bench", START + 90 * DAY, START + 90 * DAY, 285.0, 0.5)]
        assert copy.append(more) == 1
        assert copy.verify().head.readings == again.head().readings + 1
        with pytest.raises(StoreFailed, match="for reading only"):
            again.append(more)


def _pruned(logbook: LogbookStore, number: int) -> bool:
    try:
        logbook.block_bytes(number)
    except UsageError:
        return True
    return False


def logged_bytes(server: DatabaseServer, place: Path, count: int) -> float:
    """Write-ahead log a reading, page images after a checkpoint included, at batches of 100."""
    said = list(world.readings(world.OPENED, world.OPENED + count * 20.0))[:count]
    with server.connect() as owner, open_logbook(place) as logbook:
        owner.execute("CHECKPOINT")
        begun = owner.execute("SELECT pg_current_wal_insert_lsn()").fetchone()[0]
        for first in range(0, count, 100):
            logbook.append(said[first : first + 100])
        used = owner.execute("SELECT pg_wal_lsn_diff(pg_current_wal_insert_lsn(), %s)", (begun,)).fetchone()
    return float(used[0]) / count


@pytest.mark.long
def test_the_open_block_is_appended_to_the_log_of_the_database(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, record_property: Any
) -> None:
    """At most 200 bytes of write-ahead log a reading; rewriting the block with each commit takes more."""
    needs_postgres()
    whole_pages = DatabaseServer("pages", "fsync = off")
    try:
        server = whole_pages.make().start().prepared()
        took = logged_bytes(server, server.address(tmp_path / "a.address", "a"), 54_000)
        record_property("bytes of write-ahead log a reading", took)
        assert took <= 200
        whole = PostgresTables.save_block

        def rewriting(self: PostgresTables, block: OpenBlock, taken: rows.Rows, *, closed: bool) -> None:
            self.execute("DELETE FROM tail WHERE block = ?", (block.number,))
            whole(self, block, block.rows() if not closed else taken, closed=closed)

        monkeypatch.setattr(PostgresTables, "save_block", rewriting)
        again = logged_bytes(server, server.address(tmp_path / "b.address", "b"), 54_000)
        record_property("the same, the open block rewritten", again)
        assert again > 1.5 * took
    finally:
        whole_pages.remove()


@pytest.mark.long
def test_a_sheds_blocks_and_its_record_are_the_same_in_the_database(
    server: DatabaseServer, tmp_path: Path
) -> None:
    """Closed blocks are taken as bytes; a fork is refused by name; the cure record has the same files."""
    home = tmp_path / "shed.sqlite"
    world.fill(home, step=1800.0)
    place = server.address(tmp_path / "shed.address", f"carried {tmp_path.name}")
    shutil.copy(keys.key_path(home), keys.key_path(place))
    at = world.OPENED + 30 * DAY
    with Logbook(home) as file, open_logbook(place) as database:
        file.close_block()
        carried = [file.block_bytes(number) for number in range(1, file.head().block + 1)]
        with pytest.raises(RecordBroken, match="block 1, the next"):
            database.take_block(carried[1])
        assert [database.take_block(one) for one in carried] == [True] * len(carried)
        assert [database.take_block(one) for one in carried] == [False] * len(carried)
        said = [answers(one) for one in (file, database)]
        assert said[0].pop(REJECTED)  # counts are no part of the chain until a seal tells them
        assert said[1].pop(REJECTED) == []
        assert said[0] == said[1]
        made = [
            writing.write(one, world.JOB, tmp_path / one.path.suffix[1:], at=at, pdf=False).folder
            for one in (file, database)
        ]
        both = [
            {each.name: each.read_bytes() for each in one.rglob("*") if each.is_file()} for one in made if one
        ]
        assert len(both[0]) > 5
        assert both[0] == both[1]
        database.append([Reading("bench", at, at, 285.0, 0.5)])
        file.append([Reading("bench", at + 1, at + 1, 285.0, 0.5)])
        for one in (file, database):
            one.close_block()
        with pytest.raises(RecordBroken, match="the chain has forked"):
            database.take_block(file.block_bytes(file.head().block))
        with pytest.raises(RecordBroken, match="the chain has forked"):
            file.take_block(database.block_bytes(database.head().block))
