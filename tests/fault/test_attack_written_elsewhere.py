"""Attack: a record is asked for at a place that cannot take it, or that is something else.

One sentence, nothing of it there, and the chain is told nothing: no seal whose code nobody saw.
"""

import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from curewatch.cli.main import run
from curewatch.errors import StoreFailed
from curewatch.logbook import Logbook
from curewatch.record import writing
from curewatch.record.examination import verify
from curewatch.record.writing import write
from curewatch.units import DAY
from tests import record_world as world
from tests.record_attacks import Sealed, own_copy

LATER = world.OPENED + 5 * DAY


@pytest.fixture
def logbook(sealed: Sealed, tmp_path: Path):
    with Logbook(own_copy(sealed, tmp_path / "shed")) as opened:
        yield opened


def there(folder: Path) -> Path:
    (folder / "r.pdf").write_bytes(b"mine")
    return folder / "r.pdf"


def a_link_to_nowhere(folder: Path) -> Path:
    (folder / "r.pdf").symlink_to(folder / "elsewhere.pdf")
    return folder / "r.pdf"


def a_folder(folder: Path) -> Path:
    (folder / "r.pdf").mkdir()
    return folder / "r.pdf"


def below_a_file(folder: Path) -> Path:
    (folder / "r").write_bytes(b"mine")
    return folder / "r" / "r.pdf"


def a_name_without_end(folder: Path) -> Path:
    return folder / f"{'r' * 300}.pdf"


def another_kind_of_file(folder: Path) -> Path:
    return folder / "r.html"


def a_device(folder: Path) -> Path:
    return Path("/dev/full")


def a_folder_of_the_system(folder: Path) -> Path:
    return Path("/proc/r.pdf")


PLACES = [
    *(there, a_link_to_nowhere, a_folder, below_a_file, a_name_without_end, another_kind_of_file),
    *(a_device, a_folder_of_the_system),
]


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.few(4)
def test_a_place_that_cannot_take_it_is_refused_before_anything_is_sealed(
    logbook: Logbook, tmp_path: Path, capsys: pytest.CaptureFixture[str], place: Callable[[Path], Path]
):
    """What was there is there, nothing beside it, and the logbook is as it was."""
    (tmp_path / "out").mkdir()
    target = place(tmp_path / "out")
    before, kept = len(logbook.entries()), sorted((tmp_path / "out").rglob("*"))
    settings = tmp_path / "curewatch.toml"
    settings.write_text(f'[logbook]\npath = "{logbook.path}"\n')
    with pytest.raises(SystemExit) as ended:
        run(["record", "write", world.JOB, "--output", str(target), "--config", str(settings)])
    said = capsys.readouterr().err
    assert ended.value.code in (1, 2, 4), said
    assert said.count("\n") == 1
    assert len(said) < 500
    assert len(logbook.entries()) == before
    assert sorted((tmp_path / "out").rglob("*")) == kept


def test_what_is_asked_for_twice_in_two_ways_is_refused(logbook: Logbook, tmp_path: Path):
    """The PDF alone, as a folder."""
    with pytest.raises(writing.UsageError, match="--format folder"):
        write(logbook, world.JOB, tmp_path / "r.pdf", at=LATER, pdf=False)


@pytest.mark.long
def test_a_disk_without_links_takes_it(logbook: Logbook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """As most sticks have none."""

    def none(*_: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", none)
    written = write(logbook, world.JOB, tmp_path / "r.pdf", at=LATER)
    assert written.pdf is not None
    assert verify(written.pdf).seal == written.seal
    assert sorted(path.name for path in tmp_path.iterdir()) == ["r.pdf", "shed"]


@pytest.mark.long
def test_without_the_look_beforehand_it_is_sealed_for_nothing(
    logbook: Logbook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    """The control: the chain is told of a record that is not there."""
    before = len(logbook.entries())
    shutil.copy(logbook.path, tmp_path / "r")
    for look in (True, False):
        if not look:
            monkeypatch.setattr(writing, "_must_be_free", lambda place: None)
            monkeypatch.setattr(writing, "_must_take", lambda place: None)
        with pytest.raises(StoreFailed):
            write(logbook, world.JOB, tmp_path / "r" / "r.pdf", at=LATER)
        assert (len(logbook.entries()) == before) == look
