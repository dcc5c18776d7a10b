"""Any character in any field: drawn where a font has it, else its code point."""

import re
import subprocess
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from curewatch.logbook import Entry, EntryKind, Logbook
from curewatch.record import glyphs, paper
from curewatch.record.examination import verify
from curewatch.record.page import Pages, Section
from curewatch.record.proof import FILES
from curewatch.record.words import shown
from curewatch.record.writing import write
from curewatch.units import DAY
from tests import record_world as world
from tests.record_attacks import need

STRANGE = (
    "\U0001f44d 船 किश्ती قارب \u0300\u0301x\u0489 \U0001f468\u200d\U0001f469 \ufe0f "
    "﷽ \U00010348 A\u030a ½ ≤ №"
)


def sheet(text: str) -> bytes:
    """One page with this text in every place."""
    section = Section(text, (text,))
    said = Pages(
        text, text, text, "0000-" * 6 + "0000", "0" * 64, ((text, text),), ((text, "met"),), (section,), 0.0
    )
    return paper.laid_out(said, dict.fromkeys(FILES, b"x"), b"x")


def read_back(pdf: bytes, place: Path) -> str:
    need("pdftotext")
    (place / "page.pdf").write_bytes(pdf)
    return subprocess.run(
        ["pdftotext", "-layout", place / "page.pdf", "-"], capture_output=True, text=True, check=True
    ).stdout


def test_every_character_in_the_list_is_drawn():
    """All of them in one document: a font for each, or the layout would stop."""
    first, last = glyphs._ranges()
    every = [chr(code) for one, other in zip(first, last, strict=True) for code in range(one, other + 1)]
    assert len(every) > 7000
    section = Section("All", tuple(" ".join(every[n : n + 60]) for n in range(0, len(every), 60)))
    said = Pages("t", "s", "j", "0000-" * 6 + "0000", "0" * 64, (), (), (section,), 0.0)
    assert paper._laid_out(said, dict.fromkeys(FILES, b"x"), glyphs.drawable)


def test_a_character_that_no_font_has_is_written_out(tmp_path: Path):
    """A thumb and Chinese; what a font has stays itself, also when it is read back."""
    said = read_back(sheet("thumb \U0001f44d boat 船 naïve µ №"), tmp_path)
    assert "thumb (U+1F44D) boat (U+8239) naïve µ №" in said


SCRIPTS = "قارب סירה μέγα лодка thuyền Cafe\u0301 e\u0323\u0302 किश्ती เรือ 船体 \U0001f44d office ﬁ"
HIDDEN = {"a\0b": "a\\x00b", "ab\u202egnp": "ab\\u202egnp", "x\ud800y": "x\\ud800y", "a\u200bb": "a\\u200bb"}


def test_copied_text_is_the_text_in_every_script(tmp_path: Path):
    """Word by word; what nobody sees is written out. Marks of direction are the reader's own."""
    words = [*SCRIPTS.split(), *HIDDEN]
    said = re.sub("[\u202a-\u202e\\s]", "", read_back(sheet(shown(" ".join(words))), tmp_path))
    for word in words:
        plain = shown(word)
        assert plain == HIDDEN.get(word, plain)
        assert glyphs.drawable(plain) in said or glyphs.ascii_only(plain) in said, word


@pytest.mark.parametrize(
    "text", [STRANGE, "\u0301", "x\u0e49\u0489", "\u202e\u2066", "\U000e0041", "a" * 300]
)
def test_no_text_stops_the_layout(text: str):
    """Marks without a base, joined pictures, directions, long runs: laid out, twice the same."""
    assert sheet(text) == sheet(text)


@given(st.text(st.characters(exclude_categories=["Cs"]), max_size=60))
def test_what_is_written_out_can_be_drawn(text: str):
    """Every character of the outcome is in the list, and nothing is lost of what was."""
    out = glyphs.drawable(text)
    assert all(each in "\n\t" or each.isascii() or glyphs.is_drawn(each) for each in out)
    assert glyphs.drawable(out) == out
    assert glyphs.ascii_only(text).isascii()


@pytest.mark.long
def test_any_character_in_any_field_of_a_record(tmp_path: Path):
    """Job, title, boat, names, lots, notes: written, and both forms hold."""
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        opened = {"title": STRANGE, "boat": STRANGE, "what": STRANGE, "resin": "epoxy-slow", "by": STRANGE}
        logbook.append(world.readings(world.OPENED - DAY, world.OPENED + DAY, step=1800.0))
        for kind, told in (
            (EntryKind.JOB_OPEN, opened),
            (EntryKind.NOTE, {"text": STRANGE, "by": STRANGE}),
            (EntryKind.BATCH, {"batch": STRANGE, "resin_lot": STRANGE, "resin_mass": 0.1}),
            (
                EntryKind.LAYER,
                {"layer": STRANGE, "started": world.OPENED, "resin": "epoxy-slow", "lot": STRANGE},
            ),
            (EntryKind.QUALITY, {"check": STRANGE, "layer": STRANGE, "unit": STRANGE, "value": 1.0}),
        ):
            logbook.write(Entry(kind, told, world.OPENED, job=STRANGE))
        written = write(logbook, STRANGE, tmp_path / "out", at=world.OPENED + DAY)
    for place in (written.pdf, written.folder):
        assert place is not None
        verify(place)
    assert written.folder is not None
    assert "\U0001f44d 船" in (written.folder / "record.html").read_text()
