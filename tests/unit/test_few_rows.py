"""Few rows are read without numpy, and what is read is the same, number by number and byte by byte."""

import sqlite3
import zlib
from contextlib import closing
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as some

from curewatch.errors import RecordBroken
from curewatch.logbook import Logbook, columns, few_rows, rows
from curewatch.readings import Flag, Reading
from curewatch.shed import recall
from curewatch.units import MINUTE
from tests.examples import up_to

START = 1_795_000_000.0
TOKENS = {1: "bench", 2: "hull", 65_535: "yard%20wall"}
WHOLE = some.one_of(some.just(columns.NOTHING), some.integers(-(2**31), 2**31 - 1), some.integers(-9, 9))
LONG = some.one_of(some.integers(-(2**53), 2**53), some.integers(1_795_000_000_000, 1_795_099_999_999))
ROW = some.tuples(
    some.sampled_from(sorted(TOKENS)),
    LONG,
    LONG,
    some.integers(0, 65_535),
    some.one_of(some.just(rows.NO_SEQUENCE), some.integers(-(2**62), 2**62)),
    *([WHOLE] * len(columns.newest().quantities)),
)
FORMS = range(1, columns.newest().number + 1)


YEARS = (
    -62_135_596_800_001,
    -62_135_596_800_000,
    -30_610_224_000_001,
    253_402_300_799_999,
    253_402_300_800_000,
)


@example([(1, at, 0, 0, 5, *[7] * len(columns.newest().quantities)) for at in YEARS], FORMS[-1])
@example([(1, at, at, 0, 5, *[7] * len(columns.newest().quantities)) for at in YEARS[1:-1]], FORMS[-1])
@given(some.lists(ROW, max_size=30), some.sampled_from(FORMS))
def test_rows_are_read_the_same(given_rows: list[tuple[int, ...]], form: int) -> None:
    """Open and closed, of each form, whatever numbers fit: rows, spans, and lines of the chain."""
    taken = rows.of(given_rows)
    padded = rows.to_bytes(taken, form) + bytes(2 * columns.form(form).size)
    for body, closed in ((padded, False), (rows.pack(taken, form), True)):
        expected = rows.read(body, form, closed=closed)
        found = few_rows.read(body, form, closed=closed)
        assert found == [tuple(one) for one in expected.tolist()]
        assert few_rows.spans(found) == rows.spans(expected)
        assert few_rows.lines(7, form, found, TOKENS) == rows.lines(7, form, expected, TOKENS)


@pytest.mark.parametrize(
    "body", [b"", b"abc", b"\1\0\0\0" + zlib.compress(bytes(99)), b"\2\0\0\0" + zlib.compress(b"x"), "text"]
)
@pytest.mark.parametrize("closed", [True, False])
def test_what_is_no_row_is_refused_the_same(body: bytes, closed: bool) -> None:
    """With ValueError, or it is no row for either."""
    told = []
    for reader in (rows, few_rows):
        try:
            told.append(len(reader.read(body, 1, closed=closed)))
        except ValueError:
            told.append(None)
    assert told[0] == told[1]
    assert told == [0, 0] if body == b"" and not closed else [None, None]


def test_a_walk_over_few_rows_finds_each_changed_block(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Closed or open: the same words as with numpy. The control: unchanged, both find it whole."""
    path = tmp_path / "logbook.sqlite"
    with Logbook(path) as logbook:
        for hour in range(3):
            at = START + 3600.0 * hour
            logbook.append([Reading("bench", at + n, at + n, 285.0 + n / 7, 0.5) for n in range(20)])
            if hour < 2:
                logbook.close_block()
        walks = [logbook.verify_since(1)]
        monkeypatch.setattr(few_rows, "MOST", 0)
        assert [logbook.verify_since(1)] == walks
    with closing(sqlite3.connect(path)) as file, file:
        for number, closed, body in file.execute("SELECT number, closed, body FROM blocks").fetchall():
            spoilt = rows.read(body, columns.newest().number, closed=bool(closed)).copy()
            spoilt["temperature"][3] += 1
            changed = rows.pack(spoilt, 2) if closed else rows.to_bytes(spoilt, 2).ljust(len(body), b"\0")
            file.execute("UPDATE blocks SET body = ? WHERE number = ?", (changed, number))
    with Logbook(path, read_only=True) as logbook:
        for after in (1, 2):
            told = []
            for most in (0, 12_000):
                monkeypatch.setattr(few_rows, "MOST", most)
                with pytest.raises(RecordBroken, match=f"block {after + 1} ") as broken:
                    logbook.verify_since(after)
                told.append(str(broken.value))
            assert told[0] == told[1]


SPOKEN = some.tuples(
    some.sampled_from(["bench", "hull", "yard"]),
    some.sampled_from([0.0, 20.0, 60.0, 600.0]),  # after the one before [s]
    some.sampled_from([1.0, 900.0]),  # until it comes in [s]
    some.sampled_from([None, 285.0, 285.5, 289.0]),
    some.sampled_from([None, 0.7, 1.0]),
    some.sampled_from([Flag(0), Flag(0), Flag.JUMP, Flag.CLOCK_DOUBT, Flag.BACKLOG | Flag.ARRIVAL_TIME]),
)


@settings(max_examples=up_to(25))
@given(some.lists(SPOKEN, min_size=1, max_size=40), some.integers(0, 40))
def test_what_was_heard_of_a_sensor_is_the_same(spoken: list[Any], close_after: int) -> None:
    """Halves, late arrivals, doubted stamps, unknown age: the same track and the same last word."""
    with TemporaryDirectory() as folder, Logbook(Path(folder) / "logbook.sqlite") as logbook:
        at = START
        for place, (name, after, late, temperature, humidity, flags) in enumerate(spoken):
            at += after
            logbook.append([Reading(name, at, at + late, temperature, humidity, flags=int(flags))])
            if place == close_after:
                logbook.close_block()
        names = ["hull", "bench", "nobody", "yard"]
        for now in (at + MINUTE, at - 10 * MINUTE):
            assert heard(recall.look_up_few, logbook, names, now) == heard(
                recall.look_up, logbook, names, now
            )


def heard(look_up: Any, logbook: Logbook, names: list[str], now: float) -> dict[str, Any]:
    """Without what a series of numpy does not carry."""
    return {
        name: (one.track, one.ahead, one.held_back, *map(bare, (one.last, one.shown)))
        for name, one in look_up(logbook, names, now).items()
    }


def bare(reading: Reading | None) -> Any:
    return reading and reading._replace(sequence=None)


def test_many_rows_are_left_to_numpy(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The store says so, and what was heard comes the other way."""
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        logbook.append([Reading("bench", START, START, 285.0, 0.5)])
        logbook.close_block()
        assert logbook.few_readings(["bench"]) is not None
        expected = heard(recall.look_up_few, logbook, ["bench"], START)
        monkeypatch.setattr(few_rows, "MOST", 100)
        assert logbook.few_readings(["bench"]) is None
        assert heard(recall.look_up_few, logbook, ["bench"], START) == expected
