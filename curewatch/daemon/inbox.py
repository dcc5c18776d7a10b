"""Where edges leave events and the loop finds them: one bounded queue a source, emptied in turn.

A source that floods fills its own queue and no other's. Callbacks and threads only put; the loop only
takes.
"""

import threading
from collections import deque

from curewatch.daemon.events import Event

LIMIT = 1_000  # events a source may have waiting
TURN = 250  # events taken from one source before the next one's turn; as many close a batch of the core


class Inbox:
    """Safe between threads: deque's append and popleft are atomic, the rest is one flag."""

    def __init__(self, limit: int = LIMIT) -> None:
        self._limit = limit
        self._queues: dict[str, deque[Event]] = {}  # one a source; each at most `limit`
        self._awake = threading.Event()

    def put(self, source: str, event: Event) -> bool:
        """Leave an event; False if this source's queue is full and the event was not taken."""
        queue = self._queues.get(source)
        if queue is None:
            queue = self._queues.setdefault(source, deque())
        if len(queue) >= self._limit:
            return False
        queue.append(event)
        if not self._awake.is_set():
            self._awake.set()
        return True

    def put_all(self, source: str, events: list[Event]) -> list[Event]:
        """Leave these in their order and wake the loop once; what finds no room is given back."""
        queue = self._queues.get(source)
        if queue is None:
            queue = self._queues.setdefault(source, deque())
        room = max(0, self._limit - len(queue))
        queue.extend(events[:room])
        if not self._awake.is_set():
            self._awake.set()
        return events[room:]

    def waiting(self, source: str) -> int:
        return len(self._queues.get(source, ()))

    def take(self, timeout: float) -> list[Event]:
        """What is waiting, a turn from each source; waits at most ``timeout`` for the first. [s]"""
        if not any(self._queues.copy().values()):
            self._awake.wait(timeout)
        self._awake.clear()
        taken: list[Event] = []
        for queue in self._queues.copy().values():
            taken.extend(queue.popleft() for _ in range(min(len(queue), TURN)))
        return taken

    def quiet(self, seconds: float) -> bool:
        """Whether nothing is waiting, and nothing comes within this time. [s]"""
        return self.empty and not self._awake.wait(seconds)

    @property
    def empty(self) -> bool:
        return not any(self._queues.copy().values())
