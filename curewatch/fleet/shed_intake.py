"""What comes in for one shed: held as a batch, stored in one commit, and only then acknowledged.

Law: what a batch that was refused had taught (which readings have been seen) is taken back with it. So a
delivery that comes again is new, and is stored. Rejections are counted in the same commit.
"""

from collections.abc import Callable
from typing import NamedTuple

from curewatch.clock import Instant
from curewatch.configuration import Configuration
from curewatch.daemon.events import MessageArrived
from curewatch.daemon.intake import Intake
from curewatch.errors import StoreFailed
from curewatch.fleet.wanted import News
from curewatch.logbook import LogbookStore
from curewatch.readings import Reading, Rejected

BATCH = 100  # messages that close a batch
BATCH_AGE = 1.0  # that closes it otherwise [s]
RETRY_FIRST, RETRY_LAST = 0.2, 10.0  # between two offers of a refused batch [s]


class Delivery(NamedTuple):
    """One message of the queue."""

    tag: int  # by which it is acknowledged
    topic: str
    payload: bytes
    at: Instant
    again: bool  # the broker says it may have sent this before


class ShedIntake:
    """One shed; bounded by what the queue sends before it is acknowledged."""

    def __init__(self, configuration: Configuration, opening: Callable[[], LogbookStore]) -> None:
        self._intake = Intake(configuration)
        self._opening = opening
        self._logbook: LogbookStore | None = None
        self._held: list[Delivery] = []
        self._not_before = 0.0  # monotonic, of the next offer [s]
        self._refused = 0  # in a row
        self._news = News()
        self.news = False  # whether the last batch had something that could change the advice
        self.stored = self.repeated = self.rejected = 0

    def take(self, delivery: Delivery) -> None:
        """One more for the batch."""
        self._held.append(delivery)

    def forget(self) -> None:
        """The queue is lost: what is not acknowledged comes again."""
        self._held.clear()

    def open(self) -> LogbookStore:
        """Have the logbook open before the first batch, so that a shed is taken over at once.

        Raises
        ------
        StoreFailed
            It cannot be opened; the first batch tries it again.
        """
        if self._logbook is None:
            self._logbook = self._opening()
        return self._logbook

    def due(self, now: float) -> bool:
        """Whether the batch is to be offered. Monotonic [s]"""
        if not self._held or now < self._not_before:
            return False
        return len(self._held) >= BATCH or now - self.since >= BATCH_AGE

    @property
    def since(self) -> float:
        """When the oldest that is held came. Monotonic [s]"""
        return self._held[0].at.monotonic

    def commit(self, now: float) -> int:
        """Store what is held; the tag up to which it may be acknowledged.

        Raises
        ------
        StoreFailed
            Nothing of it is stored; it is held, and due again later.
        """
        self._intake.begin()
        found = [item for one in self._held for item in self._intake.message_arrived(_event(one))]
        readings = [item for item in found if isinstance(item, Reading)]
        rejected = [item for item in found if isinstance(item, Rejected)]
        try:
            new = self.open().append(readings, rejected=rejected)
        except StoreFailed:
            self._intake.take_back()
            self._not_before = now + min(RETRY_FIRST * 2**self._refused, RETRY_LAST)
            self._refused += 1
            raise
        self._intake.keep()
        self.news = self._news.among(readings)
        self._refused = 0
        self.stored += new
        self.repeated += len(readings) - new
        self.rejected += len(rejected)
        tag = self._held[-1].tag
        self._held.clear()
        return tag

    def close(self) -> None:
        """Leave the logbook."""
        if self._logbook is not None:
            self._logbook.close()


def _event(one: Delivery) -> MessageArrived:
    return MessageArrived("fleet", one.topic, one.payload, one.at, quality=1, duplicate=one.again)
