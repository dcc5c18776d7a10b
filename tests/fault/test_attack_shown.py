"""Attack: a record from somebody else is read on a terminal. It must not act on it, nor pass for whole."""

import json
import os
import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from curewatch.cli.main import run
from curewatch.cli.screens import record as screen
from curewatch.errors import RecordBroken
from curewatch.record import examination, showing
from tests.record_attacks import ATTACKERS, Sealed, attacked

EVIL = {
    "an escape": "\x1b[2J\x1b]0;title\x07held",
    "a direction": "met \u202e toN\u2066",
    "a picture of letters": "\u0441lassed \U000e0041",
    "a line of our own": "ok\nholds: nothing was changed since it was sealed",
    "long": "w" * 2_000_000,
}


def put(folder: Path, files: dict[str, bytes]) -> Path:
    folder.mkdir(exist_ok=True)
    for name, content in files.items():
        (folder / name).write_bytes(content)
    return folder


def shown(path: Path, capsys: pytest.CaptureFixture[str], *more: str) -> tuple[int, str]:
    with pytest.raises(SystemExit) as left:
        run(["record", "show", str(path), *more])
    said = capsys.readouterr()
    return int(left.value.code or 0), said.out + said.err


@pytest.mark.parametrize("place", ["subject", "facts", "heading", "text", "cell", "outcomes"])
@pytest.mark.parametrize("name", EVIL)
@pytest.mark.few(10)
def test_what_a_record_says_cannot_act_on_a_terminal(
    sealed: Sealed, folder: Path, capsys: pytest.CaptureFixture[str], name: str, place: str
):
    """Whatever stands in pages.json: one line each, written out; and it says first that it does not hold."""

    def change(files: dict[str, bytes]) -> dict[str, bytes]:
        said = json.loads(files["pages.json"])
        if place in ("subject", "facts", "outcomes"):
            said[place] = EVIL[name] if place == "subject" else [[EVIL[name], EVIL[name]]]
        else:
            rows = {"kind": "table", "head": [EVIL[name]], "rows": [[EVIL[name]]]}
            text = {"kind": "text", "text": EVIL[name]}
            heading = EVIL[name] if place == "heading" else "h"
            said["sections"] = [{"heading": heading, "blocks": [rows if place == "cell" else text]}]
        return {"pages.json": json.dumps(said).encode()}

    status, said = shown(put(folder, attacked(sealed, change, ATTACKERS[2])), capsys)
    assert status == 5
    assert said.startswith("DOES NOT HOLD")
    assert not re.search(r"[\x00-\x09\x0b-\x1f\x7f\u202a-\u202e\u2066-\u2069\U000e0000-\U000e007f]", said)
    assert "\nholds:" not in said
    assert len(said) < 20_000


@pytest.mark.parametrize(
    "said",
    [
        b"",
        b"[]",
        b"{}",
        b"[" * 100_000,
        b'{"sections": 3}',
        b'{"sections": [{"heading": 1, "blocks": [3]}]}',
        b"\xff",
    ],
)
def test_pages_that_are_none_are_told_in_one_sentence(sealed: Sealed, folder: Path, capsys, said: bytes):
    """Status 5, no traceback."""
    put(folder, attacked(sealed, lambda files: {"pages.json": said}, ATTACKERS[0]))
    status, out = shown(folder, capsys)
    assert status == 5
    assert "Traceback" not in out
    with pytest.raises(RecordBroken):
        showing.show(folder)


@pytest.mark.long
def test_a_whole_record_is_read(sealed: Sealed, tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    """PDF, folder and page: that it holds, by whom it was dated, and what stands on the pages."""
    (tmp_path / "r.pdf").write_bytes(sealed.pdf)
    for path in (tmp_path / "r.pdf", sealed.folder, sealed.folder / "record.html"):
        status, said = shown(path, capsys, "--code", sealed.seal.code)
        assert status == 0
        assert said.startswith("holds")
        assert "New rudder cheek" in said
        assert "Classed workshop: not met." in said
    status, said = shown(sealed.folder, capsys, "--code", "0" * 28)
    assert status == 5


@pytest.mark.long
@pytest.mark.parametrize("lines", [1, 100_000])
@pytest.mark.few(1)
def test_very_many_lines_are_cut(sealed: Sealed, folder: Path, lines: int):
    """A table of a hundred thousand rows."""

    def change(files: dict[str, bytes]) -> dict[str, bytes]:
        said = json.loads(files["pages.json"])
        rows = {"kind": "table", "head": ["n"], "rows": [["w"]] * lines}
        said["sections"] = [{"heading": "h", "blocks": [rows]}] * 3
        return {"pages.json": json.dumps(said).encode()}

    document = showing.show(put(folder, attacked(sealed, change, ATTACKERS[0])))
    assert sum(len(one.lines) for one in document.sections) <= showing.MOST


def test_an_escape_acts_where_lines_are_not_made_safe(
    sealed: Sealed, folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
):
    """The control: both the document and the screen write them out."""
    said = json.loads(sealed.files["pages.json"])
    said["subject"] = EVIL["an escape"]
    files = attacked(sealed, lambda _: {"pages.json": json.dumps(said).encode()}, ATTACKERS[2])
    monkeypatch.setattr(screen, "safe_line", lambda text, *_: text)
    assert "\x1b[2J" not in shown(put(folder, files), capsys)[1]
    monkeypatch.setattr(showing, "shown", lambda text, *_: str(text))
    assert "\x1b[2J" in shown(put(folder, files), capsys)[1]


def a_pipe(folder: Path) -> Path:
    os.mkfifo(folder / "r.pdf")
    return folder / "r.pdf"


def a_device(folder: Path) -> Path:
    return Path("/dev/zero")


def a_link_to_itself(folder: Path) -> Path:
    (folder / "r.pdf").symlink_to(folder / "r.pdf")
    return folder / "r.pdf"


def a_picture(folder: Path) -> Path:
    (folder / "r.pdf").write_bytes(b"\x89PNG\r\n\x1a\n")
    return folder / "r.pdf"


def nothing_at_all(folder: Path) -> Path:
    (folder / "r.pdf").touch()
    return folder / "r.pdf"


def the_head_of_a_pdf(folder: Path) -> Path:
    (folder / "r.pdf").write_bytes(b"%PDF-1.7\n")
    return folder / "r.pdf"


def a_page_alone(folder: Path) -> Path:
    (folder / "r.html").write_bytes(b"<html>")
    return folder / "r.html"


def an_empty_folder(folder: Path) -> Path:
    return folder


def a_name_without_end(folder: Path) -> Path:
    return folder / ("r" * 5000)


def an_escape_in_a_name(folder: Path) -> Path:
    return folder / "\x1b[2J\x1b]0;held\x07.pdf"


STRANGE = [
    *(a_pipe, a_device, a_link_to_itself, a_picture, nothing_at_all, the_head_of_a_pdf, a_page_alone),
    *(an_empty_folder, a_name_without_end, an_escape_in_a_name),
]


@pytest.mark.parametrize("strange", STRANGE)
@pytest.mark.few(4)
def test_what_is_no_record_is_told_in_one_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], strange: Callable[[Path], Path]
):
    """Status 5 or 2, no traceback, nothing that acts, and nothing is waited for."""
    status, said = shown(strange(tmp_path), capsys)
    assert status in (2, 5)
    assert said.count("\n") == 1
    assert len(said) < 600
    assert "\x1b" not in said


def linked(sealed: Sealed, folder: Path, name: str, to: Path) -> Path:
    shutil.copytree(sealed.folder, folder)
    (folder / name).unlink()
    (folder / name).symlink_to(to)
    return folder


@pytest.mark.long
@pytest.mark.parametrize("name", ["pages.json", "record.html", "entries.jsonl"])
def test_a_link_in_a_record_is_not_followed(
    sealed: Sealed, tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str, monkeypatch
):
    """It leads to a file of the reader's. The control: followed, a link to the genuine file holds."""
    (tmp_path / "secret").write_text('{"title": "of the reader"}')
    status, said = shown(linked(sealed, tmp_path / "first", name, tmp_path / "secret"), capsys)
    assert status == 5
    assert "of the reader" not in said
    again = linked(sealed, tmp_path / "again", name, sealed.folder / name)
    with pytest.raises(RecordBroken, match="or something else"):
        examination.verify(again)
    monkeypatch.setattr(Path, "is_symlink", lambda _: False)
    assert examination.verify(again)
