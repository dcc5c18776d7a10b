"""Calamity: the logbook's file is damaged."""

from pathlib import Path

import pytest

from curewatch.errors import CurewatchError, StoreFailed
from curewatch.logbook import Logbook
from curewatch.units import DAY
from tests import record_world as world


def filled(path: Path) -> None:
    with Logbook(path) as logbook:
        logbook.append(world.readings(world.OPENED, world.OPENED + 2 * DAY))


@pytest.mark.parametrize(
    "content", [b"", b"not a database at all" * 99, b"SQLite format 3\0" + b"\xff" * 4000]
)
def test_a_file_that_is_no_database_is_named(tmp_path: Path, content: bytes):
    """Rubbish is not opened and not written over; an empty file becomes a new logbook."""
    path = tmp_path / "logbook.sqlite"
    path.write_bytes(content)
    if not content:
        with Logbook(path) as logbook:
            assert logbook.head().block == 0
        return
    for read_only in (False, True):
        with pytest.raises(StoreFailed, match=str(path)):
            Logbook(path, read_only=read_only)
    assert path.read_bytes() == content


@pytest.mark.long
def test_a_page_of_rubbish_is_an_error_a_person_can_act_on(tmp_path: Path):
    """Whichever page is hit, what is said is ours, never a traceback of SQLite's."""
    path = tmp_path / "logbook.sqlite"
    filled(path)
    whole = path.read_bytes()
    pages = len(whole) // 4096
    assert pages > 20
    damaged = 0
    for page in range(1, pages):
        path.write_bytes(whole[: page * 4096] + b"\x5a" * 4096 + whole[(page + 1) * 4096 :])
        try:
            with Logbook(path) as logbook:
                logbook.verify()
                logbook.series("bench")
                logbook.hourly("bench")
                logbook.append(world.readings(world.OPENED + 2 * DAY, world.OPENED + 2 * DAY + 600.0))
        except CurewatchError:
            damaged += 1
        for left in tmp_path.glob("logbook.sqlite-*"):
            left.unlink()
    assert damaged > pages // 2
    path.write_bytes(whole)
    with Logbook(path) as logbook:
        assert logbook.verify().head.readings == 8640
