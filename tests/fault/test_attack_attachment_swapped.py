"""Attack: a file of the record is exchanged for that of another record, or taken away."""

from pathlib import Path

import pytest

from curewatch.errors import RecordBroken
from curewatch.logbook import Logbook
from curewatch.record import examination, verification
from curewatch.record.examination import verify, verify_pdf
from curewatch.record.proof import FILES, LISTED
from curewatch.record.writing import write
from curewatch.units import DAY
from tests import record_world as world
from tests.record_attacks import Sealed, answers, shell_check


@pytest.fixture(scope="module")
def other(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """Another genuine record, of another logbook."""
    place = tmp_path_factory.mktemp("other")
    world.fill(place / "logbook.sqlite", step=1800.0)
    with Logbook(place / "logbook.sqlite") as logbook:
        written = write(logbook, world.JOB, place, at=world.OPENED + 5 * DAY)
    assert written.folder is not None
    return {path.name: path.read_bytes() for path in written.folder.iterdir()}


@pytest.mark.parametrize("name", [name for name in LISTED if name not in {"README.txt", "check.sh"}])
@pytest.mark.few(2)
def test_a_file_of_another_record_is_found(sealed: Sealed, folder: Path, other: dict[str, bytes], name: str):
    """Each file in turn comes from another genuine record: that file is named."""
    found = answers({**sealed.files, name: other[name] or b"-"}, folder)
    assert found.broken
    assert found.shell == 5


@pytest.mark.parametrize("name", FILES)
def test_a_missing_file_is_found(sealed: Sealed, name: str, tmp_path: Path):
    """Each file in turn is not there."""
    for each, content in sealed.files.items():
        if each != name:
            (tmp_path / each).write_bytes(content)
    with pytest.raises(RecordBroken, match=name.replace(".", r"\.")):
        verify(tmp_path)


@pytest.mark.long
@pytest.mark.parametrize("name", ["record.pdf", "record.html", "pages.sha256", "pages.sig"])
@pytest.mark.few(1)
def test_pages_of_another_record_are_found(
    sealed: Sealed, tmp_path: Path, other: dict[str, bytes], name: str
):
    """Genuine files beside somebody else's pages."""
    for path in sealed.folder.iterdir():
        (tmp_path / path.name).write_bytes(path.read_bytes())
    verify(tmp_path)
    (tmp_path / name).write_bytes(other[name])
    with pytest.raises(RecordBroken):
        verify(tmp_path)
    assert shell_check(tmp_path).returncode == 5


@pytest.mark.long
def test_pages_without_their_list_are_judged_by_what_they_carry(sealed: Sealed, folder: Path):
    """A screen page alone proves nothing; a PDF beside its files does, until a bit of it turns."""
    assert answers(sealed.files, folder).shell == 0
    (folder / "record.html").write_text("<p>all held</p>")
    assert "record.html cannot be checked" in shell_check(folder).stdout
    assert shell_check(folder).returncode == 5
    with pytest.raises(RecordBroken, match=r"record\.html"):
        verify(folder)
    (folder / "record.html").unlink()
    for name in ("record.pdf", "cheek.pdf"):
        (folder / name).write_bytes(sealed.pdf)
    verify(folder)
    assert shell_check(folder).returncode == 0
    turned = bytearray(sealed.pdf)
    turned[len(turned) // 2] ^= 1
    for name in ("record.pdf", "cheek.pdf"):
        (folder / name).write_bytes(turned)
        said = shell_check(folder)
        assert said.returncode == 5
        assert f"{name} as a whole" in said.stdout
        (folder / name).write_bytes(sealed.pdf)
    (folder / "record.pdf").write_bytes(turned)
    with pytest.raises(RecordBroken):
        verify(folder)
    (folder / "record.pdf").write_bytes(b"%PDF-1.7 made up")
    assert "carries no signature" in shell_check(folder).stdout


@pytest.mark.parametrize("name", ["seal.sig", "files.sig"])
def test_an_attachment_exchanged_inside_the_pdf_is_found(sealed: Sealed, other: dict[str, bytes], name: str):
    """The PDF's own bytes of one attached file are overwritten with those of another genuine record.

    A signature, since random bytes are always attached as they are; text may be packed or not, as it comes.
    """
    mine = sealed.files[name]
    assert sealed.pdf.count(mine) == 1
    assert len(mine) == len(other[name])
    with pytest.raises(RecordBroken):
        verify_pdf(sealed.pdf.replace(mine, other[name]))


def test_a_second_file_of_the_same_name_in_the_pdf_is_found(sealed: Sealed):
    """An attacker appends a second object with the same number, as a later revision of the file."""
    verify_pdf(sealed.pdf)
    number = sealed.pdf.split(b"/Type/Filespec/F(seal.txt)")[1].split(b"/EF<</F ")[1].split(b" ")[0]
    with pytest.raises(RecordBroken, match="one object"):
        verify_pdf(
            sealed.pdf + b"\n" + number + b" 0 obj\n<</Length 1/Type/EmbeddedFile>>\nstream\nx\nendstream\n"
        )


def test_an_attachment_exchanged_holds_where_no_signature_is_asked(
    sealed: Sealed, other: dict[str, bytes], monkeypatch: pytest.MonkeyPatch
):
    """The control: the seal's signature of another record, in a PDF that nobody checks as a whole."""
    exchanged = sealed.pdf.replace(sealed.files["seal.sig"], other["seal.sig"])
    assert exchanged != sealed.pdf
    monkeypatch.setattr(verification, "check_signed", lambda *_: None)
    monkeypatch.setattr(verification, "_check_list", lambda files: None)
    monkeypatch.setattr(examination, "_check_pdf", lambda *_: None)
    assert examination.verify_pdf(exchanged)
