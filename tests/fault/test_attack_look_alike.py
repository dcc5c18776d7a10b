"""Attack: a job whose name looks like another's, so that one record is shown for the other."""

from pathlib import Path

import pytest

from curewatch.errors import UsageError
from curewatch.jobs import look_alike
from curewatch.logbook import Entry, EntryKind, Logbook
from curewatch.record import pages
from curewatch.record.writing import make
from curewatch.units import DAY
from curewatch.wording import Wording
from curewatch.worklog import telling
from tests import record_world as world

ALIKE = [
    "rudder-che\u0435k",
    "\u0440udder-cheek",
    "rudder\u200b-cheek",
    "cafe\u0301",
    "\u202ekeehc",
    "rudder\u03bf",
]


@pytest.mark.parametrize("name", ALIKE)
def test_no_job_is_opened_under_such_a_name(tmp_path: Path, name: str):
    """Letters of two scripts, marks apart, characters that nobody sees."""
    with (
        Logbook(tmp_path / "logbook.sqlite") as logbook,
        pytest.raises(UsageError, match="cannot be mistaken"),
    ):
        telling.opening(logbook, {}, world.OPENED, name)


@pytest.mark.parametrize("name", ["rudder-cheek", "J1", "café", "полка-2", "船", "mast 7/8 µm"[:8]])
def test_plain_names_of_any_one_script_are_taken(tmp_path: Path, name: str):
    """Also with digits and hyphens."""
    assert look_alike(name) == ""
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        assert telling.opening(logbook, {}, world.OPENED, name).job == name


@pytest.mark.long
@pytest.mark.parametrize("name", ALIKE)
@pytest.mark.few(1)
def test_in_a_foreign_logbook_it_is_written_out(tmp_path: Path, name: str, monkeypatch: pytest.MonkeyPatch):
    """On every page the name is not the one that it looks like. The control: shown as it is, it is."""
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        logbook.append(world.readings(world.OPENED, world.OPENED + DAY, step=3600.0))
        logbook.write(Entry(EntryKind.JOB_OPEN, {"title": "cheek"}, world.OPENED, job=name))
        made = make(logbook, name, world.OPENED + DAY, None, Wording())
        assert b"U+" in made.files["pages.json"] or b"u202e" in made.files["pages.json"]
        monkeypatch.setattr(pages, "named", lambda text, longest: text)
        again = make(logbook, name, world.OPENED + DAY + 60, None, Wording())
    assert b"(U+" not in again.files["pages.json"]
