"""Answers on real terminals: narrow and wide, coloured, without colour, dumb, and into a file."""

import subprocess
import sys
import time
from pathlib import Path

import pexpect
import pytest

from tests.broker import PATIENCE
from tests.demo_world import shed_in_use
from tests.terminal import environment, spawn

ANSWERS = ("tonight", "windows", "layup round --length 120 --thickness 6", "cure --temperature 12", "doctor")


@pytest.fixture(scope="module")
def shed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demonstration's shed, whose sensors have just spoken."""
    folder = tmp_path_factory.mktemp("shed")
    shed_in_use(folder, time.time())
    return folder


def shown(shed: Path, answer: str, columns: int, **more: str) -> list[str]:
    """The rows that such a terminal was sent."""
    program = spawn(shed, *answer.split(), rows=60, columns=columns, **more)
    program.expect(pexpect.EOF)
    program.close()
    assert program.exitstatus in {0, 3, 4}
    return [row.rstrip() for row in program.before.replace("\r\n", "\n").splitlines()]


@pytest.mark.long
@pytest.mark.parametrize("answer", ANSWERS)
def test_no_terminal_breaks_a_word(shed: Path, answer: str) -> None:
    """At 40 columns no row is wider and no word is new; at 80 and 200 none is wider than 80."""
    wide = shown(shed, answer, 200, NO_COLOR="1")
    usual = shown(shed, answer, 80, NO_COLOR="1")
    assert max(map(len, usual + wide)) <= 80
    narrow = shown(shed, answer, 40, NO_COLOR="1")
    assert all(len(row) <= 40 or " " not in row.strip() for row in narrow)
    later = shown(shed, answer, 80, NO_COLOR="1")  # what time has changed meanwhile is no broken word
    letters = [word for row in narrow for word in row.split() if word.isalpha()]
    assert set(letters) <= {word for row in usual + wide + later for word in row.split()}


@pytest.mark.long
def test_colour_is_for_terminals_that_want_it(shed: Path) -> None:
    """The first line alone is coloured; with NO_COLOR, on a dumb terminal and in a file nothing is."""
    coloured = shown(shed, "tonight", 80)
    assert "\x1b[" in coloured[0]
    assert not any("\x1b" in row for row in coloured[1:])
    bare = shown(shed, "tonight", 80, NO_COLOR="1")
    dumb = shown(shed, "tonight", 80, TERM="dumb")
    file = shed / "answer.txt"
    with file.open("w") as opened:
        subprocess.run(
            [sys.executable, "-m", "curewatch", "tonight"],
            cwd=shed,
            env=environment(shed),
            stdout=opened,
            timeout=PATIENCE,
            check=False,
        )
    written = file.read_text(encoding="utf-8").splitlines()
    later = shown(shed, "tonight", 80)  # minutes may have gone by
    for rows in (bare, dumb, written):
        assert not any("\x1b" in row for row in rows)
        assert rows[0].split()[0] in {"GO", "NO-GO", "UNKNOWN"}
        assert rows[-1] in {coloured[-1], later[-1]}
