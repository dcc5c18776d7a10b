"""A quantity is added; what was written before it is read, verified, and goes on.

One quantity is added here, on the fly: light, as form 3 of the table. Air pressure came with form 2.
Numbers are demo values.
"""

import csv
import json
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd
import pytest

from curewatch.errors import OutOfValidity, RecordBroken, StoreFailed
from curewatch.export import export
from curewatch.logbook import Entry, EntryKind, Logbook, columns
from curewatch.logbook.sealing import prove
from curewatch.readings import Reading
from curewatch.record.examination import verify
from curewatch.record.writing import write
from curewatch.units import DAY, HOUR, MINUTE
from tests import record_world as world
from tests.record_attacks import shell_check

LIGHT = columns.Quantity("illuminance", "lx", "illuminance_lux", "lux", 10.0, 0, 1, 0.0, 2e5, 3, hourly=True)
LATER = world.OPENED + 5 * DAY


class Lit(NamedTuple):
    """A reading as it is once the quantity has its field."""

    sensor: str
    time: float
    received: float
    temperature: float | None = None
    relative_humidity: float | None = None
    carbon_dioxide: float | None = None
    battery: float | None = None
    flags: int = 0
    sequence: int | None = None
    pressure: float | None = None
    illuminance: float | None = None


FORMS = columns.Forms((*columns.QUANTITIES, LIGHT), Lit)


class Before(NamedTuple):
    """A logbook written before the quantity was there."""

    path: Path
    code: str  # of the job's seal
    head: str  # of the block that was open at the end


@pytest.fixture
def before(tmp_path: Path) -> Before:
    """A sealed job, and an open block."""
    path = tmp_path / "logbook.sqlite"
    sealed = world.fill(path, step=900.0)
    with Logbook(path) as logbook:
        logbook.append(old(3))
        return Before(path, sealed.code, logbook.head().head)


@pytest.fixture
def grow(monkeypatch: pytest.MonkeyPatch) -> Callable[[], None]:
    """From now on this is the program that knows the quantity."""
    return lambda: monkeypatch.setattr(columns, "FORMS", FORMS)


def old(count: int) -> list[Reading]:
    stamps = (LATER - HOUR + MINUTE * np.arange(count)).tolist()
    return [Reading("bench", at, at, 290.0, 0.6) for at in stamps]


def lit(count: int) -> list[Lit]:
    stamps = (LATER + MINUTE * np.arange(count)).tolist()
    return [Lit("bench", at, at, 290.0, 0.6, illuminance=300.0 + n) for n, at in enumerate(stamps)]


def test_what_was_written_before_is_read_beside_what_came_after(before: Before, grow: Callable[[], None]):
    """Old blocks keep form and head, the open one is closed, new readings have the new column."""
    with Logbook(before.path) as logbook:
        faces, was = logbook.faces(), logbook.series("bench")
    grow()
    with Logbook(before.path) as logbook:
        assert logbook.verify().head.head == before.head
        assert logbook.append(lit(120)) == 120
        after = logbook.series("bench")
        assert logbook.latest()["bench"] == lit(120)[-1]
        assert logbook.verify().head == logbook.head()
        assert prove(logbook, before.code)
        grown = logbook.faces()
        hours = logbook.hourly("bench", LATER).quantities["illuminance"]
    assert grown[: len(faces)] == faces
    assert [face.form for face, _ in grown] == [2] * len(faces) + [3]
    assert (after.temperature[: was.time.size] == was.temperature).all()
    assert np.isnan(after.quantities["illuminance"][: was.time.size]).all()
    assert after.quantities["illuminance"][was.time.size :].tolist() == [300.0 + n for n in range(120)]
    assert hours.mean.tolist() == [329.5, 389.5]
    assert hours.highest.tolist() == [359.0, 419.0]


def test_a_reading_that_comes_again_after_the_change_is_the_same(before: Before, grow: Callable[[], None]):
    """The sender repeats its message, now read with its light: the old block cannot tell them apart."""
    grow()
    with Logbook(before.path) as logbook:
        again = [Lit(*one, illuminance=310.0) for one in old(3)]
        assert logbook.append(again) == 0
        assert logbook.append([again[0]._replace(temperature=280.0)]) == 1
        assert logbook.append([lit(1)[0], lit(1)[0]._replace(illuminance=290.0)]) == 2


@pytest.mark.long
def test_exports_and_the_record_show_old_and_new(before: Before, grow: Callable[[], None], tmp_path: Path):
    """The same files as ever; where nothing was measured, nothing stands. Both checks hold."""
    grow()
    with Logbook(before.path) as logbook:
        logbook.append(lit(5))
        logbook.write(Entry(EntryKind.NOTE, {"text": "the light meter is new"}, LATER + HOUR, job=world.JOB))
        for name in ("all.csv", "all.parquet", "all.senml"):
            export(logbook, tmp_path / name)
        written = write(logbook, world.JOB, tmp_path / "out", at=LATER + 2 * HOUR)
    with (tmp_path / "all.csv").open(newline="") as file:
        cells = [one["illuminance_lux"] for one in csv.DictReader(file)]
    assert cells[-5:] == ["300.0", "301.0", "302.0", "303.0", "304.0"]
    assert set(cells[:-5]) == {None}
    column = pd.read_parquet(tmp_path / "all.parquet")["illuminance_lux"]
    assert column.notna().sum() == 5
    assert pd.read_csv(tmp_path / "all.csv")["illuminance_lux"].tolist()[-5:] == column.tolist()[-5:]
    packed = [
        one for one in json.loads((tmp_path / "all.senml").read_text()) if one["n"] == "bench:illuminance"
    ]
    assert [one["v"] for one in packed] == column.tolist()[-5:]
    assert written.folder is not None
    chain = (written.folder / "blocks.csv").read_text().split()
    assert {line.rpartition(",")[2] for line in chain} == {"form", "2", "3"}
    assert verify(written.folder).readings > 5
    shell = shell_check(written.folder)
    assert (shell.returncode, shell.stdout[:5]) == (0, "HOLDS")


def test_a_program_without_the_quantity_refuses_and_spoils_nothing(before: Before):
    """Opened anew or open all the while: one sentence, and not a byte is written."""
    with Logbook(before.path) as running:
        with pytest.MonkeyPatch.context() as patch, Logbook(before.path) as newer:
            patch.setattr(columns, "FORMS", FORMS)
            newer.append(lit(3))
            head = newer.head()
        with pytest.raises(StoreFailed, match=r"\(form 3, this one reads 2\); update curewatch"):
            running.append(old(9))
        for read_only in (False, True):
            with pytest.raises(StoreFailed, match="update curewatch"):
                Logbook(before.path, read_only=read_only)
        assert running.head() == head


@pytest.mark.parametrize("form", [1, 3, 9])
def test_another_form_is_found(before: Before, grow: Callable[[], None], form: int):
    """The form is in the face: whoever relabels a block breaks the chain."""
    grow()
    with closing(sqlite3.connect(before.path, isolation_level=None)) as raw:
        assert raw.execute("UPDATE blocks SET form = ? WHERE number = 1", (form,)).rowcount == 1
    with Logbook(before.path) as logbook, pytest.raises(RecordBroken, match="block 1"):
        logbook.verify()


def test_a_value_outside_the_table_is_refused_by_name(before: Before, grow: Callable[[], None]):
    """With its range, as every other quantity."""
    grow()
    with Logbook(before.path) as logbook, pytest.raises(OutOfValidity, match=r"illuminance.*0 to 200000 lx"):
        logbook.append([lit(1)[0]._replace(illuminance=1e6)])


def test_a_quantity_needs_its_field():
    """The table and the reading cannot drift apart."""
    fixed = {name for name, _ in columns.FIXED}
    assert set(Reading._fields) - fixed == {one.name for one in columns.QUANTITIES}
    with pytest.raises(ValueError, match="no field illuminance"):
        columns.Forms((*columns.QUANTITIES, LIGHT))


def test_a_logbook_from_before_air_pressure_is_read(tmp_path: Path):
    """Written by the table as it was with form 1; today's goes on in it, and nothing of it changes."""
    path = tmp_path / "logbook.sqlite"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(columns, "FORMS", columns.Forms(columns.QUANTITIES[:4]))
        code = world.fill(path, step=900.0).code
        with Logbook(path) as logbook:
            logbook.append(old(3))
            head, faces, was = logbook.head().head, logbook.faces(), logbook.series("bench")
    new = [one._replace(time=one.time + HOUR, pressure=101_325.04) for one in old(5)]
    with Logbook(path) as logbook:
        assert logbook.verify().head.head == head
        assert prove(logbook, code)
        assert logbook.append([*old(3), *new]) == 5
        found = logbook.series("bench")
        grown = logbook.faces()
        assert logbook.verify().head == logbook.head()
        assert logbook.hourly("bench", LATER).quantities["pressure"].mean.tolist() == pytest.approx(
            [101_325.0]
        )
        export(logbook, tmp_path / "all.csv")
    assert grown[: len(faces)] == faces
    assert [face.form for face, _ in grown] == [1] * len(faces) + [2]
    assert found.temperature[: was.time.size].tolist() == was.temperature.tolist()
    assert np.isnan(found.quantities["pressure"][: was.time.size]).all()
    assert found.quantities["pressure"][was.time.size :].tolist() == [101_325.0] * 5  # kept to 0.1 Pa
    cells = pd.read_csv(tmp_path / "all.csv")["pressure_hpa"]
    assert (cells.notna().sum(), cells.iloc[-1]) == (5, 1013.25)
