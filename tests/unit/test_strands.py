"""Readings of a few of many sensors, out of strands: what the blocks say, to the last bit."""

import random
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from zlib import crc32

import numpy as np
import pytest

from curewatch.errors import RecordBroken
from curewatch.logbook import Logbook, open_logbook, rows, series, strands
from curewatch.logbook.retention import prune
from curewatch.logbook.salvage import salvage
from curewatch.logbook.tables import Tables
from curewatch.readings import Flag, Reading
from curewatch.shed.past_grid import PastGrid
from curewatch.units import DAY, HOUR, MINUTE
from tests.database import DatabaseServer

NOW = 1_795_640_400.0
SENSORS = [f"s{number}" for number in range(6)]
EVERY = (1, 2, 7)  # blocks of a shelf


@pytest.fixture
def served(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[int]]:
    """Shelves of two blocks, two sensors are few; the shelves that were read from strands."""
    monkeypatch.setattr(strands, "FEW", 2)
    monkeypatch.setattr(strands, "SEVERAL", 2)
    monkeypatch.setattr(strands, "SHELF", 2)
    found: list[int] = []
    real = strands.read

    def read(*asked: object) -> list[strands.Strand] | None:
        kept = real(*asked)  # type: ignore[arg-type]
        found.extend([asked[1]] if kept is not None else [])  # type: ignore[list-item]
        return kept

    monkeypatch.setattr(strands, "read", read)
    return found


@pytest.fixture
def slowly(monkeypatch: pytest.MonkeyPatch) -> Callable[[Callable[[], object]], object]:
    """What is read where there are no strands."""

    def without(ask: Callable[[], object]) -> object:
        with monkeypatch.context() as patch:
            patch.setattr(strands, "read", lambda *_: None)
            return ask()

    return without


def heard(chance: random.Random, at: float, received: float) -> Reading:
    """What one of the sensors said; at times a half, by a doubtful clock, of unknown age, or corrected."""
    kind = chance.random()
    warm = None if kind < 0.2 else chance.uniform(270.0, 300.0)
    damp = None if 0.2 <= kind < 0.4 else chance.uniform(0.3, 0.99)
    doubts = (Flag.NONE, Flag.NONE, Flag.CLOCK_DOUBT, Flag.CORRECTED, Flag.RETAINED | Flag.ARRIVAL_TIME)
    return Reading(chance.choice(SENSORS), at, received, warm, damp, flags=chance.choice(doubts))


def some(chance: random.Random, now: float) -> list[Reading]:
    """New ones, late ones, some that come again, and others of the very same moment."""
    found = [heard(chance, now - chance.uniform(0.0, 20 * MINUTE), now) for _ in range(chance.randrange(40))]
    if chance.random() < 0.4:
        found += [heard(chance, now - chance.uniform(0.0, 10 * DAY), now) for _ in range(5)]
    return [*found, *found[:3], *(heard(chance, one.time, now) for one in found[:5])]


def plain(found: series.Series) -> list[bytes]:
    return [each.tobytes() for each in (*found[:4], *found.quantities.values())]


def asked(logbook: Logbook, chance: random.Random, now: float) -> Callable[[], object]:
    """A stretch of one or two sensors, and the past of a shed whose places they are."""
    names = chance.sample(SENSORS, 2)
    start = now - chance.uniform(0.0, 12 * DAY)
    end = start + chance.uniform(0.0, 12 * DAY)
    places = dict(zip(("air", "outside"), names, strict=True))

    def ask() -> object:
        every = logbook.every_series(names, start, end)
        past = PastGrid().past(logbook, places, now)
        return [*map(plain, (*every.values(), logbook.series(names[0]))), [each.tobytes() for each in past]]

    return ask


@pytest.mark.long
@pytest.mark.few(4)
@pytest.mark.parametrize("seed", range(6))
def test_strands_say_what_the_blocks_say(
    tmp_path: Path,
    served: list[int],
    slowly: Callable[..., object],
    seed: int,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Random histories: late, half, doubtful and equal ones, pruning, another sensor in each role."""
    chance, now = random.Random(seed), NOW
    monkeypatch.setattr(strands, "SHELF", chance.choice(EVERY))
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        for _ in range(30):
            now += chance.choice((MINUTE, HOUR, 7 * HOUR))
            logbook.append(some(chance, now))
            if chance.random() < 0.6:
                logbook.close_block()
            if chance.random() < 0.05:
                prune(logbook, now - 5 * DAY, at=now)
            ask = asked(logbook, chance, now)
            assert ask() == slowly(ask)
        logbook.verify()
    assert served, "no strand was read"


def shelves(path: Path, count: int) -> Logbook:
    """Some shelves of all sensors."""
    logbook = Logbook(path)
    for block in range(2 * count):
        at = NOW + HOUR * block
        logbook.append([Reading(name, at + n, at + n, 280.0 + n, 0.5) for n, name in enumerate(SENSORS)])
        logbook.close_block()
    return logbook


def changed(logbook: Logbook, key: str, change: Callable[[bytes], bytes]) -> None:
    kept = logbook.note(key)
    assert kept
    logbook.append(notes={key: change(kept)})


def test_a_strand_that_is_not_as_it_was_written_is_not_read(
    tmp_path: Path, served: list[int], slowly: Callable[..., object]
) -> None:
    """Bits of it by chance: the blocks are read, verify names it; a salvage makes it anew."""
    with shelves(tmp_path / "logbook.sqlite", 2) as logbook:
        whole = logbook.note("strand 3-4 1")
        assert whole
        right = plain(logbook.series("s0"))
        for bit in random.Random(4).sample(range(16, 8 * len(whole)), 25):  # before that is the form
            broken = bytearray(whole)
            broken[bit // 8] ^= 1 << bit % 8
            logbook.append(notes={"strand 3-4 1": bytes(broken)})
            served.clear()
            assert plain(logbook.series("s0")) == right
            assert served == [0]
        with pytest.raises(RecordBroken, match="strand of sensor 1, blocks 3 to 4"):
            logbook.verify()
    done = salvage(tmp_path / "logbook.sqlite", tmp_path / "new.sqlite", at=NOW + 9 * DAY)
    with Logbook(done.path, read_only=True) as logbook:
        assert logbook.note("strand 3-4 1") == whole
        logbook.verify()


def warmer(kept: bytes) -> bytes:
    """A strand of other readings, well made."""
    found = rows.unpack(kept[strands.FACE :], int.from_bytes(kept[:2], "little")).copy()
    found["temperature"] += 1
    body = rows.pack(found, 2)
    return kept[:2] + crc32(body).to_bytes(4, "little") + body


def test_a_strand_that_says_something_else_is_found(tmp_path: Path, served: list[int]) -> None:
    """One of other readings, well made: verify names it, and it does change what is read."""
    with shelves(tmp_path / "logbook.sqlite", 2) as logbook:
        logbook.verify()
        right = plain(logbook.series("s0"))

        changed(logbook, "strand 1-2 1", warmer)
        assert plain(logbook.series("s0")) != right
        with pytest.raises(RecordBroken, match="sensor 1, blocks 1 to 2: expected 2 readings"):
            logbook.verify()


@pytest.mark.parametrize("lost", [4, 6])
def test_a_strand_of_a_shelf_whose_last_block_is_lost_is_compared_too(
    tmp_path: Path, served: list[int], lost: int
) -> None:
    """A salvage goes on without that block. Where the next shelf, or none, follows."""
    with shelves(tmp_path / "logbook.sqlite", 3) as logbook:
        bent = warmer(logbook.note(strands._key(lost // 2 - 1, 1)) or b"")
    with closing(sqlite3.connect(tmp_path / "logbook.sqlite")) as connection, connection:
        connection.execute("DELETE FROM blocks WHERE number = ?", (lost,))
    done = salvage(tmp_path / "logbook.sqlite", tmp_path / "new.sqlite", at=NOW + 9 * DAY)
    with Logbook(done.path) as logbook:
        logbook.verify()
        logbook.append(notes={strands._key(lost // 2 - 1, 1): bent})
        with pytest.raises(RecordBroken, match=f"sensor 1, blocks {lost - 1} to {lost}"):
            logbook.verify()


def test_blocks_that_are_let_go_meanwhile_are_passed_over(
    tmp_path: Path, served: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another process prunes between two questions: what is left is told, as if it had been asked later."""
    asked = series._spans
    for few in (2, 0):  # out of strands; out of blocks
        monkeypatch.setattr(strands, "FEW", few)
        with shelves(tmp_path / f"{few}.sqlite", 3) as logbook:

            def meanwhile(tables: Tables, *words: object) -> Iterator[object]:
                found = list(asked(tables, *words))  # type: ignore[arg-type]
                with Logbook(logbook.path) as other:
                    prune(other, NOW + 2 * HOUR + MINUTE, at=NOW + 9 * DAY)
                return iter(found)

            with monkeypatch.context() as patch:
                patch.setattr(series, "_spans", meanwhile)
                assert logbook.series("s0").time.tolist() == [NOW + HOUR * block for block in (3, 4, 5)]


def test_readings_that_are_let_go_are_in_no_strand(
    tmp_path: Path, served: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of a shelf of which half is let go nothing is kept by sensors; verify finds it where it is."""
    with shelves(tmp_path / "logbook.sqlite", 3) as logbook:
        pruned = prune(logbook, NOW + 2 * HOUR + MINUTE, at=NOW + 9 * DAY).blocks
        assert pruned == (1, 2, 3)
        assert [bool(logbook.note(strands._key(shelf, 1))) for shelf in range(3)] == [False, False, True]
        assert logbook.series("s0").time.tolist() == [NOW + HOUR * block for block in (3, 4, 5)]
        logbook.verify()
        monkeypatch.setattr(strands, "let_go", lambda *_: None)
        assert prune(logbook, NOW + 4 * HOUR + MINUTE, at=NOW + 9 * DAY).blocks == (4, 5)
        assert len(logbook.series("s0").time) == 2, "the strand has one that was let go"
        with pytest.raises(RecordBroken, match="sensor 1, blocks 5 to 6: expected 1 readings"):
            logbook.verify()


def test_a_copy_has_the_same_strands(tmp_path: Path, served: list[int], server: DatabaseServer) -> None:
    """Carried block by block, in a file and in a database; a logbook of few sensors has none."""
    place = server.address(tmp_path / "shed.address", tmp_path.name)
    with (
        shelves(tmp_path / "logbook.sqlite", 2) as home,
        Logbook(tmp_path / "copy.sqlite") as file,
        open_logbook(place) as database,
    ):
        keys = [strands._key(shelf, sensor) for shelf in range(2) for sensor in range(1, len(SENSORS) + 1)]
        for copy in (file, database):
            for number in range(1, 5):
                assert copy.take_block(home.block_bytes(number))
            assert [copy.note(key) for key in keys] == [home.note(key) for key in keys]
            assert plain(copy.series("s3")) == plain(home.series("s3"))
            copy.verify()
        assert None not in [home.note(key) for key in keys]
    assert served == [0, 1] * 4


def test_a_logbook_of_few_sensors_has_no_strands(tmp_path: Path, served: list[int]) -> None:
    """They would gain nothing there."""
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        for hour in range(4):
            at = NOW + HOUR * hour
            logbook.append([Reading(name, at, at, 280.0, 0.5) for name in SENSORS[:2]])
            logbook.close_block()
        assert logbook.note("strand 1-2 1") is None
        assert np.array_equal(logbook.series("s0").time, NOW + HOUR * np.arange(4))
        logbook.append([Reading("s2", NOW, NOW, 280.0, 0.5)])
        logbook.close_block()
        logbook.append([Reading("s2", NOW + 1, NOW, 280.0, 0.5)])
        logbook.close_block()
        assert logbook.note("strand 5-6 3")


def test_a_block_that_is_closed_meanwhile_is_read_once(
    tmp_path: Path, served: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another process ends the block, and the shelf, between two questions: the answer is of one moment."""
    opened = series._open
    with shelves(tmp_path / "logbook.sqlite", 2) as logbook:
        asks = (
            lambda: plain(logbook.series("s0")),
            lambda: plain(logbook.every_series(["s0"])["s0"]),
            lambda: plain(logbook.every_series(SENSORS)["s0"]),
            lambda: logbook.few_readings(["s0"]),
        )
        for number, ask in enumerate([*asks, *asks]):
            at = NOW + DAY + number * HOUR
            logbook.append([Reading(name, at, at, 280.0, 0.5) for name in SENSORS])
            right = ask()

            def meanwhile(tables: Tables, at: float = at) -> series._Open:
                found = opened(tables)
                with Logbook(logbook.path) as other:
                    other.append([Reading("s0", at + MINUTE, at + MINUTE, 281.0, 0.5)])
                    other.close_block()
                return found

            with monkeypatch.context() as patch:
                patch.setattr(series, "_open", meanwhile)
                assert ask() == right
        assert set(served) >= {0, 1, 2, 3}
        logbook.append([Reading("s0", NOW + 3 * DAY, NOW, 280.0, 0.5)])
        taken = opened(logbook._tables)
        logbook.close_block()
        monkeypatch.setattr(series, "_open", lambda _: taken._replace(number=2**62))
        assert logbook.series("s0").time[-2:].tolist() == [NOW + 3 * DAY] * 2, "read twice"


def test_shelves_of_another_size_are_other_strands(
    tmp_path: Path, served: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    """An edition that fills larger shelves takes no strand of smaller ones for one of its own."""
    with shelves(tmp_path / "logbook.sqlite", 3) as logbook:
        right = plain(logbook.series("s0"))
        assert served == [0, 1, 2]
        monkeypatch.setattr(strands, "SHELF", 3)
        assert plain(logbook.series("s0")) == right
        assert served == [0, 1, 2]
        logbook.verify()
