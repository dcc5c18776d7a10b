"""Attack: a link waits where a record's draft will be written, and leads to a file of the owner's."""

import os
from pathlib import Path

import pytest

from curewatch.errors import StoreFailed
from curewatch.record import writing


@pytest.mark.parametrize("leads_to", ["precious.txt", "new.txt", "folder"])
def test_a_link_under_the_draft_s_name_is_not_followed(tmp_path: Path, leads_to: str):
    """Nothing is written through it: the record is refused, the file is as it was."""
    precious, place = tmp_path / "precious.txt", tmp_path / "record-x.pdf"
    precious.write_text("mine")
    (tmp_path / "folder").mkdir()
    draft = tmp_path / f"record-x.pdf.part-{os.getpid()}"
    draft.symlink_to(tmp_path / leads_to)
    with pytest.raises((OSError, StoreFailed)):
        writing._put_file(place, b"%PDF-")
    assert precious.read_text() == "mine"
    assert not (tmp_path / "new.txt").exists()
    assert not place.exists()


def test_a_draft_that_need_not_be_new_follows_the_link(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """The control."""
    precious = tmp_path / "precious.txt"
    precious.write_text("mine")
    (tmp_path / f"record-x.pdf.part-{os.getpid()}").symlink_to(precious)
    opened = Path.open
    monkeypatch.setattr(Path, "open", lambda path, mode: opened(path, mode.replace("x", "w")))
    writing._put_file(tmp_path / "record-x.pdf", b"%PDF-")
    monkeypatch.undo()
    assert precious.read_text() == "%PDF-"
