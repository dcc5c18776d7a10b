"""One process at the brokers: goes from host to host until it is told to stop."""

import time
from abc import ABC, abstractmethod
from collections.abc import Callable
from itertools import cycle

from curewatch.fleet.plan import BrokerHosts
from curewatch.fleet.queues import QueueLostError, Queues, lost_errors

AWAY = 0.3  # before another host is tried [s]
IDLE = 0.05  # between two turns [s]


class FleetProcess(ABC):
    """What a worker, a sender and a looker have in common."""

    def __init__(self, broker: BrokerHosts, say: Callable[[str], None]) -> None:
        self._broker = broker
        self._say = say
        self._last_said = ""
        self._idle = IDLE
        self.anew = True  # the broker may not have the queues yet
        self.stopping = False

    def run(self) -> None:
        """Until :attr:`stopping`. A lost broker is said once, and tried again."""
        lost = lost_errors()
        for host in cycle(self._broker.hosts):
            if self.stopping:
                break
            try:
                self._serve(host)
            except lost as trouble:
                gone = isinstance(trouble, QueueLostError)
                self.tell(
                    f"broker {host}: lost ({trouble if gone else type(trouble).__name__}); trying the next"
                )
                self.anew |= gone
                self.forget()
                time.sleep(AWAY)
        self.close()

    def _serve(self, host: str) -> None:
        queues = Queues(self._broker, host)
        try:
            served = self.begin(queues)
            while not self.stopping:
                if served and queues.taken:
                    self.tell(f"broker {host}: {served}")
                    served, self.anew = "", False
                queues.work(self._idle)
                self.turn(queues)
        finally:
            queues.close()

    def tell(self, line: str) -> None:
        """Say it, unless it was the last that was said."""
        if line != self._last_said:
            self._say(line)
        self._last_said = line

    @abstractmethod
    def begin(self, queues: Queues) -> str:
        """A broker answers: take from its queues; what is served, in words."""

    @abstractmethod
    def turn(self, queues: Queues) -> None:
        """What came in, and what is due."""

    @abstractmethod
    def forget(self) -> None:
        """The broker is lost: what was not acknowledged comes again."""

    @abstractmethod
    def close(self) -> None:
        """Leave the logbooks."""
