"""How long an edge waits before it tries again: longer each time, never quite the same."""

import random
import threading

FIRST, LONGEST = 0.5, 30.0  # [s]


class BackOff:
    """Doubling waits with jitter, so that many clients of a broker do not return at once."""

    def __init__(self, stopping: threading.Event, first: float = FIRST, longest: float = LONGEST) -> None:
        self._stopping = stopping
        self._first, self._longest = first, longest
        self._next = first

    def reset(self) -> None:
        self._next = self._first

    def at_least(self, seconds: float) -> None:
        """The next wait is no shorter than this. [s]"""
        self._next = max(self._next, seconds)

    def wait(self) -> None:
        """Wait, or return at once when the edge is to stop."""
        self._stopping.wait(self._next * random.uniform(0.75, 1.25))  # noqa: S311 - spread, not secrecy
        self._next = min(self._longest, 2 * self._next)
