"""A looker: takes wanted looks from the queue, makes them in this warm process, and keeps what they say.

Any number may take from the one queue; the broker hands a look to whoever is free. Law: what a look says is
stored before the look is acknowledged. A look that was made meanwhile by another is not made again. A shed is
held for its look as a daemon holds it, so two never write its alerts: the second waits, or is refused.
"""

import os
import time
from collections import OrderedDict, deque
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import NamedTuple

import msgspec

from curewatch.advice.alert.alerts import Happening
from curewatch.answers.mqtt import MqttAlertsDocument
from curewatch.answers.tonight import TonightDocument
from curewatch.clock import Clock
from curewatch.configuration import Configuration
from curewatch.daemon.evaluation import Evaluation
from curewatch.daemon.events import Again, Publish
from curewatch.errors import CurewatchError
from curewatch.fleet import boards
from curewatch.fleet.boards import Board
from curewatch.fleet.plan import OPEN_LOGBOOKS, FleetPlan
from curewatch.fleet.queues import LOOKS, QueueMessage, Queues
from curewatch.fleet.serving import FleetProcess
from curewatch.fleet.shed_name import open_shed
from curewatch.logbook import Entry, LogbookStore
from curewatch.logbook.lock import InUse
from curewatch.model.film import flow_map
from curewatch.shed.copied import TWICE, looked_twice

TABLES = 24  # of resins; made anew at each look they would be a quarter of it
REASON = "fleet"
HOLDER = "curewatch fleet look"
FOR_A_LOOK, FOR_A_DAEMON = 5.0, 0.5  # waited for, before it is refused [s]
BETWEEN_TRIES = 0.05  # s


class WantedLook(msgspec.Struct, frozen=True):
    """One message of the queue."""

    shed: str
    at: float  # UTC, when it was asked for [s]


class _Warm(NamedTuple):
    logbook: LogbookStore
    evaluation: Evaluation
    at: float  # of its last look, UTC [s]
    entries: int  # in the logbook then


class Looks:
    """Makes looks; what it has opened stays open, the least used goes first."""

    def __init__(self, plan: FleetPlan, sheds: Mapping[str, Configuration], by: str) -> None:
        self._copies = frozenset(plan.copies)
        self._sheds = sheds
        self._by = by
        self._warm: OrderedDict[str, _Warm] = OrderedDict()
        self._marks: dict[str, float] = {}  # when a countdown of a shed reaches its next mark, UTC [s]
        self.made = 0

    def look(self, asked: WantedLook, clock: Clock) -> None:
        """Look at one shed, and keep what is said.

        Raises
        ------
        CurewatchError
            It cannot be looked at; the board that is there stays, and grows old.
        InUse
            Its own daemon looks after it; that is told to both.
        """
        warm = self._warm.pop(asked.shed, None)
        logbook = open_shed(asked.shed, self._sheds[asked.shed]) if warm is None else warm.logbook
        try:
            with self._alone(logbook, clock):
                before = boards.kept(logbook)
                if before is None or before.at < asked.at:
                    warm = self._made(asked.shed, logbook, warm, before, clock)
        except BaseException:
            logbook.close()
            raise
        if warm is None:
            logbook.close()
            return
        self._warm[asked.shed] = warm
        while len(self._warm) > OPEN_LOGBOOKS:
            self._warm.popitem(last=False)[1].logbook.close()

    @contextmanager
    def _alone(self, logbook: LogbookStore, clock: Clock) -> Iterator[None]:
        """Another look is waited for; a daemon is told."""
        since, begun = clock.now().utc, time.monotonic()
        while True:
            try:
                logbook.hold(HOLDER, since)
                break
            except InUse as trouble:
                a_look = trouble.holder.startswith(HOLDER)
                if time.monotonic() - begun < (FOR_A_LOOK if a_look else FOR_A_DAEMON):
                    time.sleep(BETWEEN_TRIES)
                    continue
                if not a_look:
                    told = looked_twice(f"{HOLDER}, {self._by}", trouble.holder, since)
                    logbook.append(notes={TWICE: told})
                raise
        try:
            yield
        finally:
            logbook.let_go()

    def due(self, now: float) -> list[WantedLook]:
        """The sheds of which a countdown has reached its mark. UTC [s]"""
        found = [WantedLook(shed, at) for shed, at in self._marks.items() if at <= now]
        for one in found:
            del self._marks[one.shed]
        return found

    def _made(
        self, shed: str, logbook: LogbookStore, warm: _Warm | None, before: Board | None, clock: Clock
    ) -> _Warm:
        now, configuration = clock.now(), self._sheds[shed]
        ours = warm is not None and before is not None and self._alone_since(warm, before, logbook)
        evaluation = warm.evaluation if warm is not None and ours else Evaluation(configuration, logbook)
        if not ours and before is not None:
            memory = evaluation.memory
            memory = memory._replace(alerts=boards.held(memory.alerts, before.holds))
            evaluation = Evaluation(configuration, logbook, memory=memory)
        said = evaluation(now, REASON)
        told = {one.topic: one.document for one in said if isinstance(one, Publish)}
        marks = [one.at for one in said if isinstance(one, Again)]
        self._marks.pop(shed, None)
        if marks:
            self._marks[shed] = min(marks)
        board = Board(
            now.utc,
            self._by,
            msgspec.convert(told["advice"], TonightDocument),
            msgspec.convert(told["alerts"], MqttAlertsDocument),
            boards.holds_of(evaluation.memory.alerts),
        )
        # the shed's own daemon tells what is in a copy: nothing is added there
        entries = [] if shed in self._copies else [one for one in said if isinstance(one, Entry)]
        notes = {boards.NOTE: boards.packed(board)}
        if logbook.note(TWICE) is not None:
            notes[TWICE] = b"{}"  # it is held now, so no daemon has it
        logbook.append(entries=entries, notes=notes)
        self.made += 1
        return _Warm(logbook, evaluation, now.utc, logbook.head().entries)

    def _alone_since(self, warm: _Warm, before: Board, logbook: LogbookStore) -> bool:
        """Whether nobody else has looked since our look: no other looker, and no daemon."""
        if (before.by, before.at) != (self._by, warm.at):
            return False
        since = logbook.entries(("alert", "verdict"), after=warm.entries)
        return all(one.payload.get("happening") == Happening.ACKNOWLEDGED for one in since)

    def close(self) -> None:
        """Leave the logbooks."""
        for warm in self._warm.values():
            warm.logbook.close()
        self._warm.clear()


class Looker(FleetProcess):
    """One process."""

    def __init__(
        self, plan: FleetPlan, sheds: Mapping[str, Configuration], clock: Clock, say: Callable[[str], None]
    ) -> None:
        super().__init__(plan.broker, say)
        flow_map.SHELF.most = TABLES
        self._clock = clock
        self._looks = Looks(plan, sheds, f"{os.uname().nodename} {os.getpid()}")
        self._wanted: deque[QueueMessage] = deque()

    def begin(self, queues: Queues) -> str:
        queues.declare(LOOKS, alone=False)
        queues.take(LOOKS, self._wanted.append, at_once=1)
        return "looking"

    def turn(self, queues: Queues) -> None:
        while self._wanted:
            one = self._wanted.popleft()
            try:
                self._look(msgspec.json.decode(one.body, type=WantedLook))
            except msgspec.DecodeError as trouble:
                self.tell(f"a wanted look that is none: {trouble}"[:400])
            queues.acknowledge(LOOKS, one.tag)
        for mark in self._looks.due(self._clock.now().utc):
            self._look(mark)

    def _look(self, wanted: WantedLook) -> None:
        try:
            self._looks.look(wanted, self._clock)
        except (CurewatchError, KeyError) as trouble:
            self.tell(f"{wanted.shed}: a look came to nothing: {trouble}"[:400])

    def forget(self) -> None:
        self._wanted.clear()

    def close(self) -> None:
        self._looks.close()
