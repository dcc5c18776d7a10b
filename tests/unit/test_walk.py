"""The walk along a small chain: what is changed is named, what was told to be gone is passed over."""

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path
from types import ModuleType

import pytest

from curewatch.errors import RecordBroken
from curewatch.logbook import Entry, EntryKind, Logbook, few_rows, rows, strands, verification
from curewatch.readings import Reading
from curewatch.units import HOUR, MINUTE

START = 1_795_640_400.0  # 2026-11-25T21:00Z
BLOCKS = 4


def filled(path: Path, *more: Entry) -> Path:
    """Four blocks, each with six readings of two sensors and two entries; the last is open."""
    with Logbook(path) as logbook:
        for block in range(BLOCKS):
            at = START + block * HOUR
            times = [(name, at + n * MINUTE) for n in range(3) for name in ("bench", "hull")]
            logbook.append([Reading(name, time, time, 285.0 + block, 0.5) for name, time in times])
            for place in range(2):
                logbook.write(Entry("note", {"text": f"{block} {place}"}, at + place + 0.25))
            if block < BLOCKS - 1:
                logbook.close_block()
        for one in more:
            logbook.write(one)
    return path


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return filled(tmp_path_factory.mktemp("walk") / "logbook.sqlite")


def changed(path: Path, *statements: str) -> None:
    with closing(sqlite3.connect(path, isolation_level=None)) as raw:
        for statement in statements:
            assert raw.execute(statement).rowcount > 0


def walked(path: Path, after: int | None = None) -> tuple[int, int, int, int, int]:
    with Logbook(path, read_only=True) as logbook:
        found = logbook.verify() if after is None else logbook.verify_since(after)
        assert found.head.block == found.blocks
        assert found.head.head == logbook.head().head
        return found.blocks, found.head.readings, found.head.entries, found.pruned, found.lost


def test_what_a_walk_counts(whole: Path) -> None:
    """From the first block, or only behind one: then its readings, and all entries."""
    assert walked(whole) == (4, 24, 8, 0, 0)
    assert [walked(whole, after)[:3] for after in range(5)] == [
        (4, 24, 8),
        (4, 18, 8),
        (4, 12, 8),
        (4, 6, 8),
        (4, 0, 8),
    ]


AT_ONCE = "2026-11-25T23:00:00.000Z to 2026-11-25T23:02:00.000Z"


@pytest.mark.parametrize(("after", "reader"), [(1, rows), (2, few_rows), (4, few_rows)])
def test_few_readings_are_read_without_numpy(
    whole: Path, monkeypatch: pytest.MonkeyPatch, after: int, reader: ModuleType
) -> None:
    """Twelve behind the block are few, and so are none; eighteen are not."""
    monkeypatch.setattr(few_rows, "MOST", 12)
    asked = list[ModuleType]()
    chosen = verification._reader

    def noted(*of: object) -> ModuleType:
        asked.append(chosen(*of))  # type: ignore[arg-type]
        return asked[-1]

    monkeypatch.setattr(verification, "_reader", noted)
    walked(whole, after)
    assert asked == [reader]


BROKEN = [
    (
        "UPDATE blocks SET number = 9 WHERE number = 4",
        "block 4: expected the next block of the chain, found block 9",
    ),
    (
        "UPDATE blocks SET previous = upper(previous) WHERE number = 3",
        "block 3: expected after head ",
    ),
    (
        "UPDATE blocks SET head = upper(head) WHERE number = 4",
        "block 4: expected head ",
    ),
    (
        "UPDATE blocks SET readings = 7 WHERE number = 3",
        f"block 3 (readings of {AT_ONCE}): expected 7 readings",
    ),
    (
        "UPDATE blocks SET readings_digest = upper(readings_digest) WHERE number = 3",
        f"block 3 (readings of {AT_ONCE})",
    ),
    (
        "UPDATE blocks SET body = x'00' WHERE number = 3",
        "block 3: expected 6 readings, found bytes that are none",
    ),
    (
        "UPDATE blocks SET body = NULL WHERE number = 3",
        "index of times of block 3: expected no readings, found sensor 1",
    ),
    (
        "UPDATE blocks SET entries = 3 WHERE number = 3",
        "entries 5 to 6 of block 3: expected 3 entries with digest ",
    ),
    (
        "UPDATE blocks SET entries_digest = upper(entries_digest) WHERE number = 3",
        "entries 5 to 6 of block 3",
    ),
    (
        "DELETE FROM entries WHERE number = 5",
        "entry 5: expected the next entry, found entry 6",
    ),
    (
        "DELETE FROM entries WHERE number > 6",
        "block 4: expected 2 entries with digest ",
    ),
    (
        "UPDATE entries SET number = 12 WHERE number = 8",
        "entry 8: expected the next entry, found entry 12",
    ),
    (
        "UPDATE entries SET line = 'x' WHERE number = 6",
        "entry 6: expected a line of the logbook",
    ),
    (
        "UPDATE entries SET line = replace(line, '2 1', '2 2') WHERE number = 6",
        "entries 5 to 6 of block 3",
    ),
    (
        "UPDATE entries SET block = 7 WHERE number = 8",
        "entries 7 to 7 of block 4: expected 2 entries",
    ),
    (
        "UPDATE entries SET at = at + 1 WHERE number = 6",
        "entry 6: expected the columns of its line: ['note', None, 1795",
    ),
    (
        "UPDATE entries SET key = 'k' WHERE number = 6",
        "entry 6: expected the columns of its line",
    ),
    (
        "UPDATE entries SET kind = 'alert' WHERE number = 6",
        "entry 6: expected the columns of its line",
    ),
    (
        "DELETE FROM spans WHERE block = 3",
        f"index of times of block 3: expected sensor 1 {AT_ONCE}, sensor 2 {AT_ONCE}",
    ),
    (
        "DELETE FROM spans WHERE block = 3 AND sensor = 2",
        "index of times of block 3: expected sensor 1 ",
    ),
    (
        "UPDATE spans SET latest = latest + 1 WHERE block = 3",
        "index of times of block 3",
    ),
    (
        "INSERT INTO spans (block, sensor, earliest, latest) VALUES (4, 1, 0, 0)",
        "index of times of block 4: expected no readings, found sensor 1 1970",
    ),
    (
        "INSERT INTO spans (block, sensor, earliest, latest) VALUES (9, 1, 0, 0)",
        "index of times of block 9: expected no readings, found sensor 1 1970",
    ),
    (
        f"UPDATE spans SET latest = '{'y' * 50}' WHERE block = 3 AND sensor = 1",
        f"to {'y' * 40}, sensor 2 ",
    ),
]


@pytest.mark.parametrize(("statement", "told"), BROKEN, ids=[one[:50] for one, _ in BROKEN])
def test_what_is_changed_is_named(whole: Path, tmp_path: Path, statement: str, told: str) -> None:
    """By both walks. The control, a chain in which nothing is changed, is the test above."""
    path = Path(shutil.copy(whole, tmp_path / "logbook.sqlite"))
    changed(path, statement)
    for after in (None, 2):
        with pytest.raises(RecordBroken) as broken:
            walked(path, after)
        assert told in str(broken.value)


@pytest.mark.parametrize(
    ("statement", "told"),
    [
        (
            "UPDATE notes SET value = x'00' WHERE key = 'strand 1-2 2'",
            "the strand of sensor 2, blocks 1 to 2: expected 6 readings",
        ),
        (
            "UPDATE notes SET key = 'strand 3-4 2' WHERE key = 'strand 1-2 2'",
            "the strand of sensor 2, blocks 3 to 4: expected 6 readings",
        ),
        (
            "UPDATE sensors SET readings = 13 WHERE number = 2",
            "the table of sensors, sensor 2: expected 12 readings",
        ),
    ],
)
def test_what_is_made_from_the_readings_is_compared_by_the_whole_walk(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, statement: str, told: str
) -> None:
    """Strands of two blocks, of the last two as well, and the counts. The control: it holds before."""
    monkeypatch.setattr(strands, "SHELF", 2)
    monkeypatch.setattr(strands, "SEVERAL", 1)
    path = filled(tmp_path / "logbook.sqlite")
    assert walked(path)[0] == BLOCKS
    changed(path, statement)
    with pytest.raises(RecordBroken) as broken:
        walked(path)
    assert str(broken.value).startswith(told)


def test_an_entry_of_a_block_that_is_none_is_left_over(whole: Path, tmp_path: Path) -> None:
    """All of its block holds, and it stands behind."""
    path = Path(shutil.copy(whole, tmp_path / "logbook.sqlite"))
    changed(path, "INSERT INTO entries SELECT 9, 5, kind, job, at, NULL, line FROM entries WHERE number = 8")
    with pytest.raises(
        RecordBroken, match="entry 9: expected an entry of a block of the chain, found block 5"
    ):
        walked(path)


def test_readings_are_gone_where_an_entry_tells_that_they_were_pruned(tmp_path: Path) -> None:
    """First and last of a range among them; not one before it, nor one behind."""
    path = filled(tmp_path / "logbook.sqlite", Entry(EntryKind.PRUNE, {"blocks": [[2, 3]]}, START + 9 * HOUR))
    taken = "UPDATE blocks SET body = NULL WHERE number {0}", "DELETE FROM spans WHERE block {0}"
    changed(path, *(each.format("IN (2, 3)") for each in taken))
    assert walked(path) == (5, 24, 9, 2, 0)
    assert walked(path, 1)[3] == 2
    for beside in (1, 4):
        other = Path(shutil.copy(path, tmp_path / f"{beside}.sqlite"))
        changed(other, *(each.format(f"= {beside}") for each in taken))
        with pytest.raises(
            RecordBroken, match=f"block {beside}: expected its readings, or an entry that they"
        ):
            walked(other)
        assert walked(other, beside - 1)[3] > 0  # a walk from here on does not see every entry


def test_one_block_more_than_a_salvage_tells_is_named(tmp_path: Path) -> None:
    """The first of the two that are gone was told."""
    told = Entry(EntryKind.SALVAGE, {"blocks": [[2, 2]]}, START + 9 * HOUR)
    path = filled(tmp_path / "logbook.sqlite", told)
    changed(path, "DELETE FROM blocks WHERE number IN (2, 3)")
    with pytest.raises(RecordBroken, match="block 2: expected the next block of the chain, found block 4"):
        walked(path)


@pytest.mark.parametrize("last", [6, 5])
def test_what_a_salvage_tells_to_be_lost_is_passed_over(tmp_path: Path, last: int) -> None:
    """A whole block with its entries, the readings of one, the entries of one. No more than was told."""
    lost = {"blocks": [[2, 2]], "blocks_without_readings": [[1, 1]], "blocks_without_entries": [[3, 3]]}
    told = Entry(EntryKind.SALVAGE, lost | {"entries": [[3, 4], [5, last]]}, START + 9 * HOUR)
    path = filled(tmp_path / "logbook.sqlite", told)
    changed(
        path,
        "DELETE FROM blocks WHERE number = 2",
        "DELETE FROM spans WHERE block IN (1, 2)",
        "DELETE FROM entries WHERE number IN (3, 4, 5, 6)",
        "UPDATE blocks SET body = NULL WHERE number = 1",
    )
    if last == 6:
        assert walked(path) == (5, 18, 9, 1, 3)
        return
    with pytest.raises(RecordBroken, match="entry 3: expected the next entry, found entry 7"):
        walked(path)
