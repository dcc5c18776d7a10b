"""Attack: the owner, who has the key, writes pages that his readings and entries do not bear.

He signs whatever he changed. Before, only the chain was sealed, and everything held.
"""

import shutil
import zlib
from pathlib import Path

import pytest

from curewatch.errors import RecordBroken
from curewatch.logbook import Entry, EntryKind, Logbook
from curewatch.record import examination, paper, telling, verification, writing
from curewatch.record.examination import verify, verify_pdf
from curewatch.record.proof import checksums
from curewatch.record.verification import verify_files
from curewatch.units import DAY
from tests import record_world as world
from tests.record_attacks import (
    ATTACKERS,
    Change,
    Sealed,
    answers,
    attacked,
    lines,
    own_copy,
    shell_check,
)

LATER = world.OPENED + 6 * DAY
BENT = {
    "an outcome": (b'"not met"', b'"met"'),
    "the work": (b"biaxial", b"woven"),
    "a lot": (b"R-2217", b"R-9999"),
}


@pytest.mark.long
@pytest.mark.parametrize("name", ["account.json", "pages.json"])
@pytest.mark.parametrize("old", [b"met", b"epoxy", b"2026"])
@pytest.mark.few(2)
def test_what_is_said_is_sealed(sealed: Sealed, folder: Path, name: str, old: bytes):
    """The two files that say what the pages say are changed and signed: the chain was told other digests."""

    def change(files: dict[str, bytes]) -> dict[str, bytes]:
        return {name: files[name].replace(old, old[::-1], 1)}

    found = answers(attacked(sealed, change, ATTACKERS[2]), folder)
    assert found.broken.startswith(name)
    assert "which is sealed" in found.broken
    assert found.shell == 5


@pytest.mark.long
@pytest.mark.parametrize("name", BENT)
@pytest.mark.few(1)
def test_a_chain_that_was_told_bent_pages_is_found(
    sealed: Sealed, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
):
    """He bends the program: the chain has the digests of the bent pages. Made again, they are others.

    The page of shell does not reckon and says HOLDS: README.txt says so.
    """
    old, new = BENT[name]

    def bent(account, reader):
        said, data = telling.told(account, reader)
        changed = {file: content.replace(old, new) for file, content in data.items()}
        assert changed != data
        return said, changed

    monkeypatch.setattr(writing, "told", bent)
    with Logbook(own_copy(sealed, tmp_path)) as logbook:
        made = writing.write(logbook, world.JOB, tmp_path, at=LATER)
    for place in (made.folder, made.pdf):
        assert place is not None
        with pytest.raises(RecordBroken, match="what readings and entries give"):
            verify(place)
    assert made.folder is not None
    assert shell_check(made.folder).returncode == 0


def test_a_page_signed_anew_is_found(sealed: Sealed, tmp_path: Path):
    """The screen page is bent, its list made and signed anew."""
    place = tmp_path / "copy"
    shutil.copytree(sealed.folder, place)
    bent = (place / "record.html").read_bytes().replace(b"not met", b"met")
    (place / "record.html").write_bytes(bent)
    listed = checksums(
        {"files.sha256": sealed.files["files.sha256"], "record.pdf": sealed.pdf, "record.html": bent}
    )
    (place / "pages.sha256").write_bytes(listed)
    (place / "pages.sig").write_bytes(sealed.key.sign(listed))
    with pytest.raises(RecordBroken, match=r"record\.html.*the pages that readings and entries give"):
        verify(place)


@pytest.mark.long
@pytest.mark.parametrize("field", ["subject", "title", "outcomes"])
@pytest.mark.few(1)
def test_a_pdf_laid_out_anew_is_found(sealed: Sealed, field: str):
    """Genuine files inside, other pages around them, signed with the right key."""
    pages = sealed.pages
    put = tuple((name, "met") for name, _ in pages.outcomes) if field == "outcomes" else "All met"
    forged = paper.pdf(pages._replace(**{field: put}), sealed.files, sealed.key)
    with pytest.raises(RecordBroken, match="other pages"):
        verify_pdf(forged)
    verify_pdf(paper.pdf(pages, sealed.files, sealed.key))


@pytest.mark.long
def test_bytes_behind_the_packed_readings_are_found(sealed: Sealed, monkeypatch: pytest.MonkeyPatch):
    """Readings are not packed anew to compare the PDF; the control: only what unpacks them sees the rest."""
    pages, packed = sealed.pages, zlib.compress(sealed.files["readings.csv"], 9)
    other, forged = (
        paper._signed(paper.laid_out(pages, sealed.files, body), sealed.key)
        for body in (packed, packed + b"another history")
    )
    assert verify_pdf(other)
    with pytest.raises(RecordBroken, match="a whole file and nothing more"):
        verify_pdf(forged)
    monkeypatch.setattr(examination, "attached", lambda *_: sealed.files)
    assert verify_pdf(forged)


def without_a_block(files: dict[str, bytes]) -> dict[str, bytes]:
    """A block while the job ran is said to be left out, and its readings are taken away."""
    number = lines(files["blocks.csv"])[8].split(b",")[0] + b","
    kept = [line for line in lines(files["readings.csv"]) if not line.startswith(number)]
    blocks = [
        line.replace(b",here,", b",left out,") if line.startswith(number) else line
        for line in lines(files["blocks.csv"])
    ]
    return {"readings.csv": b"".join(kept), "blocks.csv": b"".join(blocks)}


def test_readings_of_the_job_cannot_be_left_out(sealed: Sealed):
    """All is signed anew."""
    with pytest.raises(RecordBroken):
        verify_files(attacked(sealed, without_a_block, ATTACKERS[2]))


def met(files: dict[str, bytes]) -> dict[str, bytes]:
    return {"pages.json": files["pages.json"].replace(b"not met", b"met")}


def of_another_resin(files: dict[str, bytes]) -> dict[str, bytes]:
    return {"account.json": files["account.json"].replace(b"epoxy-slow", b"epoxy-fast")}


@pytest.mark.parametrize("change", [met, of_another_resin, without_a_block])
def test_pages_hold_where_they_are_not_made_again(
    sealed: Sealed, change: Change, monkeypatch: pytest.MonkeyPatch
):
    """The control: nothing else compares what is said with readings and entries."""
    files = attacked(sealed, change, ATTACKERS[2])
    pages = sealed.pages
    monkeypatch.setattr(verification, "check_said", lambda *_: pages)
    assert verify_files(files)


@pytest.mark.long
def test_what_was_told_after_the_account_is_found(sealed: Sealed, tmp_path: Path, monkeypatch):
    """He tells what is bad between the account and the seal, so that it is sealed and on no page."""
    genuine = writing.seal
    with Logbook(own_copy(sealed, tmp_path)) as logbook:

        def late(*rest, **named):
            logbook.write(Entry(EntryKind.NOTE, {"text": "it came off"}, LATER, job=world.JOB))
            return genuine(*rest, **named)

        monkeypatch.setattr(writing, "seal", late)
        with pytest.raises(Exception, match="told of the job while"):
            writing.write(logbook, world.JOB, tmp_path / "a", at=LATER)
        entries = logbook.entries
        monkeypatch.setattr(
            logbook,
            "entries",
            lambda *rest, **named: (
                [one for one in entries(*rest, **named) if "came off" not in one.line]
                if set(named) == {"job"} and not rest
                else entries(*rest, **named)
            ),
        )
        made = writing.write(logbook, world.JOB, tmp_path / "b", at=LATER + 60, pdf=False)
    assert made.folder is not None
    with pytest.raises(RecordBroken, match="left out"):
        verify(made.folder)
