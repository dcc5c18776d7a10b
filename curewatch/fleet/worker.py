"""A worker: takes from the queues of its sheds, stores, acknowledges. Any number may serve the same sheds."""

from collections import deque
from collections.abc import Callable, Mapping
from functools import partial

import msgspec

from curewatch.clock import Clock
from curewatch.configuration import Configuration
from curewatch.errors import StoreFailed
from curewatch.fleet.copying import CopyIntake
from curewatch.fleet.looker import WantedLook
from curewatch.fleet.plan import FleetPlan
from curewatch.fleet.queues import BLOCKS, LOOKS, READINGS, QueueMessage, Queues, queue_of, queue_of_blocks
from curewatch.fleet.serving import FleetProcess
from curewatch.fleet.shed_intake import Delivery, ShedIntake
from curewatch.fleet.shed_name import open_shed
from curewatch.fleet.wanted import ROUTINE, Wanted

RETRY = 5.0  # between two offers of a block that the store refused [s]
BLOCKS_AT_ONCE = 4  # of a shed, not acknowledged


class Worker(FleetProcess):
    """One process."""

    def __init__(
        self,
        plan: FleetPlan,
        sheds: Mapping[str, Configuration],
        clock: Clock,
        say: Callable[[str], None],
    ) -> None:
        super().__init__(plan.broker, say)
        self._clock = clock
        opening = {name: partial(open_shed, name, one) for name, one in sheds.items()}
        self._intakes = {name: ShedIntake(sheds[name], opening[name]) for name in plan.sheds}
        self._copies = {name: CopyIntake(name, one.key, opening[name]) for name, one in plan.copies.items()}
        self._carried: deque[tuple[str, QueueMessage]] = deque()  # blocks, not answered yet
        self._not_before = 0.0  # monotonic, of the next block [s]
        self._unopened = deque(plan.sheds)
        self._wanted = Wanted(sheds, clock.now().monotonic)

    def begin(self, queues: Queues) -> str:
        queues.declare(LOOKS, alone=False)
        for shed in self._intakes:
            topic = f"{READINGS}.{shed}.#" if self.anew else ""
            queues.take(queue_of(shed), partial(self._arrived, shed), topic=topic)
        for shed in self._copies:
            came, topic = partial(self._came, shed), f"{BLOCKS}.{shed}" if self.anew else ""
            queues.take(queue_of_blocks(shed), came, topic=topic, at_once=BLOCKS_AT_ONCE)
        return f"{len(self._intakes)} sheds, {len(self._copies)} copies"

    def turn(self, queues: Queues) -> None:
        self._store(queues)
        self._open_another()
        self._copy(queues)
        self._ask_for_looks(queues)

    def forget(self) -> None:
        for intake in self._intakes.values():
            intake.forget()
        self._carried.clear()

    def close(self) -> None:
        for intake in self._intakes.values():
            intake.close()
        for copy in self._copies.values():
            copy.close()

    def _arrived(self, shed: str, one: QueueMessage) -> None:
        self._intakes[shed].take(Delivery(one.tag, one.topic, one.body, self._clock.now(), one.again))

    def _came(self, shed: str, one: QueueMessage) -> None:
        self._carried.append((shed, one))

    def _open_another(self) -> None:
        """A hundred logbooks take seconds to open: have them open when the worker that has them dies."""
        if self._unopened:
            shed = self._unopened.popleft()
            try:
                self._intakes[shed].open()
            except StoreFailed as trouble:
                self.tell(f"{shed}: {trouble}")  # its first batch tries again

    def _store(self, queues: Queues) -> None:
        """Offer what is due, oldest first. Messages come in between: a hundred commits take seconds."""
        now = self._clock.now().monotonic
        due = sorted((one.since, shed) for shed, one in self._intakes.items() if one.due(now))
        for _, shed in due:
            intake = self._intakes[shed]
            try:
                tag = intake.commit(self._clock.now().monotonic)
            except StoreFailed as trouble:
                self.tell(f"{shed}: {trouble}")
            else:
                queues.acknowledge(queue_of(shed), tag)
                if intake.news:
                    self._wanted.changed(shed)
            queues.work(0.0)

    def _copy(self, queues: Queues) -> None:
        while self._carried and self._clock.now().monotonic >= self._not_before:
            shed, one = self._carried[0]
            now = self._clock.now()
            try:
                answer = self._copies[shed].answer(one.body, now.utc)
            except StoreFailed as trouble:
                self.tell(f"{shed}: {trouble}")
                self._not_before = now.monotonic + RETRY
                return
            self._carried.popleft()
            if answer.refusal is not None:
                self.tell(f"{shed}: REFUSED, {answer.refusal.code}: {answer.refusal.told}")
            if answer.kept:
                self._wanted.changed(shed)
            if one.reply_to:
                queues.send("", one.reply_to, msgspec.json.encode(answer))
            queues.acknowledge(queue_of_blocks(shed), one.tag)

    def _ask_for_looks(self, queues: Queues) -> None:
        """One that nobody has made until it is asked for again goes: the queue stays short."""
        now = self._clock.now()
        for shed in self._wanted.due(now.monotonic):
            wanted = msgspec.json.encode(WantedLook(shed, now.utc))
            queues.send("", LOOKS, wanted, lasts=ROUTINE)
