"""Having notices sent: when to look at the outbox, and what a failure means. The sending is a child's work.

A library for a hundred services takes more memory than the daemon, so it lives in a short-lived process,
which also reads what is due and notes what was sent. Here is only when it is started, and how long a
receiver that failed is left alone.
"""

import os
import sys
from collections.abc import Callable
from pathlib import Path

from curewatch.clock import Instant
from curewatch.configuration import Configuration
from curewatch.daemon.child import Child, serve
from curewatch.notices.addresses import ADDRESSES
from curewatch.notices.request import Delivered, DeliveryRequest

SOON = 2.0  # after an alert was committed; several come together [s]
REST_FIRST, REST_LAST = 30.0, 300.0  # before a receiver that failed is tried again [s]

SENDING = "sending"  # whose trouble it is that the child itself failed


class Outgoing:
    """Starts the child when something may be due, and says what went wrong."""

    def __init__(self, configuration: Configuration, logbook: Path, complain: Callable[[str], None]) -> None:
        self._configuration = configuration
        self._logbook = logbook
        self._complain = complain
        self._child = Child(__name__)
        self._looks = set[float]()  # monotonic, when to look; each until a look is begun at or after it [s]
        self._begun = False
        self._failed: dict[str, tuple[int, float]] = {}  # how often in a row, and until when it rests
        self._said: dict[str, str] = {}  # the trouble that was told last, by receiver

    def begin(self, now: Instant) -> None:
        """The advice was looked at once since the start: what stands in the logbook is so."""
        if not self._begun:
            self._begun = True
            self.wake(now)

    def wake(self, now: Instant) -> None:
        """Something rang, or ended."""
        self._looks.add(now.monotonic + SOON)

    def replace(self, configuration: Configuration, now: Instant) -> None:
        """Go on with another configuration."""
        self._configuration = configuration
        self._failed.clear()
        self.wake(now)

    def look(self, now: Instant) -> None:
        """Collect what the child did; start it if it is time."""
        answer = self._child.collect()
        if answer is not None:
            self._collected(answer.said, answer.trouble, now)
        if not self._begun or self._child.busy or not self._configuration.notices.any:
            return
        if any(moment <= now.monotonic for moment in self._looks):
            self._looks = {moment for moment in self._looks if moment > now.monotonic}
            self._child.ask(self._request(now))

    def _request(self, now: Instant) -> DeliveryRequest:
        resting = (name for name, (_, until) in self._failed.items() if until > now.monotonic)
        return DeliveryRequest(self._configuration, self._logbook, now.utc, frozenset(resting))

    def _collected(self, done: Delivered | None, trouble: str, now: Instant) -> None:
        if done is None:
            self._trouble(SENDING, trouble, now)
            return
        for name in {SENDING, ADDRESSES, *done.sent} - done.troubles.keys():
            self._failed.pop(name, None)
            if self._said.pop(name, ""):
                self._complain(f"{name}: works again")
        for name, what in done.troubles.items():
            self._trouble(name, what, now)
        if done.look_at is not None:
            self._looks.add(now.monotonic + max(SOON, done.look_at - now.utc))

    def _trouble(self, name: str, what: str, now: Instant) -> None:
        """Said once for each trouble, and tried again later each time."""
        times = self._failed.get(name, (0, 0.0))[0] + 1
        until = now.monotonic + min(REST_LAST, REST_FIRST * 2 ** min(times - 1, 10))
        self._failed[name] = times, until
        self._looks.add(until)
        if self._said.get(name) != what:
            self._said[name] = what
            self._complain(f"{name}: {what}")


def answer() -> None:
    """In the child."""
    from curewatch.notices.delivery import deliver

    serve(deliver)
    sys.stdout.flush()
    os._exit(0)  # a library's thread that hangs on a server must not hold the answer back
