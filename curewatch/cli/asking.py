"""Asking one line on a terminal, so that a single Ctrl-C is never lost.

``input`` looks for a signal, then blocks in a read; one that comes between the two waits for the next
Enter. Here the signal also leaves a byte in a pipe, and the wait is for either: line or byte.
"""

import os
import select
import signal
import sys


def enter_pressed() -> bool:
    """Whether a line was typed while something else went on; it is taken."""
    ready, _, _ = select.select([sys.stdin.fileno()], [], [], 0.0)
    return bool(ready) and sys.stdin.readline() != ""


def ask(prompt: str) -> str:
    """The line that was typed, without its end.

    Raises
    ------
    EOFError
        The input ended.
    KeyboardInterrupt
        Ctrl-C, whenever it came.
    """
    print(prompt, end="", flush=True)
    woken, wake = os.pipe()
    os.set_blocking(wake, False)
    before = signal.set_wakeup_fd(wake, warn_on_full_buffer=False)
    try:
        ready: list[int] = []
        while sys.stdin.fileno() not in ready:
            ready, _, _ = select.select([sys.stdin.fileno(), woken], [], [])
            if woken in ready and signal.SIGINT in os.read(woken, 1000):
                raise KeyboardInterrupt
    finally:
        signal.set_wakeup_fd(before)
        os.close(wake)
        os.close(woken)
    line = sys.stdin.readline()
    if not line:
        raise EOFError
    return line.rstrip("\r\n")
