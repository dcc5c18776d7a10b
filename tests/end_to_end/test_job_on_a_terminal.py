"""The job log's forms on a real terminal: few keys, Enter takes what stands in brackets."""

import os
import sys
from pathlib import Path

import pexpect
import pytest
from PIL import Image

from curewatch.logbook import EntryKind, Logbook
from tests.broker import PATIENCE


@pytest.fixture
def shed(tmp_path: Path) -> Path:
    """A configuration with a logbook of its own."""
    file = tmp_path / "curewatch.toml"
    file.write_text(f'[logbook]\npath = "{tmp_path / "shed.sqlite"}"\n')
    return file


def on_terminal(shed: Path, *arguments: str, command: str = "job") -> "pexpect.spawn[str]":
    """``curewatch job …`` with a person at the keyboard."""
    return pexpect.spawn(
        sys.executable,
        ["-m", "curewatch", command, *arguments, "--config", str(shed)],
        env=os.environ | {"TERM": "xterm", "COLUMNS": "80"},
        encoding="utf-8",
        timeout=PATIENCE,
    )


def answer(person: "pexpect.spawn[str]", *answers: tuple[str, str]) -> None:
    """Wait for each question, and type its answer."""
    for question, typed in answers:
        person.expect_exact(question)
        person.sendline(typed)


@pytest.mark.long
def test_a_job_is_told_with_a_few_keys(shed: Path) -> None:
    """Open and two batches: a wrong mass is asked again, and the second batch takes the first one's lots."""
    opening = on_terminal(shed, "open")
    answer(opening, ("What is done", "new rudder cheek"), ("Boat", ""), ("Part", ""), ("[epoxy-slow]", ""))
    answer(opening, ("[plywood]", ""), ("Thickness", "12"), ("Rule sets", ""), ("Who", "the owner"))
    answer(opening, ("When: now, 20 min ago or 21:40 [now]", "tomorrow"), ("When", "1 h ago"))
    opening.expect_exact("job J1 opened: new rudder cheek")
    opening.expect(pexpect.EOF)
    first = on_terminal(shed, "batch")
    answer(first, ("Resin system [epoxy-slow]", ""), ("Resin as weighed", "a cupful"))
    first.expect_exact("no mass")
    answer(first, ("Resin as weighed", "200 g"), ("Hardener", "44"), ("Lot number of the resin", "demo 7"))
    answer(first, ("hardener", "demo H2"), ("pot", "18 C"), ("[the owner]", ""))
    answer(first, ("Remark", ""), ("When", "10 min ago"))
    first.expect_exact("B1")
    first.expect(pexpect.EOF)
    second = on_terminal(shed, "batch")
    answer(second, ("Resin system [epoxy-slow]", ""), ("Resin as weighed", "100"), ("Hardener", "22"))
    answer(second, ("[demo 7]", ""), ("[demo H2]", ""))
    answer(second, ("pot", ""), ("[the owner]", ""), ("Remark", ""), ("[now]", ""))
    assert "as no other was told" not in second.before  # each was shown in its question
    second.expect_exact("B2")
    second.expect(pexpect.EOF)
    laying = on_terminal(shed, command="layer")
    answer(laying, ("Part of the work", ""), ("[B1, B2]", "B1, B7"), ("How many layers", "two"))
    laying.expect_exact("Use a whole number from 1 to 99")
    answer(laying, ("How many layers", "2"), ("Cloth", "twill"), ("Mixed in one pot", ""))
    answer(laying, ("kept with it", ""), ("[the owner]", ""))
    laying.expect_exact("has no batch B7; its batches: B1, B2")
    laying.expect(pexpect.EOF)
    laying = on_terminal(shed, command="layer")
    answer(laying, ("Part of the work", "rudder cheek"), ("[B1, B2]", ""), ("How many layers", "2"))
    answer(laying, ("Cloth", "twill"), ("Mixed in one pot", ""), ("kept with it", "-"), ("[the owner]", ""))
    answer(laying, ("[as its batch]", ""))
    laying.expect_exact("L1 J1 rudder cheek, epoxy-slow, 244 g")
    laying.expect(pexpect.EOF)
    with Logbook(shed.parent / "shed.sqlite", read_only=True) as logbook:
        (layer,) = (entry.payload for entry in logbook.entries(EntryKind.LAYER))
        assert (layer["batches"], layer["layers"], layer["by"]) == (["B1", "B2"], 2, "the owner")
        assert layer["part"] == "rudder cheek"
        told = logbook.entries(EntryKind.BATCH)
        batches = [entry.payload for entry in told]
        assert layer["started"] == told[0].at
        assert told[0].recorded - told[0].at == pytest.approx(600.0)
        assert [batch.get("given_afterwards") for batch in batches] == [True, None]
    assert [batch["resin_lot"] for batch in batches] == ["demo 7", "demo 7"]
    assert [batch["resin_mass"] for batch in batches] == pytest.approx([0.2, 0.1])
    assert {batch["by"] for batch in batches} == {"the owner"}


def test_a_form_that_is_broken_off_writes_nothing(shed: Path) -> None:
    """End of input, or Ctrl-C, in the middle of a form: said in a sentence, and nothing is in the logbook."""
    for key in ("\x04", "\x03"):
        opening = on_terminal(shed, "open")
        opening.expect_exact("What is done")
        opening.send(key)
        opening.expect(pexpect.EOF)
        assert "Traceback" not in (opening.before or "")
        opening.close()
        assert opening.exitstatus not in (0, None)
    with Logbook(shed.parent / "shed.sqlite", read_only=True) as logbook:
        assert not logbook.entries()


@pytest.mark.long
def test_what_was_seen_is_asked_for(shed: Path) -> None:
    """`observe` alone on a terminal asks what, again when the word is none of the four, who and when."""
    on_terminal(shed, "--mass", "150 g", "--ago", "9 h", command="layer").expect(pexpect.EOF)
    seeing = on_terminal(shed, "--temperature", "18", command="observe")
    answer(seeing, ("What was observed", "green"), ("What was observed", "gel"), ("Who", "a friend"))
    answer(seeing, ("When", "in an hour"), ("When", "5 min ago"))
    seeing.expect_exact("L1 gelled")
    seeing.expect(pexpect.EOF)
    with Logbook(shed.parent / "shed.sqlite", read_only=True) as logbook:
        (seen,) = logbook.entries(EntryKind.OBSERVATION)
    assert (seen.payload["observed"], seen.payload["by"], seen.payload["given_afterwards"]) == (
        "gelled",
        "a friend",
        True,
    )
    assert seen.recorded - seen.at == pytest.approx(300.0)


@pytest.mark.long
def test_a_photograph_is_asked_for(shed: Path) -> None:
    """`job photo` alone asks which file, again when there is none, what it shows, who and when."""
    Image.new("RGB", (40, 30), "grey").save(shed.parent / "scarf.png")
    on_terminal(shed, "open", "--title", "new rudder cheek", "--by", "the owner").expect(pexpect.EOF)
    showing = on_terminal(shed, "photo")
    answer(showing, ("The photograph's file", str(shed.parent / "nothing.png")))
    showing.expect_exact("cannot be read")
    answer(showing, ("The photograph's file", str(shed.parent / "scarf.png")), ("What it shows", "scarf"))
    answer(showing, ("[the owner]", ""), ("When", "1 h ago"))
    showing.expect_exact("photo scarf.png")
    showing.expect(pexpect.EOF)
    with Logbook(shed.parent / "shed.sqlite", read_only=True) as logbook:
        (kept,) = logbook.entries(EntryKind.PHOTO)
    assert (kept.payload["text"], kept.payload["by"]) == ("scarf", "the owner")
    assert kept.recorded - kept.at == pytest.approx(3600.0)


@pytest.mark.long
def test_a_correction_is_asked_for(shed: Path) -> None:
    """`job correct` alone shows the entries and asks which, what, the new value, why and who."""
    on_terminal(shed, "open", "--title", "new rudder cheek", "--by", "the owner").expect(pexpect.EOF)
    on_terminal(shed, "note", "--text", "dry").expect(pexpect.EOF)
    correcting = on_terminal(shed, "correct")
    answer(correcting, ("Number of the entry", "2"), ("What was wrong: text, by, at", "colour"))
    answer(correcting, ("What was wrong", "text"), ("text should be [dry]", "damp"))
    answer(correcting, ("Reason", ""), ("Reason", "misread"), ("Who [the owner]", "a friend"))
    correcting.expect_exact("entry 2 corrected")
    correcting.expect(pexpect.EOF)
    with Logbook(shed.parent / "shed.sqlite", read_only=True) as logbook:
        (entry,) = (entry.payload for entry in logbook.entries(EntryKind.CORRECTION))
    assert entry == {"corrects": 2, "changes": {"text": "damp"}, "reason": "misread", "by": "a friend"}


@pytest.mark.long
def test_a_layer_s_end_says_who_and_when(shed: Path) -> None:
    """`layer --close` takes --by and --ago as everything told at the bench does."""
    on_terminal(shed, "--mass", "150 g", "--ago", "9 h", command="layer").expect(pexpect.EOF)
    closing = on_terminal(shed, "--close", "L1", "--by", "a friend", "--ago", "1 h", command="layer")
    closing.expect_exact("no layer is running")
    closing.expect(pexpect.EOF)
    early = on_terminal(shed, "--mass", "100", "--ago", "2 h", command="layer")
    early.expect(pexpect.EOF)
    rejected = on_terminal(shed, "--close", "L2", "--ago", "5 h", command="layer")
    rejected.expect_exact("L2 began after that")
    rejected.expect(pexpect.EOF)
    with Logbook(shed.parent / "shed.sqlite", read_only=True) as logbook:
        (closed,) = logbook.entries(EntryKind.LAYER_CLOSED)
    assert (closed.payload["by"], closed.payload["given_afterwards"]) == ("a friend", True)
    assert closed.recorded - closed.at == pytest.approx(3600.0)
