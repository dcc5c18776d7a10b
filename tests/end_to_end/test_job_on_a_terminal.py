"""The job log's forms on a real terminal: few keys, Enter takes what stands in brackets."""

import os
import sys
from pathlib import Path

import pexpect
import pytest

from curewatch.logbook import Kind, Logbook
from tests.terminal import PATIENCE


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


def test_a_job_is_told_with_a_few_keys(shed: Path) -> None:
    """Open and two batches: a wrong mass is asked again, and the second batch takes the first one's lots."""
    opening = on_terminal(shed, "open")
    answer(opening, ("What is done", "new rudder cheek"), ("Boat", ""), ("Part", ""), ("[epoxy-slow]", ""))
    answer(opening, ("[plywood]", ""), ("Thickness", "12"), ("Rule sets", ""), ("Who", "the owner"))
    opening.expect_exact("job J1 opened: new rudder cheek")
    opening.expect(pexpect.EOF)
    first = on_terminal(shed, "batch")
    answer(first, ("Resin as weighed", "a cupful"))
    first.expect_exact("is not a mass")
    answer(first, ("Resin as weighed", "200 g"), ("Hardener", "44"), ("Lot number of the resin", "demo 7"))
    answer(first, ("hardener", "demo H2"), ("pot", "18 C"), ("Resin system", ""), ("[the owner]", ""))
    answer(first, ("Remark", ""))
    first.expect_exact("B1")
    first.expect(pexpect.EOF)
    second = on_terminal(shed, "batch")
    answer(second, ("Resin as weighed", "100"), ("Hardener", "22"), ("[demo 7]", ""), ("[demo H2]", ""))
    answer(second, ("pot", ""), ("[epoxy-slow]", ""), ("[the owner]", ""), ("Remark", ""))
    second.expect_exact("B2")
    second.expect(pexpect.EOF)
    laying = on_terminal(shed, command="layer")
    answer(laying, ("[B1, B2]", "B1, B7"), ("How many layers", "two"), ("How many layers", "2"))
    answer(laying, ("Cloth", "twill"), ("Mixed in one pot", ""), ("kept with it", ""), ("[the owner]", ""))
    laying.expect_exact("has no batch B7; its batches: B1, B2")
    laying.expect(pexpect.EOF)
    laying = on_terminal(shed, command="layer")
    answer(laying, ("[B1, B2]", ""), ("How many layers", "2"), ("Cloth", "twill"), ("Mixed in one pot", ""))
    answer(laying, ("kept with it", "-"), ("[the owner]", ""))
    laying.expect_exact("L1, epoxy-slow, 244 g")
    laying.expect(pexpect.EOF)
    with Logbook(shed.parent / "shed.sqlite", read_only=True) as logbook:
        (layup,) = (entry.payload for entry in logbook.entries(Kind.LAYUP))
        assert (layup["batches"], layup["layers"], layup["by"]) == (["B1", "B2"], 2, "the owner")
        batches = [entry.payload for entry in logbook.entries(Kind.BATCH)]
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


def test_what_was_seen_is_asked_for(shed: Path) -> None:
    """`saw` alone on a terminal asks one question, and again when the word is none of the four."""
    on_terminal(shed, "--mass", "150 g", "--ago", "3 h", command="layer").expect(pexpect.EOF)
    seeing = on_terminal(shed, "--temperature", "18", command="saw")
    answer(seeing, ("What was seen", "green"), ("What was seen", "gel"))
    seeing.expect_exact("L1 gelled")
    seeing.expect(pexpect.EOF)
    with Logbook(shed.parent / "shed.sqlite", read_only=True) as logbook:
        assert [entry.payload["seen"] for entry in logbook.entries(Kind.OBSERVATION)] == ["gelled"]
