"""Attack: the machine's clock is set back, to write something down at an earlier time."""

from collections.abc import Callable
from pathlib import Path

import pytest

from curewatch.logbook import Entry, EntryKind, Logbook
from curewatch.logbook.sealing import seal
from curewatch.record import account
from curewatch.record.account import gather
from curewatch.record.page import PageTable
from curewatch.record.pages import pages
from curewatch.units import HOUR
from tests import record_world as world


def _blemishes(path: Path) -> str:
    """What the pages say about gaps, clocks, refusals and corrections."""
    with Logbook(path) as logbook:
        made = seal(logbook, reason="record", at=world.OPENED + 9 * HOUR)
        said = pages(gather(logbook, world.JOB, made))
    section = next(one for one in said.sections if one.heading.startswith("Gaps"))
    return "\n".join(
        " ".join(row) for block in section.blocks if isinstance(block, PageTable) for row in block.rows
    ) + "".join(block for block in section.blocks if isinstance(block, str))


def an_entry(logbook: Logbook) -> None:
    """An hour behind the line before it."""
    logbook.write(Entry(EntryKind.NOTE, {"text": "it was warm"}, world.OPENED + HOUR, job=world.JOB))


def readings(logbook: Logbook) -> None:
    """Four hours of them, then those of the last hour again, warmer."""
    logbook.append(list(world.readings(world.OPENED, world.OPENED + 4 * HOUR)))
    again = world.readings(world.OPENED + 3 * HOUR, world.OPENED + 4 * HOUR)
    early = [one._replace(temperature=293.0) for one in again]
    assert logbook.append(early) == len(early)


def an_entry_of_the_shed(logbook: Logbook) -> None:
    """No word of the job: an alert is recorded two hours before the job was opened."""
    logbook.write(Entry(EntryKind.ALERT, {"text": "too cold", "state": "raised"}, world.OPENED - 2 * HOUR))


EARLIER: list[tuple[Callable[[Logbook], None], str]] = [
    (an_entry, "(note): 1 h before the line before it"),
    (readings, "readings: 59 min before the line before it"),
    (an_entry_of_the_shed, "(alert): 4 h before the line before it"),
]


def _after(path: Path, attack: Callable[[Logbook], None]) -> str:
    """What the pages say when this was written behind the first four entries of the job."""
    with Logbook(path) as logbook:
        for entry in world.work()[:4]:
            logbook.write(entry)
        attack(logbook)
    return _blemishes(path)


def test_without_an_earlier_clock_nothing_is_shown(tmp_path: Path):
    """Else the sentence would prove nothing."""
    said = _after(tmp_path / "logbook.sqlite", lambda logbook: None)
    assert "before the line before it" not in said
    assert "no sensor: nothing was measured during this job" in said


@pytest.mark.parametrize(("attack", "shown"), EARLIER)
def test_what_an_earlier_clock_wrote_is_shown(tmp_path: Path, attack: Callable[[Logbook], None], shown: str):
    """It stands after a later line in the chain, and the record says by how much its clock was behind."""
    assert shown in _after(tmp_path / "logbook.sqlite", attack)


@pytest.mark.parametrize("attack", [attack for attack, _ in EARLIER])
def test_an_earlier_clock_is_not_shown_where_order_is_not_looked_at(
    tmp_path: Path, attack: Callable[[Logbook], None], monkeypatch: pytest.MonkeyPatch
):
    """The control: without the comparison with the line before it, the pages say nothing."""
    monkeypatch.setattr(account, "_disorder", lambda *_: [])
    assert "before the line before it" not in _after(tmp_path / "logbook.sqlite", attack)


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
        made = seal(logbook, reason="record", at=world.OPENED + 9 * HOUR)
        said = pages(gather(logbook, world.JOB, made))
    (done,) = [one for one in said.sections if one.heading == "What was done"]
    rows = [row for block in done.blocks if isinstance(block, PageTable) for row in block.rows]
    assert ("25 Nov 09:00", "Note: it was warm (told 25 Nov 14:00)", "–") in [row[1:] for row in rows]
