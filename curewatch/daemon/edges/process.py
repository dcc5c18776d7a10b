"""The process: signals in, readiness and watchdog out. No dependency; the protocol is a datagram.

Handlers only append to a deque: nothing else is safe in a handler (a lock it needs may be held by the
very code it interrupted).
"""

import os
import signal
import socket
from collections import deque
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any


@contextmanager
def signals(*, take_interrupt: bool = True) -> Iterator[deque[int]]:
    """While inside, SIGTERM, SIGINT and SIGHUP end in a deque instead of the process."""
    caught: deque[int] = deque(maxlen=100)
    wanted = [signal.SIGTERM, *([signal.SIGINT] if take_interrupt else [])]
    if hasattr(signal, "SIGHUP"):
        wanted.append(signal.SIGHUP)

    def handler(number: int, frame: Any) -> None:
        caught.append(number)

    before = {number: signal.signal(number, handler) for number in wanted}
    try:
        yield caught
    finally:
        for number, old in before.items():
            signal.signal(number, old)


class ServiceManager:
    """Tells systemd that we are ready, alive, reloading or stopping; says nothing where there is none.

    Source: sd_notify(3) and sd_watchdog_enabled(3) of systemd: one datagram of ``KEY=value`` lines to
    the socket named in ``NOTIFY_SOCKET``; a name that begins with @ is abstract.
    """

    def __init__(self, environment: Mapping[str, str] = os.environ) -> None:
        self._address = environment.get("NOTIFY_SOCKET", "")
        period = environment.get("WATCHDOG_USEC", "0")
        ours = environment.get("WATCHDOG_PID", str(os.getpid())) == str(os.getpid())
        self.watchdog = (
            int(period) / 2e6 if period.isdigit() and ours else 0.0
        )  # half the period [s]; 0: none
        self._told = float("-inf")  # monotonic, of the last sign of life [s]

    def tell(self, *lines: str) -> bool:
        """Send; False where nobody listens."""
        if not self._address:
            return False
        address = "\0" + self._address[1:] if self._address.startswith("@") else self._address
        try:
            with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as outward:
                outward.connect(address)
                outward.sendall("\n".join(lines).encode())
        except OSError:
            return False
        return True

    def ready(self, status: str) -> bool:
        return self.tell("READY=1", f"STATUS={status}")

    def alive(self, monotonic: float) -> None:
        """A sign of life, if one is due; called from the loop itself, so that one that hangs is noticed."""
        if self.watchdog and monotonic - self._told >= self.watchdog:
            self._told = monotonic
            self.tell("WATCHDOG=1")

    def stopping(self) -> None:
        self.tell("STOPPING=1")
