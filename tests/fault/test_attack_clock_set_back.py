"""Attack: the machine's clock is set back, to write something down at an earlier time."""

from pathlib import Path

from curewatch.logbook import Entry, EntryKind, Logbook
from curewatch.logbook.sealing import seal
from curewatch.record.account import gather
from curewatch.record.page import PageTable
from curewatch.record.pages import pages
from curewatch.units import HOUR
from tests import record_world as world


def _blemishes(path: Path) -> str:
    """What the pages say about gaps, clocks, refusals and corrections."""
    with Logbook(path) as logbook:
        made = seal(logbook, reason="record", at=world.OPENED + 9 * HOUR, job=world.JOB)
        said = pages(gather(logbook, world.JOB, made))
    section = next(one for one in said.sections if one.heading.startswith("Gaps"))
    return "\n".join(
        " ".join(row) for block in section.blocks if isinstance(block, PageTable) for row in block.rows
    ) + "".join(block for block in section.blocks if isinstance(block, str))


def test_an_entry_written_with_an_earlier_clock_is_shown(tmp_path: Path):
    """It stands after a later line in the chain, and the record says by how much its clock was behind."""
    path = tmp_path / "logbook.sqlite"
    with Logbook(path) as logbook:
        for entry in world.work()[:4]:
            logbook.write(entry)
    before = _blemishes(path)
    assert "before the line before it" not in before
    assert "no sensor: nothing was measured during this job" in before
    with Logbook(path) as logbook:
        logbook.write(Entry(EntryKind.NOTE, {"text": "it was warm"}, world.OPENED + HOUR, job=world.JOB))
    said = _blemishes(path)
    assert "(note): 8 h before the line before it" in said


def test_readings_taken_with_an_earlier_clock_are_shown(tmp_path: Path):
    """Readings that arrive an hour earlier than those before them are named with the jump."""
    path = tmp_path / "logbook.sqlite"
    with Logbook(path) as logbook:
        for entry in world.work()[:4]:
            logbook.write(entry)
        logbook.append(list(world.readings(world.OPENED, world.OPENED + 4 * HOUR)))
        early = [
            one._replace(temperature=293.0)
            for one in world.readings(world.OPENED + 3 * HOUR, world.OPENED + 4 * HOUR)
        ]
        assert logbook.append(early) == len(early)
    said = _blemishes(path)
    assert "readings: 59 min before the line before it" in said


def test_a_time_told_afterwards_says_when_it_was_told(tmp_path: Path):
    """No clock is touched: an earlier time is given, and the record shows both times."""
    path = tmp_path / "logbook.sqlite"
    with Logbook(path) as logbook:
        for entry in world.work()[:4]:
            logbook.write(entry)
        late = Entry(
            EntryKind.NOTE,
            {"text": "it was warm", "given_afterwards": True},
            world.OPENED + HOUR,
            job=world.JOB,
            recorded=world.OPENED + 6 * HOUR,
        )
        logbook.write(late)
        made = seal(logbook, reason="record", at=world.OPENED + 9 * HOUR, job=world.JOB)
        said = pages(gather(logbook, world.JOB, made))
    rows = [row for block in said.sections[1].blocks if isinstance(block, PageTable) for row in block.rows]
    assert ("25 Nov 09:00", "Note: it was warm (told 25 Nov 14:00)", "–") in [row[1:] for row in rows]
