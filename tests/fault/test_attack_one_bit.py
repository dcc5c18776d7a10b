"""Attack: one bit is flipped, anywhere in the attached files or in the PDF."""

import random
from contextlib import suppress
from pathlib import Path

import pytest

from curewatch.errors import RecordBroken
from curewatch.record import examination, verification
from curewatch.record.examination import verify_pdf
from curewatch.record.proof import FILES
from curewatch.record.verification import verify_files
from tests.record_attacks import Sealed, answers

CHANCE = 20261125


def flipped(content: bytes, bit: int) -> bytes:
    """The same bytes with one bit the other way; of an empty file (nobody dated the seal), a byte more."""
    changed = bytearray(content or b"\0")
    changed[bit // 8] ^= 1 << bit % 8
    return bytes(changed)


@pytest.mark.parametrize("name", FILES)
@pytest.mark.few(8)
def test_one_bit_of_a_file_is_found(sealed: Sealed, name: str):
    """Small files: every bit. Large ones: the first and last bytes, and two hundred bits by chance."""
    content = sealed.files[name]
    bits = range(8 * max(1, len(content))) if len(content) <= 64 else _some(len(content), 200)
    for bit in bits:
        with pytest.raises(RecordBroken):
            verify_files({**sealed.files, name: flipped(content, bit)})


@pytest.mark.parametrize("name", FILES)
def test_the_page_of_shell_finds_one_bit_too(sealed: Sealed, folder: Path, name: str):
    """One bit in the middle of each file; the check itself is run from a copy that we know."""
    content = sealed.files[name]
    changed = {**sealed.files, name: flipped(content, 8 * (len(content) // 2))}
    if name == "check.sh":
        return  # whoever changes the check runs his own: README.txt says every step by hand
    found = answers(changed, folder)
    assert found.broken
    assert found.shell == 5


@pytest.mark.long
def test_one_bit_of_the_pdf_is_found(sealed: Sealed):
    """Anywhere in the file: pages, fonts, attachments, structure, the signature itself."""
    verify_pdf(sealed.pdf)
    place = sealed.pdf.index(b"curewatch-signature-")
    chance = random.Random(CHANCE)
    anywhere = [chance.randrange(8 * len(sealed.pdf)) for _ in range(40)]
    signature = range(8 * place, 8 * (place + 148), 37)
    for bit in (0, 8 * len(sealed.pdf) - 1, *anywhere, *signature):
        with pytest.raises(RecordBroken):
            verify_pdf(flipped(sealed.pdf, bit))


def _some(length: int, count: int) -> list[int]:
    chance = random.Random(CHANCE)
    return [
        *range(64),
        *range(8 * length - 64, 8 * length),
        *(chance.randrange(8 * length) for _ in range(count)),
    ]


@pytest.mark.long
def test_one_bit_of_the_pdf_holds_where_it_is_not_signed_as_a_whole(
    sealed: Sealed, monkeypatch: pytest.MonkeyPatch
):
    """The control: of forty places many touch neither its files nor its frame."""
    bent = [flipped(sealed.pdf, bit) for bit in _some(len(sealed.pdf), 40)[128:]]

    def held() -> int:
        count = 0
        for content in bent:
            with suppress(RecordBroken):
                count += bool(examination.verify_pdf(content))
        return count

    pages = sealed.pages
    monkeypatch.setattr(verification, "check_said", lambda *_: pages)
    assert held() == 0
    monkeypatch.setattr(examination, "_check_pdf", lambda *_: None)
    assert held() > 5
