"""The page of keys on a real pseudo-terminal of 40 columns: single presses, no Enter, and the way out."""

import sys
import time
from pathlib import Path

import pexpect
import pyte
import pytest

from curewatch.clock import SystemClock
from curewatch.logbook import EntryKind, Logbook
from curewatch.worklog import telling
from tests.broker import PATIENCE
from tests.terminal import environment, spawn, spawn_in_shell

SHED = """
[resin]
name = "epoxy-slow"
batch_mass_g = 150.0
[logbook]
path = "logbook.sqlite"
"""


class Page:
    """The program, and its screen as a person sees it."""

    def __init__(self, home: Path, columns: int = 40) -> None:
        self.screen = pyte.Screen(columns, 24)
        self._stream = pyte.Stream(self.screen)
        self.program = spawn_in_shell(home, "bench", rows=24, columns=columns)

    def wait_for(self, text: str) -> str:
        """The whole screen, once this text stands on it."""
        until = time.monotonic() + PATIENCE
        while text not in (shown := "\n".join(self.screen.display)):
            assert time.monotonic() < until, shown
            try:
                self._stream.feed(self.program.read_nonblocking(65536, timeout=0.1))
            except pexpect.TIMEOUT:
                continue
        return shown


def opened(home: Path) -> Path:
    (home / "curewatch.toml").write_text(SHED)
    with Logbook(home / "logbook.sqlite") as logbook:
        now = SystemClock().now().utc
        logbook.write(telling.opening(logbook, {"title": "new rudder cheek"}, now - 60))
    return home / "logbook.sqlite"


@pytest.mark.long
def test_one_hand_tells_an_evening_at_40_columns(tmp_path: Path) -> None:
    """Each press is confirmed on the screen and kept; u withdraws the last; q gives the shell back."""
    path = opened(tmp_path)
    page = Page(tmp_path)
    page.wait_for("8 NOTE")
    for typed, said in (
        ("1", "B1 mixed"),
        ("2", "L1 laid"),
        ("u", "undone"),
        ("2", "L2 laid"),
        ("3", "peel ply on"),
        ("8", "Write the note"),
        ("dry, no wind\r", "note kept"),
    ):
        page.program.send(typed)
        shown = page.wait_for(said)
        time.sleep(1.1)  # a bounce is one press; a person takes longer
        assert "Traceback" not in shown
    page.program.send("q")
    page.wait_for("with 0")
    with Logbook(path, read_only=True) as logbook:
        kinds = [entry.kind for entry in logbook.entries()]
        layers = [entry.payload["layer"] for entry in logbook.entries(EntryKind.LAYER)]
    assert kinds == ["job-open", "batch", "layer", "correction", "layer", "peel-ply", "note"]
    assert layers == ["L1", "L2"]


@pytest.mark.long
def test_without_boxes_each_key_is_a_line(tmp_path: Path) -> None:
    """--plain asks line by line, for a screen reader; the end of the input leaves."""
    path = opened(tmp_path)
    program = spawn(tmp_path, "bench", "--plain")
    program.expect("1 mixed, 2 laid")
    program.sendline("1")
    program.expect("B1 mixed")
    program.sendline("q")
    program.expect(pexpect.EOF)
    with Logbook(path, read_only=True) as logbook:
        assert [entry.kind for entry in logbook.entries()] == ["job-open", "batch"]


def test_a_script_is_told_what_to_use(tmp_path: Path) -> None:
    """No terminal: one line, status 2, nothing written."""
    path = opened(tmp_path)
    said, status = pexpect.run(
        f"/bin/sh -c '{sys.executable} -m curewatch bench < /dev/null'",
        cwd=str(tmp_path), env=environment(tmp_path), withexitstatus=True,
    )  # fmt: skip
    assert status == 2
    assert said.decode().strip().endswith("Use `curewatch job` and `curewatch layer` in a script")
    with Logbook(path, read_only=True) as logbook:
        assert len(logbook.entries()) == 1
