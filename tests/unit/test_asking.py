"""A line is asked for on a terminal, and a Ctrl-C that comes at the worst moment is not lost."""

import os
import pty
import signal
from collections.abc import Iterator
from typing import IO

import pytest

from curewatch.cli import asking


@pytest.fixture
def keyboard(monkeypatch: pytest.MonkeyPatch) -> Iterator[int]:
    """The typing end of a terminal whose other end is standard input."""
    typing, reading = pty.openpty()
    stdin: IO[str] = os.fdopen(reading, "r", encoding="utf-8")
    monkeypatch.setattr("sys.stdin", stdin)
    yield typing
    os.close(typing)
    stdin.close()


def test_a_line_is_read_without_its_end(keyboard: int, capsys: pytest.CaptureFixture[str]) -> None:
    """The prompt is shown first, on the same line."""
    os.write(keyboard, "Kittiwake Nine é\n".encode())
    assert asking.ask("the boat: ") == "Kittiwake Nine é"
    assert capsys.readouterr().out == "the boat: "


def test_two_lines_typed_ahead_are_two_answers(keyboard: int) -> None:
    """Nothing of the second one is lost while the first one is taken."""
    os.write(keyboard, b"bench\nhull\n")
    assert [asking.ask("call it: "), asking.ask("call it: ")] == ["bench", "hull"]


def test_the_end_of_the_input_is_told(keyboard: int) -> None:
    """Ctrl-D on an empty line."""
    os.write(keyboard, b"\x04")
    with pytest.raises(EOFError):
        asking.ask("call it: ")


def test_an_interrupt_just_before_the_wait_is_not_lost(
    keyboard: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The byte in the pipe ends the wait, even where the interpreter's own handler has run already."""
    before = signal.signal(signal.SIGINT, lambda *_: None)
    wake_by = signal.set_wakeup_fd

    def interrupted(*arguments: int, **more: bool) -> int:
        old = wake_by(*arguments, **more)
        if arguments[0] >= 0:
            signal.raise_signal(signal.SIGINT)
        return old

    monkeypatch.setattr(signal, "set_wakeup_fd", interrupted)
    try:
        with pytest.raises(KeyboardInterrupt):
            asking.ask("call it: ")
    finally:
        signal.signal(signal.SIGINT, before)
