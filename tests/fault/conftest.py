"""One record of the demo's job, written once, for every attack on it."""

from pathlib import Path

import pytest

from curewatch.logbook import Logbook
from curewatch.logbook.sealing import key_path, signing_key
from curewatch.record.proof import FILES
from curewatch.record.writing import write
from curewatch.units import DAY
from tests import record_world as world
from tests.record_attacks import Sealed


@pytest.fixture(scope="session")
def sealed(tmp_path_factory: pytest.TempPathFactory) -> Sealed:
    """The record of the rudder cheek, its seal and its key."""
    place = tmp_path_factory.mktemp("record")
    closing = world.fill(place / "logbook.sqlite", step=900.0)
    with Logbook(place / "logbook.sqlite") as logbook:
        written = write(logbook, world.JOB, place, at=world.OPENED + 5 * DAY)
        key = signing_key(key_path(logbook.path))
    assert written.folder is not None
    assert written.pdf is not None
    files = {name: (written.folder / name).read_bytes() for name in FILES}
    return Sealed(files, closing, key, written.folder, written.pdf.read_bytes(), place / "logbook.sqlite")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Where an attacked record is put."""
    return tmp_path / "attacked"
