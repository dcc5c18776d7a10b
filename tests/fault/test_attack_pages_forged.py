"""Attack: pages that nothing covers are put beside a genuine record, or shown in its place.

The attacker has no key. Each of these held before a verifier had to list what it checked.
"""

import re
import shutil
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path

import pytest

from curewatch.errors import RecordBroken
from curewatch.logbook import Entry, EntryKind, Logbook
from curewatch.record import examination
from curewatch.record.examination import verify, verify_pdf
from curewatch.record.paper import PLACE
from curewatch.record.writing import write
from curewatch.units import DAY
from tests import record_world as world
from tests.record_attacks import Sealed, own_copy, shell_check

LATER = world.OPENED + 5 * DAY


@pytest.fixture(scope="module")
def mast(sealed: Sealed, tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """A genuine PDF of another job of the same logbook, signed with the same key."""
    place = tmp_path_factory.mktemp("mast")
    with Logbook(own_copy(sealed, place)) as logbook:
        opening = {"job": "mast-step", "title": "Mast step", "resin": "epoxy-slow"}
        logbook.write(Entry(EntryKind.JOB_OPEN, opening, LATER, job="mast-step"))
        written = write(logbook, "mast-step", place, at=LATER + 60, folder=False)
    assert written.pdf is not None
    verify(written.pdf)
    return written.pdf.read_bytes()


def without_signature(sealed: Sealed) -> bytes:
    return re.sub(rb"curewatch-signature-[0-9a-f]{128}", b" " * len(PLACE), sealed.pdf)


def other_pages(sealed: Sealed) -> bytes:
    return b"%PDF-1.7\nall held\n%%EOF\n"


def with_noughts(sealed: Sealed) -> bytes:
    return re.sub(rb"curewatch-signature-[0-9a-f]{128}", PLACE.encode(), sealed.pdf)


FORGED: list[Callable[[Sealed], bytes]] = [without_signature, other_pages, with_noughts]


def refused(folder: Path, name: str) -> None:
    with pytest.raises(RecordBroken, match=re.escape(name)):
        verify(folder)
    said = shell_check(folder)
    assert (said.returncode, name in said.stdout) == (5, True), said.stdout


@pytest.fixture(scope="module")
def genuine(sealed: Sealed) -> Path:
    """The folder as it was written: both checks say that it holds."""
    verify(sealed.folder)
    assert shell_check(sealed.folder).returncode == 0
    return sealed.folder


@pytest.fixture
def copy(genuine: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(genuine, tmp_path / "copy"))


@pytest.mark.long
@pytest.mark.parametrize("name", ["cheek.pdf", "seal.pdf", "record.pdf", ".hidden.pdf", "cheek"])
@pytest.mark.parametrize("forged", FORGED)
@pytest.mark.few(2)
def test_a_pdf_that_nothing_covers_is_refused(sealed: Sealed, copy: Path, name: str, forged) -> None:
    """Not "some other document": a stranger takes it for the record's pages."""
    (copy / name).write_bytes(forged(sealed))
    refused(copy, name)
    if name.endswith("cheek.pdf"):
        with pytest.raises(RecordBroken):
            verify(copy / name)


@pytest.mark.long
@pytest.mark.parametrize("name", ["cheek.html", "record.htm", "index.html", "notes.txt", ".record.html"])
@pytest.mark.few(1)
def test_a_page_under_another_name_is_refused(copy: Path, name: str):
    """The genuine page renamed, or a made-up one: no list names it."""
    (copy / name).write_text("<p>all held</p>")
    refused(copy, name)
    if name.endswith((".html", ".htm")):
        with pytest.raises(RecordBroken):
            verify(copy / name)
    (copy / name).unlink()
    (copy / "record.html").rename(copy / name)
    refused(copy, name)


@pytest.mark.long
@pytest.mark.parametrize("name", ["record.pdf", "cheek.pdf"])
@pytest.mark.parametrize("listed", [True, False])
@pytest.mark.few(1)
def test_the_pdf_of_another_job_is_refused(copy: Path, mast: bytes, name: str, listed: bool):
    """Signed by the same key and whole in itself, but not of these files."""
    if not listed:
        for each in ("pages.sha256", "pages.sig", "record.html"):
            (copy / each).unlink()
    (copy / name).write_bytes(mast)
    refused(copy, name)


@pytest.mark.long
def test_the_list_of_another_record_s_pages_is_refused(sealed: Sealed, copy: Path, tmp_path: Path):
    """Same key, same job, an earlier record: its page, its list and its signature are put here."""
    with Logbook(own_copy(sealed, tmp_path / "again")) as logbook:
        logbook.write(Entry(EntryKind.NOTE, {"text": "later"}, LATER, job=world.JOB))
        written = write(logbook, world.JOB, tmp_path / "again", at=LATER + 90)
    assert written.folder is not None
    for name in ("record.html", "record.pdf", "pages.sha256", "pages.sig"):
        shutil.copy(written.folder / name, copy / name)
    refused(copy, "pages.sha256")


@pytest.mark.long
@pytest.mark.parametrize("make", [lambda place: place.mkdir(), lambda place: place.symlink_to("record.html")])
@pytest.mark.few(1)
def test_what_is_no_file_is_refused(copy: Path, make: Callable[[Path], None]):
    """A folder with pages in it, or a link that may lead elsewhere tomorrow."""
    make(copy / "pages")
    refused(copy, "pages")


def test_a_file_more_inside_the_pdf_is_refused(sealed: Sealed):
    """Carried, but of no record: it is named, not passed over."""
    more = b"<</Type/Filespec/F(result.html)/UF(result.html)/EF<</F 9 0 R>>>>"
    with pytest.raises(RecordBroken, match=r"result\.html"):
        verify_pdf(sealed.pdf + more)
    with pytest.raises(RecordBroken, match="others beside them"):
        verify_pdf(sealed.pdf + b"<< /Type /Filespec /F <414243> >>")


@pytest.mark.long
def test_what_was_checked_is_listed_by_digest(copy: Path):
    """Program and shell list the same files with the same digests."""
    checked = verify(copy).checked
    said = [line.split() for line in shell_check(copy).stdout.splitlines() if line.startswith("checked ")]
    listed = {name: digest for _, digest, name in said}
    assert {"record.pdf", "record.html", "readings.csv"} < set(checked)
    assert checked == {name: listed[name] for name in checked}
    assert set(listed) - set(checked) <= {"pages.sha256", "pages.sig"}


@pytest.mark.long
def test_pages_that_nothing_covers_hold_unchecked(
    sealed: Sealed, copy: Path, mast: bytes, monkeypatch: pytest.MonkeyPatch
):
    """The controls: a page that the list would name, and a PDF that is not compared with its files."""
    (copy / "result.html").write_text("<p>all held</p>")
    listed = {"result.html": sha256(b"<p>all held</p>").hexdigest()}
    monkeypatch.setattr(examination, "_listed_pages", lambda *_: {**listed, "record.html": None})
    monkeypatch.setattr(examination.screen, "html", lambda pages: "<p>all held</p>")
    (copy / "record.html").write_text("<p>all held</p>")
    assert verify(copy)
    (copy / "cheek.pdf").write_bytes(mast)
    with pytest.raises(RecordBroken):
        verify(copy)
    monkeypatch.setattr(examination, "_check_pdf", lambda *_: None)
    monkeypatch.setattr(examination, "attached", lambda content, names: dict(sealed.files))
    assert verify(copy)
