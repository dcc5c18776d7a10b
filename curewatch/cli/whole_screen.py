"""The whole terminal for a while, and given back as it was found on every way out, killed or not.

Only rows that changed are sent: a slow line over ssh stays quiet. Keys come one at a time. Signals
and a change of size only wake the loop up (a byte in a pipe); it looks at them itself.
"""

import os
import select
import signal
import subprocess
import sys
import termios
import tty
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from types import FrameType
from typing import Self

from rich.console import Console
from rich.text import Text

from curewatch.cli import ascii_fallback, screen_keeper

ENTER = b"\x1b[?1049h\x1b[?25l\x1b[2J"
WAKING = (signal.SIGWINCH, signal.SIGTERM, signal.SIGHUP, signal.SIGINT)
ENDING = {signal.SIGTERM, signal.SIGHUP, signal.SIGINT}


class WholeScreen:
    """The terminal while it is ours: draw rows, wait for a key."""

    def __init__(self, console: Console, terminal: int) -> None:
        self._console = console
        self._terminal = terminal
        self._shown: list[str] = []  # rows as they stand on the screen; at most its height
        self._size = (0, 0)
        self._wake, self._woken = os.pipe()
        self.ended_by: signal.Signals | None = None

    # -- taking and giving back ------------------------------------------------------------------

    def __enter__(self) -> Self:
        self._keeper = _keeper(self._terminal)
        self._before = termios.tcgetattr(self._terminal)
        self._handlers = {number: signal.signal(number, self._caught) for number in WAKING}
        tty.setcbreak(self._terminal)
        os.write(self._terminal, ENTER)
        return self

    def __exit__(self, *_: object) -> None:
        with suppress(OSError):  # the terminal itself is gone: there is nothing left to give back
            os.write(self._terminal, screen_keeper.LEAVE)
            termios.tcsetattr(self._terminal, termios.TCSANOW, self._before)
        for number, handler in self._handlers.items():
            signal.signal(number, handler)
        self._keeper.communicate(b".")
        os.close(self._wake)
        os.close(self._woken)

    def _caught(self, number: int, _frame: FrameType | None) -> None:
        if number in ENDING:
            self.ended_by = signal.Signals(number)
        os.write(self._woken, b"!")

    # -- what it is for --------------------------------------------------------------------------

    def size(self) -> tuple[int, int]:
        """Columns and rows, now."""
        found = os.get_terminal_size(self._terminal)
        return found.columns, found.lines

    def draw(self, rows: list[Text]) -> None:
        """Show these rows; after a change of size, or :meth:`forget`, all of them anew."""
        size = self.size()
        fresh = size != self._size
        if fresh:
            self._size, self._shown = size, []
        lines = [_inked(self._console, row, size[0]) for row in rows[: size[1]]]
        sent = ["\x1b[2J"] if fresh else []
        for index, line in enumerate(lines):
            if index >= len(self._shown) or self._shown[index] != line:
                sent.append(f"\x1b[{index + 1};1H{line}\x1b[0m\x1b[K")
        self._shown = lines
        if sent:
            os.write(self._terminal, "".join(sent).encode(self._console.encoding, ascii_fallback.register()))

    def ring(self) -> None:
        """The terminal's bell."""
        os.write(self._terminal, b"\a")

    def forget(self) -> None:
        """Draw everything anew the next time: something else may have written on the screen."""
        self._size = (0, 0)

    def key(self, patience: float) -> str:
        """The next key, or nothing when ``patience`` [s] is over or something else happened."""
        return self.typed(patience)[:1]

    def typed(self, patience: float) -> str:
        """All that was typed since, as :meth:`key`; a key that sends several letters is whole in it."""
        ready, _, _ = select.select([self._terminal, self._wake], [], [], max(0.0, patience))
        if self._wake in ready:
            os.read(self._wake, 1000)
        if self._terminal not in ready:
            return ""
        typed = os.read(self._terminal, 32)
        if not typed:
            self.ended_by = signal.SIGHUP
        return typed.decode("utf-8", "replace")


@contextmanager
def whole_screen(console: Console) -> Iterator[WholeScreen]:
    """The terminal that the answers go to, whole, while inside."""
    with WholeScreen(console, sys.stdout.fileno()) as screen:
        yield screen


def _keeper(terminal: int) -> "subprocess.Popen[bytes]":
    """A process that outlives this one by a moment; ready when this returns."""
    kept = os.dup(terminal)  # its own standard output is the pipe it answers on
    try:
        keeper = subprocess.Popen(  # noqa: S603 - our own file, run by our own interpreter
            [sys.executable, "-S", "-E", str(Path(screen_keeper.__file__)), str(kept)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            pass_fds=(kept,),
            start_new_session=True,
        )
    finally:
        os.close(kept)
    if keeper.stdout is not None:
        keeper.stdout.read(1)
    return keeper


def _inked(console: Console, row: Text, width: int) -> str:
    """One row with the codes this terminal understands; none where there is no colour."""
    row = row.copy()
    row.truncate(width)
    with console.capture() as captured:
        console.print(row, end="", soft_wrap=True)
    return captured.get()
