"""Carrying out what the core asks for, in its order; the one place where effects touch the world."""

from collections import deque
from collections.abc import Callable, Mapping
from typing import Any

from curewatch.clock import Clock, Instant
from curewatch.daemon.core import Core
from curewatch.daemon.events import (
    Acknowledge,
    Committed,
    Effect,
    Ended,
    Evaluate,
    Evaluated,
    Event,
    Leave,
    Publish,
    Renew,
    Show,
    Store,
    StoreRefused,
    Tick,
)
from curewatch.daemon.port import Outlet
from curewatch.errors import StoreFailed
from curewatch.logbook import LogbookStore

# What an Evaluate gives: entries, documents, lines; or nothing yet, and the daemon brings it later.
Thinking = Callable[[Instant, str], tuple[Any, ...] | None]


def _think_nothing(at: Instant, reason: str) -> tuple[Any, ...]:
    return ()


class Actor:
    """Feeds the core and does what it asks, one effect after the other."""

    def __init__(
        self,
        core: Core,
        logbook: LogbookStore,
        clock: Clock,
        *,
        brokers: Mapping[str, Outlet] | None = None,
        show: Callable[[Show], None],
        think: Thinking = _think_nothing,
    ) -> None:
        self.core = core
        self.logbook = logbook
        self.ended = False
        self._clock = clock
        self._brokers: Mapping[str, Outlet] = {} if brokers is None else brokers
        self._show = show
        self.think = think
        self._doing: deque[Effect] = deque()  # bounded by what one event can ask for

    def handle(self, event: Event) -> None:
        """One event, and everything that follows from it."""
        self._doing.extend(self.core.receive(event))
        while self._doing:
            answer = self._do(self._doing.popleft())
            if answer is not None:
                # what follows from a commit comes before what was asked for later
                self._doing.extendleft(reversed(self.core.receive(answer)))

    def tick(self, *, idle: bool = True) -> None:
        self.handle(Tick(self._clock.now(), idle))

    def _do(self, effect: Effect) -> Event | None:
        match effect:
            case Store():
                return self._store(effect)
            case Acknowledge() | Renew() | Leave():
                self._tell(effect)
            case Publish(topic, document):
                for broker in self._brokers.values():
                    broker.publish(topic, document)
            case Show():
                self._show(effect)
            case Evaluate(at, reason):
                said = self.think(at, reason)
                return None if said is None else Evaluated(at, said)
            case Ended():
                self.ended = True
        return None

    def _tell(self, effect: Acknowledge | Renew | Leave) -> None:
        """What is for one broker; one that the configuration no longer has needs nothing."""
        broker = self._brokers.get(effect.source)
        if broker is None:
            return
        match effect:
            case Acknowledge(_, connection, identifiers):
                broker.acknowledge(connection, identifiers)
            case Renew():
                broker.renew()
            case Leave(_, topic, document):
                broker.leave(topic, document)

    def _store(self, asked: Store) -> Event:
        try:
            fresh = self.logbook.append(
                asked.readings, asked.entries, notes=asked.memory, rejected=asked.rejected
            )
        except StoreFailed as trouble:
            return StoreRefused(self._clock.now(), str(trouble))
        return Committed(self._clock.now(), fresh)
