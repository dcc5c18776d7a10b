"""What runs beside the daemons of sheds that send their closed blocks to a fleet."""

from collections.abc import Callable, Mapping

import msgspec

from curewatch.clock import Clock
from curewatch.configuration import Configuration, logbook_path
from curewatch.errors import StoreFailed
from curewatch.fleet.copying import CopyAnswer
from curewatch.fleet.plan import FleetPlan
from curewatch.fleet.queues import BLOCKS, QueueMessage, Queues, queue_of_blocks
from curewatch.fleet.sending import Sending
from curewatch.fleet.serving import FleetProcess
from curewatch.logbook import LogbookStore, open_logbook

LASTS = 300.0  # a message that nobody has taken: it is sent again [s]
TURN = 0.5  # between two looks for what is due [s]


class Sender(FleetProcess):
    """One process, for the sheds of its file."""

    def __init__(
        self, plan: FleetPlan, sheds: Mapping[str, Configuration], clock: Clock, say: Callable[[str], None]
    ) -> None:
        super().__init__(plan.broker, say)
        self._clock = clock
        self._idle = TURN
        self._sheds = sheds
        self._logbooks: dict[str, LogbookStore] = {}
        self._sendings: dict[str, Sending] = {}
        self._replies = ""

    def begin(self, queues: Queues) -> str:
        for shed, configuration in self._sheds.items():
            if shed not in self._logbooks:
                self._logbooks[shed] = open_logbook(logbook_path(configuration))
                self._sendings[shed] = Sending(shed, self._logbooks[shed])
            queues.declare(queue_of_blocks(shed), f"{BLOCKS}.{shed}")  # kept, also before a worker is there
        self._replies = queues.replies()
        queues.take(self._replies, lambda one: self._answered(queues, one))
        return f"sending {len(self._sendings)} sheds"

    def turn(self, queues: Queues) -> None:
        for shed, sending in self._sendings.items():
            try:
                due = sending.due(self._clock.now())
            except StoreFailed as trouble:
                self.tell(f"{shed}: {trouble}")
                continue
            if due is not None:
                queues.send("amq.topic", f"{BLOCKS}.{shed}", due, reply_to=self._replies, lasts=LASTS)

    def _answered(self, queues: Queues, one: QueueMessage) -> None:
        try:
            answer = msgspec.json.decode(one.body, type=CopyAnswer)
            self._sendings[answer.shed].answered(answer, self._clock.now())
        except (msgspec.DecodeError, KeyError) as trouble:
            self.tell(f"an answer that is none: {trouble!r}"[:200])
        except StoreFailed as trouble:
            self.tell(str(trouble))
        else:
            if answer.refusal is not None:
                self.tell(f"{answer.shed}: REFUSED, {answer.refusal.code}: {answer.refusal.told}")
        queues.acknowledge(self._replies, one.tag)

    def forget(self) -> None:
        """What waits for an answer is sent again after its patience."""

    def close(self) -> None:
        for one in self._logbooks.values():
            one.close()
