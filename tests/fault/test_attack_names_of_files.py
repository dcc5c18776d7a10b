"""Attack: a file whose name is an option, an escape or a second line is put beside a genuine record.

check.sh must not read it as an option, wait for a terminal, or let it act on one; and both checks refuse it.
"""

import os
import shutil
from pathlib import Path

import pytest

from curewatch.errors import RecordBroken
from curewatch.record import examination
from curewatch.record.examination import verify
from tests.record_attacks import Sealed, shell_check

NAMES = [
    "--",
    "-n",
    "-c5",
    "--help",
    "\x1b[2Jx",
    "a\nHOLDS: blocks 1 to 23",
    "*",
    "$(touch x)",
    "`id`",
    "RECORD.PDF",
    "\u202egnp",
]


@pytest.fixture
def copy(sealed: Sealed, tmp_path: Path) -> Path:
    return Path(shutil.copytree(sealed.folder, tmp_path / "copy"))


@pytest.mark.long
@pytest.mark.parametrize("content", [b"met", b"%PDF-1.7\n", b""])
@pytest.mark.parametrize("name", NAMES)
@pytest.mark.few(2)
def test_a_name_is_a_name(copy: Path, name: str, content: bytes):
    """Refused by both, and named in one line without an escape."""
    (copy / name).write_bytes(content)
    with pytest.raises(RecordBroken):
        verify(copy)
    said = shell_check(copy)
    assert said.returncode == 5, said.stdout
    assert "HOLDS" not in said.stdout.replace("?HOLDS", "")
    assert "\x1b" not in said.stdout + said.stderr
    assert len(said.stdout.splitlines()) == 1
    assert not (copy / "x").exists()


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.few(2)
def test_such_a_page_holds_where_every_name_is_taken(copy: Path, name: str, monkeypatch: pytest.MonkeyPatch):
    """The control: the list of pages has this name, and no page is made again."""
    for page in (name, "record.html"):
        (copy / page).write_bytes(b"met")
    monkeypatch.setattr(examination, "_listed_pages", lambda *_: dict.fromkeys((name, "record.html")))
    monkeypatch.setattr(examination.screen, "html", lambda pages: "met")
    assert name in verify(copy).checked


@pytest.mark.long
@pytest.mark.parametrize("name", NAMES)
@pytest.mark.few(1)
def test_a_genuine_page_under_such_a_name_holds_and_acts_on_nothing(copy: Path, sealed: Sealed, name: str):
    """What is refused above is refused for what it is. A PDF is known by what is in it."""
    (copy / name).write_bytes(sealed.pdf)
    assert name in verify(copy).checked
    said = shell_check(copy)
    assert said.returncode == 0, said.stdout
    assert "\x1b" not in said.stdout
    assert said.stdout.count("\nHOLDS") == 0


@pytest.mark.parametrize(
    "make", [os.mkfifo, lambda path: path.mkdir(), lambda path: path.symlink_to("/dev/zero")]
)
@pytest.mark.parametrize("name", ["pages.pdf", "record.html", "readings.csv"])
@pytest.mark.few(2)
def test_what_is_no_file_is_not_waited_for(copy: Path, name: str, make):
    """A pipe that nobody writes to, a folder, a link to what has no end."""
    (copy / name).unlink(missing_ok=True)
    make(copy / name)
    with pytest.raises(RecordBroken):
        verify(copy)
    if name != "readings.csv":
        assert shell_check(copy).returncode == 5
