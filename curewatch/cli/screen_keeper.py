"""Gives a terminal back when the program that took it was killed. Run as a process of its own.

It remembers the terminal's settings, says so, and waits on its standard input. A word means that the
program left in order; the end of the input without one means that it is gone: then the settings and
the ordinary screen are put back. It imports next to nothing, so it starts in a few milliseconds.
"""

import os
import sys
import termios

LEAVE = b"\x1b[0m\x1b[?25h\x1b[?1049l"  # plain ink, cursor shown, the screen that was there before


def keep(terminal: int, orders: int, answers: int) -> int:
    """Wait for the program's end on ``orders``; 0 if it left in order."""
    before = termios.tcgetattr(terminal)
    os.write(answers, b".")
    if os.read(orders, 1):
        return 0
    try:
        os.write(terminal, LEAVE)
        termios.tcsetattr(terminal, termios.TCSANOW, before)
    except (OSError, termios.error):
        return 2  # the terminal went away with the program: there is nothing to give back
    return 1


if __name__ == "__main__":
    sys.exit(keep(int(sys.argv[1]), 0, 1))
