"""A test that leaves changed what all tests share is found, and what it changed is put back."""

import logging
import os
import signal
import sys
from collections.abc import Callable

import numpy as np
import pytest

from tests.broker import free_port
from tests.shared_state import shared_state, unchanged

CHANGES: dict[str, Callable[[], object]] = {
    "variable CUREWATCH_MADE_UP": lambda: os.environ.update(CUREWATCH_MADE_UP="1"),
    "variable PATH": lambda: os.environ.pop("PATH"),
    "folder": lambda: os.chdir("/"),
    "umask": lambda: os.umask(0o070),
    "signals": lambda: signal.signal(signal.SIGALRM, lambda *_: None),
    "errors of numpy": lambda: np.seterr(under="raise"),
    "logging": lambda: logging.disable(logging.CRITICAL),
    "recursion": lambda: sys.setrecursionlimit(sys.getrecursionlimit() + 1),
}


@pytest.mark.parametrize("name", CHANGES)
def test_what_is_left_changed_is_named_and_put_back(name: str) -> None:
    """Each kind alone."""
    before = shared_state()
    with pytest.raises(AssertionError, match=f"as it found it: {name}$"), unchanged():
        CHANGES[name]()
    assert shared_state() == before


def test_what_is_undone_may_be_changed(monkeypatch: pytest.MonkeyPatch) -> None:
    """The control."""
    with unchanged(), monkeypatch.context() as for_now:
        for_now.setenv("CUREWATCH_MADE_UP", "1")
        for_now.chdir("/")


@pytest.mark.long
def test_no_port_is_given_again_while_it_may_still_have_to_be_opened() -> None:
    """A cluster draws ten before it opens one: without a memory two were the same in one run of 17."""
    drawn = [free_port() for _ in range(900)]
    assert all(len(set(drawn[begin : begin + 300])) == 300 for begin in range(600))
    assert len(set(drawn)) < 900  # the control: in the end they come again
