"""Every command of the documents, typed as it stands, in the demonstration's shed."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from curewatch.clock import SystemClock
from tests import demo_world, documents
from tests.broker import PATIENCE

ANSWERS = {0, 3, 4}  # go or done, no-go, unknown
LASTING = re.compile(r"curewatch (watch|ingest|simulate)\b(?!.*(--once|--evening|--count|--file))")
WHILE = 4.0  # s that a command is watched which does not end by itself
ASKING = (
    "curewatch setup"  # holds a conversation; tests/end_to_end/test_setup_conversation.py types the answers
)


@pytest.mark.long
@pytest.mark.parametrize(
    "document",
    [each for each in documents.documents() if documents.commands(each)],
    ids=lambda path: path.name,
)
def test_every_command_of_a_document_runs_as_it_stands(document: Path, tmp_path: Path) -> None:
    """In the order in which they stand, in one shed; each answers, none says that it was typed wrongly."""
    demo_world.shed_in_use(tmp_path, SystemClock().now().utc)
    for folder in ("resins", "records"):
        (tmp_path / folder).mkdir()
    environment = _environment(tmp_path)
    for line in documents.commands(document):
        status, said = _typed(line, tmp_path, environment)
        if line == ASKING:
            assert (status, "needs a terminal" in said) == (2, True), said
            continue
        assert status in ANSWERS, f"{line}\n{said}"
        assert "Traceback" not in said, line


def _environment(folder: Path) -> dict[str, str]:
    programs = folder / "bin"
    programs.mkdir()
    (programs / "curewatch").write_text(f'#!/bin/sh\nexec "{sys.executable}" -m curewatch "$@"\n')
    (programs / "curewatch").chmod(0o755)
    return {
        "PATH": f"{programs}{os.pathsep}{os.environ['PATH']}",
        "PYTHONPATH": str(documents.PACKAGE),
        "HOME": str(folder),
        "LANG": "C.UTF-8",
    }


def _typed(line: str, folder: Path, environment: dict[str, str]) -> tuple[int, str]:
    """The exit status and all that was said; 0 where it went on until it was ended."""
    process = subprocess.Popen(
        ["bash", "-c", f"exec {line}" if LASTING.match(line) else line],
        cwd=folder,
        env=environment,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    try:
        said, _ = process.communicate(timeout=WHILE if LASTING.match(line) else PATIENCE)
    except subprocess.TimeoutExpired:
        process.terminate()
        said, _ = process.communicate(timeout=PATIENCE)
        return (0 if LASTING.match(line) else 1), said
    return process.returncode, said
