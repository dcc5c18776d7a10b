"""Attack: a PDF is changed as the format allows it, by what is added after its end; the genuine bytes stay.

Readers show the last version of a page. The signature is over the whole file, so anything added shows.
"""

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from curewatch.errors import RecordBroken
from curewatch.record import examination, paper
from curewatch.record.examination import verify_pdf
from tests.record_attacks import Sealed, shell_check


def last(pdf: bytes, pattern: bytes) -> bytes:
    return re.findall(pattern, pdf)[-1]


def another_version(pdf: bytes) -> bytes:
    """An update with a page's content of its own."""
    start = last(pdf, rb"startxref\s+(\d+)")
    body = b"\n9 0 obj\n<</Length 20>>\nstream\nBT (all met) Tj ET  \nendstream\nendobj\n"
    return pdf + body + b"xref\n0 0\ntrailer\n<</Prev " + start + b">>\nstartxref\n%d\n%%%%EOF\n" % len(pdf)


def another_title(pdf: bytes) -> bytes:
    return pdf + b"\n1 0 obj\n<</Title (All met)>>\nendobj\n%%EOF\n"


def words_after_the_end(pdf: bytes) -> bytes:
    return pdf + b"\n% held\n"


def words_before_the_beginning(pdf: bytes) -> bytes:
    return b"%PDF-1.7\n" + pdf


def a_second_signature(pdf: bytes) -> bytes:
    return pdf + b"\n% curewatch-signature-" + b"0" * 128 + b"\n"


def two_files_in_one(pdf: bytes) -> bytes:
    return pdf + pdf


APPENDED = [
    another_version,
    another_title,
    words_after_the_end,
    words_before_the_beginning,
    a_second_signature,
    two_files_in_one,
]


@pytest.mark.long
@pytest.mark.parametrize("change", APPENDED)
@pytest.mark.few(1)
def test_what_is_added_shows(sealed: Sealed, folder: Path, change: Callable[[bytes], bytes], monkeypatch):
    """Both refuse it. The control: without the signature over the whole, most of it passes."""
    forged = change(sealed.pdf)
    with pytest.raises(RecordBroken):
        verify_pdf(forged)
    folder.mkdir()
    for name, content in sealed.files.items():
        (folder / name).write_bytes(content)
    (folder / "cheek.pdf").write_bytes(forged)
    assert shell_check(folder).returncode == 5
    if change in (words_after_the_end, another_version, another_title):
        monkeypatch.setattr(examination, "_check_pdf", lambda *_: None)
        assert verify_pdf(forged)


@pytest.mark.parametrize("place", [0.1, 0.5, 0.9])
@pytest.mark.few(1)
def test_what_is_taken_away_shows(sealed: Sealed, place: float):
    """A hundred bytes out of it, or blanks in their place."""
    at = int(len(sealed.pdf) * place)
    for between in (b"", b" " * 100):
        with pytest.raises(RecordBroken):
            verify_pdf(sealed.pdf[:at] + between + sealed.pdf[at + 100 :])
    assert paper.unsigned(sealed.pdf)
