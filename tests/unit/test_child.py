"""Children of one heavy kind take turns; one that waits for a network holds up nobody else's."""

import sys
from pathlib import Path

import pytest

from curewatch.daemon.child import AT_ONCE, Child

WORK = """
import time
from curewatch.daemon.child import serve

def answer():
    serve(lambda asked: (time.monotonic(), time.sleep(0.4), time.monotonic()))
"""


@pytest.mark.long
def test_heavy_ones_take_turns(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Of four that are asked together at most two run; each is answered in the end."""
    (tmp_path / "work_of_a_test.py").write_text(WORK)
    monkeypatch.setattr(sys, "path", [str(tmp_path), *sys.path])
    children = [Child("work_of_a_test", heavy=True) for _ in range(4)]
    for child in children:
        child.ask(None)
    spans = [child.wait().said for child in children]
    together = [sum(start <= at < end for start, _, end in spans) for at, _, _ in spans]
    assert max(together) <= AT_ONCE


def test_each_kind_has_turns_of_its_own() -> None:
    """A look does not wait for a forecast that does not come, nor for a notice."""
    look, again, seal, light = (
        Child("a", heavy=True),
        Child("a", heavy=True),
        Child("b", heavy=True),
        Child("a"),
    )
    assert look._room is again._room
    assert len({id(each._room) for each in (look, seal, light)}) == 3
